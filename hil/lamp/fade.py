"""Tells a lamp that goes up and down smoothly from one that flashes, and from one that is steady.

A flash changes between two frames, with one mixture between them at most. Where change after change takes longer, the lamp
is faded, or flashes so near a multiple of the frame rate that the frames walk slowly through its period: the two look
alike, and neither is a flash at the rate at which the frames go up and down. A lamp that fades in or out once, or whose flash has
soft edges and is as bright as ever between them, is none of this.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from hil.lamp.colour import OFF, UNRECOGNISED
from hil.lamp.doubt import Floats, NotTold, half_width_95, rising_stamps
from hil.lamp.flash import TOO_FAST, FlashRate, in_words, rate_of_edges
from hil.lamp.spans import LOST
from hil.lamp.stage import StageSpan

# All: common practice, no source.
LOW, HIGH = 0.2, 0.8  # of the way from the darkest to the brightest: a change goes from one to the other
SHARP_FRAMES = 1  # within a change of a flash: one exposure at most holds it
BACK, LONGEST_STEP = 0.1, 0.45  # of that way, from frame to frame: noise goes back, and a flash goes most of it at once
LEAST_DEPTH = 0.25  # of the brightest
LEAST_SHARE = 0.25  # of the time that is spent in changes: a sine spends 0.41 in them
FEWEST_CHANGES, FEWEST_WITHIN = 5, 20  # two periods; frames within all changes of a run: a few come so by noise
UNSTEADY = 0.35  # of the brightest: a twentieth of the frames is darker than this; other lamps' light makes 0.47 of it
FEWEST_FRAMES, MOST_FRAMES = 20, 400  # that are looked at


@dataclass(frozen=True, slots=True)
class Breathing:
    """A stretch in which a lamp of one colour went up and down smoothly; the rate's duty is the share of it above the middle."""

    begin_s: float
    end_s: float
    colour: str
    rate: FlashRate


@dataclass(frozen=True, slots=True)
class _Change:
    """From the last frame at one level to the first at the other, with so many frames between that go the same way."""

    begin_s: float
    end_s: float
    rises: bool
    frames: int


def breathing(
    times_s: Sequence[float] | Floats,
    words: Sequence[str],
    luminance: Sequence[float] | Floats,
    *,
    sharp_frames: int = SHARP_FRAMES,
) -> list[Breathing]:
    """Find where a lamp went up and down smoothly, for two periods or more.

    Args:
        times_s: shape (n,), stamps of the frames, strictly rising.
        words: n colour words.
        luminance: shape (n,), linear light, any scale.
        sharp_frames: how many frames lie within a change of a lamp that is switched; see `frames_within_changes`.

    Raises ValueError: lengths differ, stamps do not rise.
    """
    times, light = rising_stamps(times_s), np.asarray(luminance, dtype=np.float64)
    if light.shape != times.shape or len(words) != len(times):
        raise ValueError(f"{len(times)} stamps, {len(words)} words and luminance {light.shape} do not belong together.")
    if len(times) < FEWEST_CHANGES:
        return []
    interval_s = float(np.median(np.diff(times)))
    return [
        found
        for colour, first, end in _stretches(words)
        for run in _smooth_runs(_changes(times[first:end], light[first:end]), sharp_frames)
        if _lit_flips(times, words, run) <= len(run) and (found := _told(run, colour, interval_s)) is not None
    ]


def frames_within_changes(times_s: Sequence[float] | Floats, luminance: Sequence[float] | Floats) -> int:
    """How many frames a camera takes to show a lamp that is switched: more than one where it smooths its pictures over time.

    Of the bench's own lamp: what it takes nine times of ten.
    """
    changes = _changes(rising_stamps(times_s), np.asarray(luminance, dtype=np.float64))
    return max(SHARP_FRAMES, round(float(np.percentile([change.frames for change in changes] or [0], 90.0))))


def with_breathing(stages: Sequence[StageSpan], found: Sequence[Breathing]) -> list[StageSpan]:
    """Put what went up and down smoothly in the place of what the stages make of it: no stage is declared so."""
    result = list(stages)
    for one in found:
        period_s = 1.0 / one.rate.hz
        begin_s, end_s = one.begin_s - period_s, one.end_s + period_s
        before = [replace(s, end_s=min(s.end_s, one.begin_s)) for s in result if s.begin_s < begin_s]
        after = [
            replace(s, begin_s=one.end_s, begin_doubt_s=period_s) if s.begin_s < one.end_s else s
            for s in result
            if s.end_s > end_s
        ]
        manner = f"going up and down smoothly at {in_words(one.rate)}, or flashing {TOO_FAST}"
        reason = f"{one.colour}, {manner}: no stage is declared so"
        told = StageSpan(UNRECOGNISED, one.begin_s, one.end_s, period_s, one.colour, one.rate, reason, manner=manner)
        result = [*before, told, *after]
    return result


def with_unsteady(
    stages: Sequence[StageSpan],
    times_s: Sequence[float] | Floats,
    luminance: Sequence[float] | Floats,
    flashes: Collection[str] = (),
) -> list[StageSpan]:
    """Take for no stage what goes up and down too fast to be told.

    That is a steady stage whose light does so from frame to frame, and a flash in whose light something faster is stronger:
    where a phase often has no frame of its own, its cycles are missed, and the rate of those seen is none. `flashes` are the
    stages that flash in one colour. A flash at the frame rate less its own cannot be known so, where exposures are short.
    """
    times, light = rising_stamps(times_s), np.asarray(luminance, dtype=np.float64)
    result = []
    for stage in stages:
        inside = np.flatnonzero((times > stage.begin_s) & (times < stage.end_s))[2:-2][:MOST_FRAMES]
        manner = ""
        if len(inside) >= FEWEST_FRAMES and stage.rate is None and stage.stage != UNRECOGNISED and stage.colour != OFF:
            dark, bright = np.nanpercentile(light[inside], [5.0, 95.0])
            manner = f"going up and down {TOO_FAST}" if dark < UNSTEADY * bright else ""
        elif len(inside) >= FEWEST_FRAMES and stage.rate is not None and stage.stage in (UNRECOGNISED, *flashes):
            faster = _something_faster(times[inside], light[inside], stage.rate.hz)
            manner = f"on and off {TOO_FAST}" if faster else ""
        told = replace(stage, stage=UNRECOGNISED, rate=None, reason=f"{stage.colour}, {manner}", manner=manner)
        result.append(told if manner else stage)
    return result


def _something_faster(times: Floats, light: Floats, hz: float) -> bool:
    """Whether a higher frequency, up to half the frame rate, is stronger in light than that of its flash."""
    length_s, interval_s = float(times[-1] - times[0]), float(np.median(np.diff(times)))
    centred = np.nan_to_num(light - np.nanmean(light)) * np.hanning(len(light))

    def strength(frequencies: Floats) -> Floats:
        return np.asarray(np.abs(np.exp(-2j * np.pi * np.outer(frequencies, times)) @ centred), dtype=np.float64)

    step_hz = 0.25 / length_s
    own = strength(np.array([hz - step_hz, hz, hz + step_hz])).max()
    higher = np.arange(hz + 3.0 / length_s, 0.5 / interval_s, step_hz)
    return bool(len(higher) and strength(higher).max() > own)


def _stretches(words: Sequence[str]) -> list[tuple[str, int, int]]:
    """Stretches of frames in which one colour came and went: the colour, the first frame, the end."""
    lit = [(at, word) for at, word in enumerate(words) if word not in (OFF, UNRECOGNISED)]
    turns = [(at, word) for (at, word), before in zip(lit, [(-1, ""), *lit], strict=False) if word != before[1]]
    if not turns:
        return []
    lasts = [max(seen for seen, _ in lit if seen < until) for until, _ in turns[1:]]
    begins, ends = [0, *(last + 1 for last in lasts)], [*(at for at, _ in turns[1:]), len(words)]
    return [(word, begin, end) for (_, word), begin, end in zip(turns, begins, ends, strict=True)]


def _changes(times: Floats, light: Floats) -> list[_Change]:
    """Changes from low to high and back, of a stretch whose light goes deep enough."""
    known = np.isfinite(light)
    times, light = times[known], light[known]
    if len(light) < FEWEST_CHANGES:
        return []
    darkest, brightest = np.percentile(light, [5.0, 95.0])
    if brightest <= 0.0 or brightest - darkest < LEAST_DEPTH * brightest:
        return []
    share = (light - darkest) / (brightest - darkest)
    at_end = np.flatnonzero((share <= LOW) | (share >= HIGH))
    found = []
    for one, after in pairwise(at_end):
        rises = bool(share[after] >= HIGH)
        if rises != bool(share[one] >= HIGH):
            steps = np.diff(share[one : after + 1]) * (1.0 if rises else -1.0)
            smooth = bool((steps > -BACK).all() and (steps < LONGEST_STEP).all())
            frames = int(after - one - 1) if smooth else 0
            found.append(_Change(float(times[one]), float(times[after]), rises, frames))
    return found


def _smooth_runs(changes: Sequence[_Change], sharp_frames: int) -> list[list[_Change]]:
    """Changes that follow each other and each took longer than a flash's could."""
    runs: list[list[_Change]] = [[]]
    for change in changes:
        if change.frames > sharp_frames:
            runs[-1].append(change)
        else:
            runs.append([])
    long_enough = (run for run in runs if len(run) >= FEWEST_CHANGES)
    return [run for run in long_enough if sum(change.frames for change in run) >= FEWEST_WITHIN]


def _lit_flips(times: Floats, words: Sequence[str], run: Sequence[_Change]) -> int:
    """How often the lamp went dark or was lit in a run, by the words: a flash in light that scatters does so more often."""
    first, end = np.searchsorted(times, [run[0].begin_s, run[-1].end_s])
    lit = [word != OFF for word in words[first : end + 1] if word != UNRECOGNISED]
    return sum(one != after for one, after in pairwise(lit))


def _told(run: Sequence[_Change], colour: str, interval_s: float) -> Breathing | None:
    begin_s, end_s = run[0].begin_s, run[-1].end_s
    changing_s = sum(change.end_s - change.begin_s for change in run)
    if changing_s < LEAST_SHARE * (end_s - begin_s):
        return None
    middles = np.array([(change.begin_s + change.end_s) / 2.0 for change in run])
    doubts = np.full(len(run), half_width_95(LOST * interval_s))
    rate = rate_of_edges(middles, doubts, first_rises=run[0].rises, interval_s=interval_s, least_periods=2)
    return None if isinstance(rate, NotTold) else Breathing(begin_s, end_s, colour, rate)
