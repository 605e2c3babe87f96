"""Half-widths at 95 % for what frames can tell, and the answer that could not be had.

A change between two frames lies anywhere between them (rectangular); stamps scatter (taken as
normal). The 95 % half-width of the two together is worked out from their joint distribution, since
root-sum-squares of 95 % half-widths would be too narrow for rectangular parts.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

LEAST_STEPS = 20  # for a 95th percentile
NORMAL_95 = 1.959964  # two-sided 95 % point of the standard normal distribution


@dataclass(frozen=True, slots=True)
class NotTold:
    """A result that the frames do not give, with the reason; false in a condition."""

    reason: str

    def __bool__(self) -> bool:
        """Is never a result."""
        return False


def rising_stamps(times_s: Sequence[float] | Floats) -> Floats:
    """Take time stamps as an array, shape (n,).

    Raises ValueError: not one-dimensional, not finite, or not strictly rising.
    """
    times = np.asarray(times_s, dtype=np.float64)
    if times.ndim != 1:
        raise ValueError(f"time stamps have shape {times.shape}: give one stamp a frame, shape (n,).")
    if not np.isfinite(times).all():
        raise ValueError("time stamps hold a value that is not finite.")
    steps = np.diff(times)
    if (steps <= 0).any():
        at = int(np.argmax(steps <= 0))
        raise ValueError(f"time stamps do not rise: stamp {at + 1} is {times[at + 1]:.6f} s after {times[at]:.6f} s.")
    return times


def stamp_scatter(times_s: Sequence[float] | Floats) -> float:
    """Give the standard deviation of a camera's stamps about the true times of its frames, which come at a steady pace.

    From the steps between following stamps, less whole frame intervals (a dropped frame makes a step of two): each holds
    the errors of two stamps. The 95th percentile over its normal factor, so that stamps that are late now and then count.
    0 where there are too few frames; a pace that is not steady counts as scatter.
    """
    steps = np.diff(rising_stamps(times_s))
    if len(steps) < LEAST_STEPS:
        return 0.0
    interval = float(np.median(steps))
    whole = np.maximum(np.round(steps / interval), 1.0)
    interval = float(np.median(steps / whole))
    return float(np.percentile(np.abs(steps - whole * interval), 95.0)) / (NORMAL_95 * math.sqrt(2.0))


def half_width_95(rectangular_half: float, normal_sd: float = 0.0) -> float:
    """Give the 95 % half-width of a rectangular error (± its half) plus a normal one.

    Purely rectangular: 0.95 of the half; purely normal: 1.96 standard deviations; else the root of
    P(|R + N| ≤ x) = 0.95, which has a closed form in the normal distribution, found by bisection.
    """
    if normal_sd <= 1e-9 * rectangular_half:
        return 0.95 * rectangular_half
    if rectangular_half <= 1e-9 * normal_sd:
        return NORMAL_95 * normal_sd
    low, high = 0.0, rectangular_half + 4.0 * normal_sd
    for _ in range(60):
        middle = (low + high) / 2
        if _coverage(middle, rectangular_half, normal_sd) < 0.95:
            low = middle
        else:
            high = middle
    return high


def _coverage(limit: float, half: float, sd: float) -> float:
    above, below = (limit + half) / sd, (limit - half) / sd
    return (_integral_of_phi(above) - _integral_of_phi(below)) * sd / half - 1.0


def _integral_of_phi(z: float) -> float:
    phi = 0.5 * (1.0 + math.erf(z / math.sqrt(2.0)))
    return z * phi + math.exp(-z * z / 2.0) / math.sqrt(2.0 * math.pi)


def difference_95(first_95: float, second_95: float) -> float:
    """Give the 95 % half-width of the difference of two times whose errors are near rectangular.

    Each half-width is 0.95 of a rectangular half; their difference is near triangular, whose spread is
    taken as 1.96 standard deviations (exact for the triangle: 1.90; so 3 % wide).
    """
    return NORMAL_95 / math.sqrt(3.0) / 0.95 * math.hypot(first_95, second_95)


def student_95(degrees: int) -> float:
    """Give the two-sided 95 % point of Student's t for 3 or more degrees of freedom, within 0.5 %.

    Source: Cornish-Fisher expansion in the normal point (Abramowitz and Stegun 26.7.5).
    """
    if degrees < 3:
        raise ValueError(f"{degrees} degrees of freedom: the expansion holds from 3.")
    z, n = NORMAL_95, float(degrees)
    first = (z**3 + z) / 4
    second = (5 * z**5 + 16 * z**3 + 3 * z) / 96
    third = (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384
    fourth = (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / 92160
    return z + first / n + second / n**2 + third / n**3 + fourth / n**4
