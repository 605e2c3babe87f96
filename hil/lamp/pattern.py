"""Finds where spans of colour run through a declared cycle (a flash or a sequence)."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from hil.lamp.appearance import Appearance, Phase
from hil.lamp.colour import OFF
from hil.lamp.doubt import NotTold, difference_95, half_width_95
from hil.lamp.flash import HIGHEST_SHARE, TOO_FAST, FlashRate, mean_period, rate_of_edges, uneven
from hil.lamp.spans import Span

FEW_FRAMES = 2.5  # a phase: of fewer, none may show the lamp as it is all through; common practice, no source
RATE_TOLERANCE = 0.15  # by this share a phase or rate may be off, beyond doubt; common practice, no source
EDGE_OFF = 0.3  # of the shorter phase: by so much one edge may be off by itself; common practice, no source


@dataclass(frozen=True, slots=True)
class PatternRun:
    """Complete spans first..last that fit a stage's cycle in order, one whole period or more.

    phase: index in the cycle of span `first`. scale: seen period over declared period.
    """

    stage: str
    cycle: tuple[Phase, ...]
    first: int
    last: int
    phase: int
    rate: FlashRate
    scale: float

    def phase_at(self, span: int) -> Phase:
        """Give the phase that a span is in, or would be in, before and after the run too."""
        return self.cycle[(self.phase + span - self.first) % len(self.cycle)]


def touch(before: Span, after: Span) -> bool:
    """Say whether two spans meet in a change that was seen."""
    return before.end_s == after.begin_s and np.isfinite(before.end_doubt_s) and np.isfinite(after.begin_doubt_s)


def length_doubt_s(span: Span) -> float:
    """Give the 95 % half-width of a span's length, from the ends that were seen."""
    ends = [doubt for doubt in (span.begin_doubt_s, span.end_doubt_s) if np.isfinite(doubt)]
    return difference_95(ends[0], ends[1]) if len(ends) == 2 else sum(ends)


def frame_interval_s(spans: Sequence[Span]) -> float:
    """Estimate the frame interval of spans that touch: their time over their frames."""
    frames = sum(span.frames for span in spans)
    return (spans[-1].end_s - spans[0].begin_s) / frames if frames else 0.0


def pattern_runs(spans: Sequence[Span], appearances: Mapping[str, Appearance], tolerance: float) -> list[PatternRun]:
    """Find the runs of declared cycles, in order; a stretch that fits two stages alike belongs to neither."""
    search = _Search(spans, tolerance)
    found = [
        run
        for stage, appearance in appearances.items()
        if appearance.cycle
        for run in search.runs_of(stage, appearance.cycle)
    ]
    taken: list[PatternRun] = []
    for run in sorted(found, key=lambda run: (run.first - run.last, run.first)):
        if not any(_rivals(run, other) for other in found):
            rest = search.without(run, taken)
            taken += [rest] if rest else []
    return sorted(taken, key=lambda run: run.first)


def passes_through(spans: Sequence[Span], cycle: Sequence[Phase], tolerance: float) -> bool:
    """Say whether some spans that touch may be part of a cycle, too short a part to be timed as a whole.

    Each has the colour that is due, none lasts longer than its phase, and those between the first and the last no less.
    """
    if not spans or not all(touch(before, after) for before, after in pairwise(spans)):
        return False
    return any(
        all(
            _may_be(span, cycle[(phase + at) % len(cycle)], tolerance, whole=0 < at < len(spans) - 1)
            for at, span in enumerate(spans)
        )
        for phase in range(len(cycle))
    )


def _may_be(span: Span, phase: Phase, tolerance: float, *, whole: bool) -> bool:
    room_s = tolerance * phase.length_s + length_doubt_s(span)
    too_short = whole and span.length_s < phase.length_s - room_s
    return span.colour == phase.colour and span.length_s <= phase.length_s + room_s and not too_short


def _rivals(run: PatternRun, other: PatternRun) -> bool:
    """Say whether another stage's cycle fits a good part of the run as well."""
    overlap = min(run.last, other.last) - max(run.first, other.first) + 1
    needed = max(len(run.cycle), len(other.cycle), (run.last - run.first + 1) // 2)
    return other.stage != run.stage and overlap >= needed


@dataclass(frozen=True, slots=True)
class _Search:
    spans: Sequence[Span]
    tolerance: float

    def runs_of(self, stage: str, cycle: tuple[Phase, ...]) -> Iterator[PatternRun]:
        """Find the longest runs of one cycle, whatever phase they begin in."""
        for phase in range(len(cycle)):
            for first in range(len(self.spans)):
                if self._follows(first, cycle[phase]) and self._fits(first - 1, cycle[phase - 1]):
                    continue  # part of a longer run
                last, skipped = self._last(cycle, first, phase), self._dark_start(cycle, first, phase)
                run = self._measured(stage, cycle, first + skipped, last, (phase + skipped) % len(cycle))
                if run is not None:
                    yield run

    def without(self, run: PatternRun, taken: Sequence[PatternRun]) -> PatternRun | None:
        """Give what is left of a run where longer ones share spans with it, if that still is a run."""
        first, last = run.first, run.last
        for other in taken:
            if other.first <= first <= other.last:
                first = other.last + 1
            if other.first <= last <= other.last:
                last = other.first - 1
        if (first, last) == (run.first, run.last):
            return run
        phase = (run.phase + first - run.first) % len(run.cycle)
        return self._measured(run.stage, run.cycle, first, last, phase)

    def _dark_start(self, cycle: tuple[Phase, ...], first: int, phase: int) -> bool:
        """Say whether a run begins with a dark span that may as well be the end of what was before."""
        before = first > 0 and self.spans[first - 1].colour == cycle[phase - 1].colour
        return cycle[phase].colour == OFF and not (before and touch(self.spans[first - 1], self.spans[first]))

    def _last(self, cycle: tuple[Phase, ...], first: int, phase: int) -> int:
        """Find where a run ends. An edge that is off by itself, between phases that fit, does not end it."""
        at, after_off = first, first
        while at < len(self.spans) and (at == first or touch(self.spans[at - 1], self.spans[at])):
            due, then = (cycle[(phase + at + more - first) % len(cycle)] for more in (0, 1))
            if self._fits(at, due):
                at += 1
            elif at > after_off and self._edge_off(at, due, then):
                at = after_off = at + 2
            else:
                break
        return at - 1

    def _edge_off(self, at: int, due: Phase, then: Phase) -> bool:
        """Say whether the edge between two spans is off while both together fit their phases: a unit that was busy, as one is
        that erases its flash memory, changes its lamp late once.
        """
        if at + 1 >= len(self.spans) or not touch(self.spans[at], self.spans[at + 1]):
            return False
        here, after = self.spans[at], self.spans[at + 1]
        pair, pair_s = replace(here, end_s=after.end_s, end_doubt_s=after.end_doubt_s), due.length_s + then.length_s
        off_s = max(abs(here.length_s - due.length_s), abs(after.length_s - then.length_s))
        room_s = EDGE_OFF * min(due.length_s, then.length_s) + max(length_doubt_s(here), length_doubt_s(after))
        return (
            (here.colour, after.colour) == (due.colour, then.colour)
            and after.complete
            and abs(pair.length_s - pair_s) <= self.tolerance * pair_s + length_doubt_s(pair)
            and off_s <= room_s
        )

    def _fits(self, at: int, phase: Phase) -> bool:
        span = self.spans[at]
        if span.colour != phase.colour or not span.complete:
            return False
        return abs(span.length_s - phase.length_s) <= self.tolerance * phase.length_s + length_doubt_s(span)

    def _follows(self, at: int, phase: Phase) -> bool:
        return at > 0 and self.spans[at].colour == phase.colour and touch(self.spans[at - 1], self.spans[at])

    def _measured(self, stage: str, cycle: tuple[Phase, ...], first: int, last: int, phase: int) -> PatternRun | None:
        """Measure a run by the edges that are surely its own, and hold its rate against the declared one."""
        begin = first if first and self._changes_to(first - 1, cycle[phase - 1]) else first + 1
        after = cycle[(phase + last + 1 - first) % len(cycle)]
        end = last if self._changes_to(last + 1, after) and not self._outlasts(last + 1, after) else last - 1
        if end - begin + 1 < len(cycle):
            return None
        rate = cycle_rate(self.spans[begin : end + 1], len(cycle))
        if isinstance(rate, NotTold):
            return None
        declared = sum(part.length_s for part in cycle)
        doubt = rate.doubt_hz * declared
        if doubt > self.tolerance or abs(rate.hz * declared - 1.0) > self.tolerance + doubt:
            return None
        return PatternRun(stage, cycle, first, last, phase, rate, scale=1.0 / (rate.hz * declared))

    def _changes_to(self, at: int, phase: Phase) -> bool:
        return 0 <= at < len(self.spans) and self.spans[at].colour == phase.colour

    def _outlasts(self, at: int, phase: Phase) -> bool:
        span = self.spans[at]
        return span.length_s > phase.length_s * (1 + self.tolerance) + length_doubt_s(span)


def cycle_rate(spans: Sequence[Span], phases: int) -> FlashRate | NotTold:
    """Read the rate at which complete spans that touch repeat, with the lit share, from one period on."""
    edges = np.array([span.begin_s for span in spans] + [spans[-1].end_s])
    doubts = np.array([span.begin_doubt_s for span in spans] + [spans[-1].end_doubt_s])
    interval = frame_interval_s(spans)
    if len(spans) * FEW_FRAMES * interval > edges[-1] - edges[0]:  # then no mixture tells the time within a frame
        doubts = np.maximum(doubts, half_width_95(interval / 2))
    if phases == 2 and OFF in (spans[0].colour, spans[-1].colour, spans[1].colour):
        return rate_of_edges(edges, doubts, first_rises=spans[0].colour != OFF, interval_s=interval, least_periods=1)
    period, doubt = mean_period(edges, doubts, phases=phases)
    if interval / period > HIGHEST_SHARE:
        return NotTold(f"a cycle of {period:.2f} s is too short for frames {interval:.2f} s apart: {TOO_FAST}")
    problem = uneven(edges, doubts, period, phases=phases)
    if problem:
        return NotTold(problem)
    whole = spans[: len(spans) // phases * phases]
    lit = sum(span.length_s for span in whole if span.colour != OFF)
    duty = lit / (whole[-1].end_s - whole[0].begin_s)
    return FlashRate(1.0 / period, doubt / period**2, duty, float(2 * doubts.max() / period), len(edges))
