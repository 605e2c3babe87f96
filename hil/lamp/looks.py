"""How a lamp looked that nobody described yet: steady, flashing, or a sequence, read off its spans of colour.

A look is a pattern that came twice in full, or else a colour that stayed for longer than the slowest flash would let it.
Between looks lie short stretches that tell nothing; they are left out.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hil.lamp.appearance import Appearance
from hil.lamp.colour import OFF, UNRECOGNISED
from hil.lamp.pattern import length_doubt_s, touch
from hil.lamp.spans import Span
from hil.lamp.stage import SLOWEST_PHASE_S

MOST_PHASES = 4
PERIODS = 2  # that must be seen in full
TOLERANCE = 0.15  # share by which phases of one pattern may differ beyond their doubt; as `stages_over_time` allows
ROUNDING = 0.02  # share by which a seen figure may be rounded to a plain one
HALF_DUTY = (0.45, 0.55)  # taken for half


@dataclass(frozen=True, slots=True)
class Look:
    """A stretch of one look."""

    appearance: Appearance
    begin_s: float
    end_s: float

    def covers(self, time_s: float) -> bool:
        """Whether it was shown at a time."""
        return self.begin_s <= time_s <= self.end_s


def looks(spans: Sequence[Span], least_steady_s: float = SLOWEST_PHASE_S) -> list[Look]:
    """Read what the lamp showed, in order. Spans as of `colour_spans`."""
    found: list[Look] = []
    at = 0
    while at < len(spans):
        run = _repeating(spans, at)
        if run is not None:
            end, phases = run
            found.append(Look(_pattern(spans[at:end], phases), spans[at].begin_s, spans[end - 1].end_s))
            at = end
            continue
        span = spans[at]
        if span.colour != UNRECOGNISED and span.length_s > least_steady_s:
            found.append(Look(Appearance(span.colour), span.begin_s, span.end_s))
        at += 1
    return found


def _repeating(spans: Sequence[Span], first: int) -> tuple[int, int] | None:
    """The end of a pattern that begins with a span, and how many phases it has; the shortest that fits."""
    for phases in range(2, MOST_PHASES + 1):
        end = first
        while end < len(spans) and _goes_on(spans, first, end, phases):
            end += 1
        if end - first >= PERIODS * phases and _is_pattern(spans[first : first + phases]):
            return end, phases
    return None


def _goes_on(spans: Sequence[Span], first: int, at: int, phases: int) -> bool:
    span = spans[at]
    if not span.complete or span.colour == UNRECOGNISED:
        return False
    if at > first and not touch(spans[at - 1], span):
        return False
    if at < first + phases:
        return True
    before = spans[at - phases]
    room_s = TOLERANCE * before.length_s + length_doubt_s(span) + length_doubt_s(before)
    return span.colour == before.colour and abs(span.length_s - before.length_s) <= room_s


def _is_pattern(cycle: Sequence[Span]) -> bool:
    return cycle[0].colour != cycle[-1].colour and any(span.colour != OFF for span in cycle)


def _pattern(spans: Sequence[Span], phases: int) -> Appearance:
    whole = spans[: len(spans) // phases * phases]  # means over whole periods: frame times average out
    lengths_s = [float(np.mean([span.length_s for span in whole[phase::phases]])) for phase in range(phases)]
    colours = [span.colour for span in spans[:phases]]
    if phases == 2 and OFF in colours:
        lit = 1 - colours.index(OFF)
        duty = lengths_s[lit] / sum(lengths_s)
        told = 0.5 if HALF_DUTY[0] <= duty <= HALF_DUTY[1] else plain_figure(duty)
        return Appearance(colours[lit], plain_figure(1.0 / sum(lengths_s)), told)
    first = next(at for at, colour in enumerate(colours) if colour != OFF)
    order = [*range(first, phases), *range(first)]  # a sequence is told from a lit phase on
    return Appearance(sequence=tuple((colours[at], plain_figure(lengths_s[at])) for at in order))


def plain_figure(value: float) -> float:
    """The figure with the fewest decimals within a fiftieth of a value."""
    near = (round(value, digits) for digits in range(4))
    return next((figure for figure in near if figure and abs(figure - value) <= ROUNDING * value), value)
