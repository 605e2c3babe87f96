"""The run's timeline as one picture: legs, power, lamp, air, stations, pages, console and starts over unit seconds."""

import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from hil.core.frames import LampFrames
from hil.core.moments import Moment
from hil.core.run_folder import LegRecord
from hil.evidence.camera import curve_of
from hil.evidence.window import Record
from hil.sheet.drawing import Drawing
from hil.sheet.film import lamp_light
from hil.sheet.lanes import UNASKED, Lane, lanes_of
from hil.sheet.palette import ALLOWED, FAIL_INK, INK, MUTED, PAPER, RULE, WASH

WIDTH, LEFT, RIGHT, TOP = 720.0, 112.0, 716.0, 4.0
LANE, BASE, FOOT = 19.0, 13.0, 24.0
NAME_SIZE, WORD_SIZE, CLUSTER = 10.5, 9.0, 14.0
LETTER = 0.47 * WORD_SIZE  # mean width of a letter, enough to see whether a word has room
COLUMNS = 302  # a dense lane and the lamp are gathered into columns of 2 units
WIDTH_OF_COLUMN = (RIGHT - LEFT) / COLUMNS
OWN_LANES = 5  # legs, stages, power, lamp, failed checks
LONGEST_GAP_S = 1.0  # between two frames, as the lamp camera's control allows


class _Chart:
    """A drawing with a time scale, and lanes that are filled from the top."""

    def __init__(self, begin_s: float, end_s: float, lanes: int) -> None:
        self.begin_s, self.end_s = begin_s, max(end_s, begin_s + 1.0)
        self.bottom = TOP + LANE * lanes
        self.drawing = Drawing(WIDTH, self.bottom + FOOT, "timeline of the run")
        self._lane = 0
        for lane in range(0, lanes, 2):
            self.drawing.rectangle(0.0, TOP + LANE * lane, WIDTH, LANE, WASH)
        self._draw_axis()

    def x(self, time_s: float) -> float:
        share = (time_s - self.begin_s) / (self.end_s - self.begin_s)
        return LEFT + (RIGHT - LEFT) * min(1.0, max(0.0, share))

    def next_lane(self, name: str) -> float:
        """Begin a lane and give its top."""
        top = TOP + LANE * self._lane
        self.drawing.text((4.0, top + BASE), name, INK, size=NAME_SIZE)
        self._lane += 1
        return top

    def columns(self, times_s: Sequence[float]) -> NDArray[np.int_]:
        """The column of each time."""
        step = (self.end_s - self.begin_s) / COLUMNS
        return np.clip((np.asarray(times_s) - self.begin_s) / step, 0, COLUMNS - 1).astype(int)

    def _draw_axis(self) -> None:
        self.drawing.line((LEFT, self.bottom), (RIGHT, self.bottom), INK)
        step = _nice_step(self.end_s - self.begin_s)
        for count in range(math.ceil(self.begin_s / step), math.floor(self.end_s / step) + 1):
            x = self.x(count * step)
            self.drawing.line((x, TOP), (x, self.bottom), RULE, thick=0.5)
            self.drawing.line((x, self.bottom), (x, self.bottom + 4.0), INK)
            self.drawing.text((x, self.bottom + 14.0), f"{count * step:g}", INK, size=9.5, anchor="middle")
        self.drawing.text((4.0, self.bottom + 14.0), "Unit seconds of the run", MUTED, size=9.5)


def timeline_picture(
    record: Record, legs: Sequence[LegRecord], frames: LampFrames, failed_at: Mapping[int, Sequence[float]]
) -> str:
    """Draw a run.

    Args:
        record: Its moments; its product tells the hotspot's name and how a start shows on the console.
        legs: As driven.
        frames: All of the run.
        failed_at: When failed checks failed, by the number the sheet gives them.

    Returns:
        SVG; nothing where the run has neither a moment nor a leg.
    """
    times = [m.time_s for m in record.moments] + [end for leg in legs for end in (leg.begin_s, leg.end_s)]
    if not times:
        return ""
    lanes = lanes_of(record)
    chart = _Chart(min(0.0, *times), max(times), len(lanes) + OWN_LANES)
    _draw_legs(chart, legs)
    _draw_stages(chart, legs)
    _draw_power(chart, record.moments)
    _draw_lamp(chart, frames, curve_of(record.moments))
    for lane in lanes:
        _draw_lane(chart, lane)
    _draw_failures(chart, failed_at)
    return str(chart.drawing)


def _draw_legs(chart: _Chart, legs: Sequence[LegRecord]) -> None:
    top = chart.next_lane("Legs, by number")
    for number, leg in enumerate(legs, 1):
        left, right = chart.x(leg.begin_s), chart.x(leg.end_s)
        chart.drawing.rectangle(left, top + 3.0, max(1.0, right - left), LANE - 6.0, ALLOWED, line=MUTED)
        if right - left > 10.0:
            chart.drawing.text(((left + right) / 2.0, top + BASE), str(number), INK, size=WORD_SIZE, anchor="middle")


def _draw_stages(chart: _Chart, legs: Sequence[LegRecord]) -> None:
    top = chart.next_lane("Stage confirmed")
    free = LEFT
    for leg in legs:
        x = chart.x(leg.end_s)
        chart.drawing.line((x, top + 3.0), (x, top + LANE - 3.0), INK, thick=1.2)
        words = next(
            (w for w in (leg.confirmed, leg.confirmed.split(" (")[0]) if x - LETTER * len(w) - 5.0 >= free), ""
        )
        chart.drawing.text((x - 3.0, top + BASE), words, MUTED, size=WORD_SIZE, anchor="end")
        free = x


def _draw_power(chart: _Chart, moments: Sequence[Moment]) -> None:
    top = chart.next_lane("Power on")
    on_since: float | None = None
    for moment in [m for m in moments if m.source == "power" and m.kind in ("on", "off")]:
        if moment.kind == "on" and on_since is None:
            on_since = moment.time_s
        elif moment.kind == "off" and on_since is not None:
            _stretch(chart, top, on_since, moment.time_s)
            on_since = None
    if on_since is not None:
        _stretch(chart, top, on_since, chart.end_s)


def _stretch(chart: _Chart, top: float, begin_s: float, end_s: float) -> None:
    left = chart.x(begin_s)
    chart.drawing.rectangle(left, top + 6.0, max(0.8, chart.x(end_s) - left), LANE - 12.0, MUTED)


def _draw_lamp(chart: _Chart, frames: LampFrames, curve: NDArray[np.float32]) -> None:
    top = chart.next_lane("Lamp, as seen")
    if not len(frames):
        return
    colours = _column_colours(chart, frames, curve)
    begin = 0
    for at in range(1, COLUMNS + 1):
        if at == COLUMNS or colours[at] != colours[begin]:
            if colours[begin]:
                left, width = LEFT + begin * WIDTH_OF_COLUMN, (at - begin) * WIDTH_OF_COLUMN
                chart.drawing.rectangle(left, top + 3.0, width, LANE - 6.0, colours[begin])
            begin = at


def _column_colours(chart: _Chart, frames: LampFrames, curve: NDArray[np.float32]) -> list[str]:
    """Each column's mean light; one between two frames keeps the last for a while, one in a gap is left out."""
    light = lamp_light(frames, curve)
    columns = chart.columns(frames.times_s.tolist())
    sums = np.zeros((COLUMNS, 3))
    np.add.at(sums, columns, light)
    counts = np.bincount(columns, minlength=COLUMNS)
    step = (chart.end_s - chart.begin_s) / COLUMNS
    colours, kept, kept_at = [], "", 0
    for at in range(COLUMNS):
        if counts[at]:
            kept, kept_at = _hex(sums[at] / counts[at]), at
        colours.append(kept if (at - kept_at) * step <= LONGEST_GAP_S else "")
    return colours


def _hex(linear: NDArray[np.float64]) -> str:
    """A colour of the page, in coarse steps, so that neighbours of one colour are one box."""
    codes = (min(255, round(255.0 * float(level) ** (1.0 / 2.2) / 15.0) * 15) for level in linear)
    return "#" + "".join(f"{code:02x}" for code in codes)


def _draw_lane(chart: _Chart, lane: Lane) -> None:
    top = chart.next_lane(lane.name)
    if lane.words is None:
        for begin, end in _runs(sorted(set(chart.columns(lane.times_s).tolist()))):
            left, width = LEFT + begin * WIDTH_OF_COLUMN, (end - begin) * WIDTH_OF_COLUMN - 0.4
            chart.drawing.rectangle(left, top + 5.0, width, LANE - 10.0, MUTED)
        return
    marks = [(chart.x(time_s), word) for time_s, word in zip(lane.times_s, lane.words, strict=True)]
    clusters = list(_clusters(marks))
    free = LEFT
    for at, cluster in enumerate(clusters, 1):
        next_begin = clusters[at][0][0] if at < len(clusters) else RIGHT
        free = _draw_cluster(chart, top, cluster, free, next_begin)


def _draw_cluster(
    chart: _Chart, top: float, cluster: Sequence[tuple[float, str]], free: float, next_begin: float
) -> float:
    """Draw marks, with their words on whichever side has room; give where the lane is free again."""
    words = _in_words([word for _, word in cluster])
    ink, width = (FAIL_INK if UNASKED in words else MUTED), LETTER * len(words) + 4.0
    for x, word in cluster:
        chart.drawing.line((x, top + 4.0), (x, top + LANE - 4.0), FAIL_INK if word == UNASKED else INK, thick=1.2)
    first, last = cluster[0][0], cluster[-1][0]
    if last + width < next_begin:
        chart.drawing.text((last + 3.0, top + BASE), words, ink, size=WORD_SIZE)
        return last + width
    if first - width > free:
        chart.drawing.text((first - 3.0, top + BASE), words, ink, size=WORD_SIZE, anchor="end")
    return last


def _clusters(marks: Sequence[tuple[float, str]]) -> Iterator[list[tuple[float, str]]]:
    """Marks so close that their words would run into each other, together."""
    cluster: list[tuple[float, str]] = []
    for mark in sorted(marks):
        if cluster and mark[0] - cluster[-1][0] > CLUSTER:
            yield cluster
            cluster = []
        cluster.append(mark)
    if cluster:
        yield cluster


def _in_words(words: Sequence[str]) -> str:
    """`joined, leased`, `answered ×3`."""
    counts = {word: words.count(word) for word in words}
    return ", ".join(word if number == 1 else f"{word} ×{number}" for word, number in counts.items())


def _runs(columns: Sequence[int]) -> list[tuple[int, int]]:
    """Neighbouring columns as stretches (begin, end), the end not included."""
    runs: list[tuple[int, int]] = []
    for column in columns:
        if runs and runs[-1][1] == column:
            runs[-1] = (runs[-1][0], column + 1)
        else:
            runs.append((column, column + 1))
    return runs


def _draw_failures(chart: _Chart, failed_at: Mapping[int, Sequence[float]]) -> None:
    top = chart.next_lane("Failed, by check")
    for number, times_s in failed_at.items():
        for time_s in times_s:
            x = chart.x(time_s)
            chart.drawing.line((x, TOP), (x, top + LANE), FAIL_INK, thick=0.8, dashes="3 3")
            chart.drawing.rectangle(x - 7.0, top + 3.5, 14.0, LANE - 7.0, FAIL_INK)
            chart.drawing.text((x, top + BASE), str(number), PAPER, size=WORD_SIZE, anchor="middle", weight="bold")


def _nice_step(length_s: float) -> float:
    """A round step that gives about ten ticks."""
    rough = length_s / 10.0
    power = 10.0 ** math.floor(math.log10(rough))
    return next(factor * power for factor in (1, 2, 5, 10) if factor * power >= rough)
