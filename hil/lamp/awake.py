"""Tells when a camera was asleep: the same picture again and again, or no picture."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from hil.lamp.doubt import Bools, Floats, rising_stamps
from hil.lamp.light import Crops, crop_stack


@dataclass(frozen=True, slots=True)
class AsleepSpan:
    """A window in which the camera showed nothing new, and why."""

    begin_s: float
    end_s: float
    reason: str


def frozen_spans(
    times_s: Sequence[float] | Floats, crops: Crops | Sequence[Crops], *, longest_s: float = 1.0
) -> list[AsleepSpan]:
    """Find windows longer than `longest_s` with bit-identical frames or without a frame, in order.

    A live sensor's noise makes two equal frames rare, but a dark or strongly compressed crop can stay equal for
    a few: give a crop with some light in it, best the bench's own lamp. A window runs from the first of the
    equal frames (or the last before the gap) to the first that differs, or to the last frame.

    Raises ValueError: stamps do not rise, counts differ, or a crop is wrong (see `crop_stack`).
    """
    times, stack = rising_stamps(times_s), crop_stack(crops)
    if len(times) != len(stack):
        raise ValueError(f"{len(times)} stamps and {len(stack)} crops do not belong together.")
    if len(times) < 2:
        return []
    same = np.array([np.array_equal(one, after) for one, after in pairwise(stack)])
    late: Bools = np.diff(times) > longest_s
    gaps = [AsleepSpan(float(times[at]), float(times[at + 1]), "no frames") for at in np.flatnonzero(late)]
    return sorted(gaps + _still(times, same & ~late, longest_s), key=lambda span: span.begin_s)


def _still(times: Floats, same: Bools, longest_s: float) -> list[AsleepSpan]:
    steps = np.flatnonzero(np.diff(np.concatenate([[False], same, [False]]).astype(np.int8)))
    found = []
    for first, last in zip(steps[::2], steps[1::2], strict=True):
        end = times[min(last + 1, len(times) - 1)]
        if end - times[first] > longest_s:
            found.append(AsleepSpan(float(times[first]), float(end), "identical frames"))
    return found
