"""From spans of colour to the stages that a product declares.

How it decides: first the cycles. Spans whose lengths fit a declared flash or sequence, in order, for at least
one whole period seen from end to end, are that stage. Its neighbours on either side may be part of it too: a
span of the next phase's colour that is no longer than that phase belongs to the cycle; of a longer one the
excess is something else. So "white steady, then white flashing" is parted inside the last steady span, at
a time known only to within one lit phase: the middle is given, with half the phase as doubt. (A steady stage
exactly as long as one phase, before a flash of its colour, is taken for that phase.)

What is left is dark; or steady, when it lasted longer than any lit phase of that colour could, declared or by the
slowest flash of IEC 60073; or "unrecognised", with the reason. Nothing is ever given the nearest stage.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from hil.lamp.appearance import Appearance
from hil.lamp.colour import OFF, UNRECOGNISED
from hil.lamp.doubt import NotTold
from hil.lamp.flash import TOO_FAST, FlashRate, in_words
from hil.lamp.pattern import RATE_TOLERANCE, PatternRun, cycle_rate, length_doubt_s, pattern_runs, touch
from hil.lamp.spans import Span

DARK = "dark"
# Lit phase of IEC 60073's slowest flash, 0.4 Hz, at half duty: a colour lit for longer is not flashing by it.
SLOWEST_PHASE_S = 1.25


@dataclass(frozen=True, slots=True)
class StageSpan:
    """A stretch of one stage as the lamp showed it.

    stage: a declared stage, "dark" or "unrecognised" (then `reason` says why).
    begin_doubt_s: half-width at 95 %; infinite where the stretch had begun before the first frame or in a gap.
    rate: the measured flash or cycle, where there is one.
    short: one unbroken stretch of light, too short to call it steady or flashing.
    manner: in words how light that is no declared stage came and went, where that can be told.
    """

    stage: str
    begin_s: float
    end_s: float
    begin_doubt_s: float
    colour: str
    rate: FlashRate | None = None
    reason: str = ""
    short: bool = False
    manner: str = ""


@dataclass(frozen=True, slots=True)
class _Slice:
    """What becomes of a span, or a part of it: spans first..last, settled or not."""

    found: StageSpan
    first: int
    last: int
    open: bool = False  # lit, and too short to call steady


def stages_over_time(
    spans: Sequence[Span],
    appearances: Mapping[str, Appearance],
    *,
    rate_tolerance: float = RATE_TOLERANCE,
    least_steady_s: float = SLOWEST_PHASE_S,
) -> list[StageSpan]:
    """Tell which declared stage the lamp showed when.

    Args:
        spans: from `colour_spans`, in order, in the same seconds as the appearances' rates.
        appearances: stage name → its lamp. A stage declared as "off" takes the place of "dark".
        rate_tolerance: a phase or rate may differ by this share (beyond doubt) and still be that stage's.
        least_steady_s: a colour lit for less cannot be called steady.

    Raises ValueError: two stages are declared with one appearance, or a figure is out of range.
    """
    _check(appearances, rate_tolerance)
    runs = pattern_runs(spans, appearances, rate_tolerance)
    reader = _Reader(spans, appearances, runs, rate_tolerance, least_steady_s)
    slices = _dark_within_open(spans, reader.slices())
    return _joined(spans, slices)


def _check(appearances: Mapping[str, Appearance], tolerance: float) -> None:
    if not 0.0 < tolerance < 0.5:
        raise ValueError(f"rate_tolerance = {tolerance}: give a share between 0 and 0.5.")
    seen: dict[Appearance, str] = {}
    for stage, appearance in appearances.items():
        if stage in (DARK, UNRECOGNISED):
            raise ValueError(f"a stage cannot be called {stage!r}: the reader uses that word itself.")
        if appearance in seen:
            raise ValueError(f"stages {seen[appearance]!r} and {stage!r} look the same: nothing can tell them apart.")
        seen[appearance] = stage


@dataclass(frozen=True, slots=True)
class _Bound:
    """Where a run begins or ends, with doubt; shares: how its outer neighbour span is split."""

    time_s: float
    doubt_s: float
    shares: str  # "none": not part of it; "whole": all of it; "part": the rest of it is something else


@dataclass(frozen=True, slots=True)
class _Reader:
    spans: Sequence[Span]
    appearances: Mapping[str, Appearance]
    runs: Sequence[PatternRun]
    tolerance: float
    least_steady_s: float

    def slices(self) -> list[_Slice]:
        """Give runs and the spans between them, in order."""
        slices: list[_Slice] = []
        at, begin = 0, None
        for number, run in enumerate(self.runs):
            claimed = number > 0 and at >= run.first
            lead = self._lead(run, claimed)
            slices += self._between(at, run, begin, lead)
            if claimed:  # the two runs share a span
                slices[-1] = replace(slices[-1], found=replace(slices[-1].found, end_s=lead.time_s))
            tail = self._tail(run, self.runs[number + 1] if number + 1 < len(self.runs) else None)
            colour = next(phase.colour for phase in run.cycle if phase.colour != OFF)
            found = StageSpan(run.stage, lead.time_s, tail.time_s, lead.doubt_s, colour, run.rate)
            slices.append(_Slice(found, run.first, run.last))
            at, begin = run.last + (2 if tail.shares == "whole" else 1), tail if tail.shares == "part" else None
        return slices + self._between(at, None, begin, None)

    def _between(self, at: int, run: PatternRun | None, begin: _Bound | None, lead: _Bound | None) -> list[_Slice]:
        """Slice the spans from `at` up to a run; the first begins late, the last ends early, where a run shares it."""
        end = len(self.spans) if run is None or lead is None else run.first - (1 if lead.shares == "whole" else 0)
        slices = []
        for number in range(at, end):
            span, proven = self.spans[number], False
            if begin is not None and number == at:
                span, proven = replace(span, begin_s=begin.time_s, begin_doubt_s=begin.doubt_s), True
            if lead is not None and lead.shares == "part" and number == end - 1:
                proven = proven or self._outlasts(number, run)
                span = replace(span, end_s=lead.time_s, end_doubt_s=lead.doubt_s)
            slices.append(self._alone(number, span, proven))
        return slices

    def _outlasts(self, number: int, run: PatternRun | None) -> bool:
        """Say whether a span lasted longer than its phase in the run that follows or precedes it."""
        if run is None:
            return False
        span, phase = self.spans[number], run.phase_at(number)
        return span.length_s > phase.length_s * run.scale * (1 + self.tolerance) + length_doubt_s(span)

    def _neighbour(self, run: PatternRun, number: int) -> bool:
        """Say whether span `number` lies next to the run in a seen change and has the colour of its phase."""
        if not 0 <= number < len(self.spans) or self.spans[number].colour != run.phase_at(number).colour:
            return False
        pair = (number, run.first) if number < run.first else (run.last, number)
        return touch(self.spans[pair[0]], self.spans[pair[1]])

    def _lead(self, run: PatternRun, claimed: bool) -> _Bound:
        """Find the run's begin; `claimed`: the span before it belongs to the run before."""
        edge = self.spans[run.first]
        number = run.first - 1
        if not self._neighbour(run, number):
            return _Bound(edge.begin_s, edge.begin_doubt_s, "none")
        span = self.spans[number]
        length = run.phase_at(number).length_s * run.scale
        outlasts, dark = self._outlasts(number, run), span.colour == OFF
        if dark and (outlasts or claimed):  # dark before: the cycle begins with its first lit edge
            return _Bound(edge.begin_s, edge.begin_doubt_s, "none")
        if outlasts:
            return _Bound(edge.begin_s - length / 2, length / 2 + edge.begin_doubt_s, "part")
        if not math.isfinite(span.begin_doubt_s) or (not dark and self._fills(number, run)):
            return _Bound(span.begin_s, span.begin_doubt_s, "whole")
        half = span.length_s / 2  # the cycle may have begun anywhere in it
        return _Bound(span.begin_s + half, half + max(span.begin_doubt_s, span.end_doubt_s), "part")

    def _fills(self, number: int, run: PatternRun) -> bool:
        span, length = self.spans[number], run.phase_at(number).length_s * run.scale
        return span.length_s >= length * (1 - self.tolerance) - length_doubt_s(span)

    def _tail(self, run: PatternRun, following: PatternRun | None) -> _Bound:
        edge, number = self.spans[run.last], run.last + 1
        if (following is not None and following.first == number) or not self._neighbour(run, number):
            return _Bound(edge.end_s, edge.end_doubt_s, "none")
        span, length = self.spans[number], run.phase_at(number).length_s * run.scale
        if self._outlasts(number, run):
            return _Bound(edge.end_s + length / 2, length / 2 + edge.end_doubt_s, "part")
        return _Bound(span.end_s, span.end_doubt_s, "whole")

    def _alone(self, number: int, span: Span, proven: bool) -> _Slice:
        """Judge a span by itself; `proven`: it outlasted its phase in the cycle beside it."""
        stage, reason, still_open = self._judged(span, self.spans[number].length_s, length_doubt_s(span), proven)
        found = StageSpan(stage, span.begin_s, span.end_s, span.begin_doubt_s, span.colour, None, reason, still_open)
        return _Slice(found, number, number, still_open)

    def _judged(self, span: Span, length_s: float, doubt_s: float, proven: bool) -> tuple[str, str, bool]:
        if span.colour == UNRECOGNISED:
            return UNRECOGNISED, "the colour is not recognised", False
        steady = [name for name, look in self.appearances.items() if not look.cycle and look.colour == span.colour]
        if span.colour == OFF:
            return (steady[0] if steady else DARK), "", False
        if not proven and length_s <= self._least_steady(span.colour) + doubt_s:
            return UNRECOGNISED, f"{span.colour} for {span.length_s:.2f} s: too short to tell", True
        if not steady:
            return UNRECOGNISED, f"{span.colour} steady: no stage is declared so", False
        return steady[0], "", False

    def _least_steady(self, colour: str) -> float:
        phases = [
            phase.length_s for look in self.appearances.values() for phase in look.cycle if phase.colour == colour
        ]
        return max(self.least_steady_s, max(phases, default=0.0) * (1 + self.tolerance))


def _dark_within_open(spans: Sequence[Span], slices: list[_Slice]) -> list[_Slice]:
    """Leave dark spans open that lie between two open ones of one colour: part of a flash nobody declared."""
    result = list(slices)
    for at in range(1, len(slices) - 1):
        before, here, after = slices[at - 1 : at + 2]
        between = before.open and after.open and before.found.colour == after.found.colour
        if between and here.found.colour == OFF and _meet(spans, before, here) and _meet(spans, here, after):
            result[at] = replace(here, found=replace(here.found, stage=UNRECOGNISED), open=True)
    return result


def _meet(spans: Sequence[Span], before: _Slice, after: _Slice) -> bool:
    return after.first == before.last + 1 and touch(spans[before.last], spans[after.first])


def _joined(spans: Sequence[Span], slices: Sequence[_Slice]) -> list[StageSpan]:
    """Join open slices that meet into one unrecognised stretch with one reason."""
    joined: list[_Slice] = []
    for here in slices:
        if joined and joined[-1].open and here.open and _meet(spans, joined[-1], here):
            joined[-1] = replace(joined[-1], found=replace(joined[-1].found, end_s=here.found.end_s), last=here.last)
        else:
            joined.append(here)
    return [_explained(spans, piece) if piece.open else piece.found for piece in joined]


def _explained(spans: Sequence[Span], piece: _Slice) -> StageSpan:
    parts = [span for span in spans[piece.first : piece.last + 1] if span.complete]
    lit = sorted({span.colour for span in spans[piece.first : piece.last + 1]} - {OFF})
    if piece.first == piece.last:
        return piece.found
    piece = replace(piece, found=replace(piece.found, short=False))
    length = piece.found.end_s - piece.found.begin_s
    changing = f"changing between {' and '.join(lit)} for {length:.2f} s: no declared stage fits, or too short to tell"
    if len(lit) > 1 or len(parts) < 2:
        return replace(piece.found, reason=changing)
    rate = cycle_rate(parts, 2)
    if isinstance(rate, NotTold):
        manner = TOO_FAST if TOO_FAST in rate.reason else ""
        return replace(piece.found, reason=f"{lit[0]} on and off for {length:.2f} s: {rate.reason}", manner=manner)
    manner = f"flashing at {in_words(rate)}, lit for {rate.duty:.0%} of the time"
    reason = f"{lit[0]} {manner}: no declared stage fits, or too short to tell"
    return replace(piece.found, rate=rate, reason=reason, manner=manner)
