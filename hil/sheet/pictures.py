"""Small pictures: a mark for each verdict, and a reading drawn against its limits."""

import math
from dataclasses import dataclass
from functools import cache

from hil.core.readings import Reading
from hil.core.verdicts import Limits, Verdict
from hil.sheet.drawing import Drawing
from hil.sheet.palette import ALLOWED, INK, MUTED, PAPER, TONES

BAR_WIDTH, BAR_HEIGHT = 180.0, 18.0
LEAST_SEEN = 2.4  # a doubt narrower than this would vanish on paper


@cache
def verdict_mark(verdict: Verdict) -> str:
    """The mark of a verdict: each has a shape of its own, so that it reads without colour."""
    drawing = Drawing(24, 24, verdict.value)
    ink = TONES[verdict].ink
    if verdict is Verdict.PASS:
        drawing.circle((12, 12), 11, ink)
        drawing.path([(6.5, 12.5), (10.5, 16.5), (17.5, 8)], PAPER, thick=2.6)
    elif verdict is Verdict.FAIL:
        drawing.rectangle(1.5, 1.5, 21, 21, ink)
        drawing.path([(7, 7), (17, 17)], PAPER, thick=2.6)
        drawing.path([(17, 7), (7, 17)], PAPER, thick=2.6)
    elif verdict is Verdict.UNJUDGED:
        drawing.polygon([(12, 0.5), (23.5, 12), (12, 23.5), (0.5, 12)], ink)
        drawing.path([(8.8, 10), (9.6, 7.8), (12, 7), (14.4, 7.8), (15.2, 10), (12, 12.6), (12, 14)], PAPER, thick=2)
        drawing.circle((12, 17.3), 1.4, PAPER)
    elif verdict is Verdict.NOT_REACHED:
        drawing.polygon([(12, 1), (23.5, 22.5), (0.5, 22.5)], ink)
        drawing.path([(12, 9), (12, 15.5)], PAPER, thick=2.4)
        drawing.circle((12, 19), 1.4, PAPER)
    else:
        drawing.circle((12, 12), 11, ink)
        drawing.circle((12, 12), 8.6, PAPER)
        drawing.path([(7.5, 12), (16.5, 12)], ink, thick=2.4)
    return str(drawing)


@dataclass(frozen=True, slots=True)
class _Scale:
    left: float
    right: float

    def at(self, value: float) -> float:
        """Where a value lies on the bar; one outside it, at the edge."""
        share = (value - self.left) / (self.right - self.left)
        return 4.0 + (BAR_WIDTH - 8.0) * min(1.0, max(0.0, share))

    def shows(self, value: float) -> bool:
        return self.left <= value <= self.right


def reading_bar(reading: Reading, limits: Limits, verdict: Verdict) -> str:
    """Draw a reading, as wide as its doubt, over the band its limits allow.

    A reading that leaves the picture, or has an open end, ends in an arrow.
    """
    drawing = Drawing(BAR_WIDTH, BAR_HEIGHT, f"{reading} against {limits}: {verdict}")
    scale = _scale_for(reading, limits)
    middle = BAR_HEIGHT / 2.0
    begin = scale.at(scale.left if limits.lower is None else limits.lower)
    end = scale.at(scale.right if limits.upper is None else limits.upper)
    drawing.rectangle(begin, 3.5, end - begin, BAR_HEIGHT - 7.0, ALLOWED)
    drawing.line((4.0, middle), (BAR_WIDTH - 4.0, middle), MUTED, thick=0.7)
    for limit in (limits.lower, limits.upper):
        if limit is not None:
            drawing.line((scale.at(limit), 1.0), (scale.at(limit), BAR_HEIGHT - 1.0), INK, thick=1.6)
    _draw_interval(drawing, reading, scale, TONES[verdict].ink)
    return str(drawing)


def _draw_interval(drawing: Drawing, reading: Reading, scale: _Scale, ink: str) -> None:
    middle = BAR_HEIGHT / 2.0
    low, high = scale.at(reading.low), scale.at(reading.high)
    if high - low < LEAST_SEEN:
        drawing.rectangle((low + high - LEAST_SEEN) / 2.0, middle - 5.0, LEAST_SEEN, 10.0, ink)
    else:
        drawing.rectangle(low, middle - 3.0, high - low, 6.0, ink)
    if reading.value is not None and scale.shows(reading.value) and high - low > 4.0 * LEAST_SEEN:
        drawing.line((scale.at(reading.value), 2.5), (scale.at(reading.value), BAR_HEIGHT - 2.5), ink, thick=1.6)
    if reading.high > scale.right:
        drawing.polygon([(BAR_WIDTH - 8, 3), (BAR_WIDTH, middle), (BAR_WIDTH - 8, BAR_HEIGHT - 3)], ink)
    if reading.low < scale.left:
        drawing.polygon([(8, 3), (0, middle), (8, BAR_HEIGHT - 3)], ink)


def _scale_for(reading: Reading, limits: Limits) -> _Scale:
    """Room around the limits, stretched to the reading as far as the limits stay readable."""
    lower, upper = limits.lower, limits.upper
    ends = [end for end in (lower, upper) if end is not None]
    width = ends[1] - ends[0] if len(ends) == 2 else abs(ends[0]) if ends else 0.0
    width = width or max(1.0, abs(reading.low) if math.isfinite(reading.low) else 1.0)
    left = 0.0 if lower is None and reading.low >= 0.0 else min([*ends, 0.0] if lower is None else ends) - 0.5 * width
    right = (ends[-1] if ends else width) + (0.5 * width if lower is not None else 0.3 * width)
    if math.isfinite(reading.high):
        right = max(right, min(reading.high + 0.05 * width, right + 1.5 * width))
    if math.isfinite(reading.low):
        left = min(left, max(reading.low - 0.05 * width, left - 1.5 * width))
    return _Scale(left, right)
