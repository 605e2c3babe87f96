"""What a count of failures says of the true rate, and how a set of times is told in a few figures."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import expm1, inf, log1p

import numpy as np

from hil.core.readings import Reading

CONFIDENCE = 0.95


def highest_rate(failed: int, tried: int, confidence: float = CONFIDENCE) -> float:
    """The rate of failure that is not exceeded at a confidence, after so many failures in so many independent tries.

    The exact one-sided upper bound of Clopper and Pearson (Biometrika 26, 1934, 404): at any higher true rate, so few
    failures would come with a chance below 1 - confidence. 1 where all failed, or nothing was tried.

    Raises:
        ValueError: the counts are none.
    """
    if not 0 <= failed <= tried:
        raise ValueError(f"{failed} failures of {tried} tries are no counts")
    if failed == tried:
        return 1.0
    if failed == 0:
        return -expm1(log1p(-confidence) / tried)  # so many in a row come with a chance of (1 - rate) ** tried
    from scipy.special import betaincinv  # noqa: PLC0415 - takes a quarter of a second, and good units need none

    return float(betaincinv(failed + 1, tried - failed, confidence))


def rate_between(failed: int, tried: int, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """The rates between which the true one lies at a confidence, both ends included: the two-sided interval of the same.

    Raises:
        ValueError: the counts are none.
    """
    each = (1.0 + confidence) / 2.0
    return 1.0 - highest_rate(tried - failed, tried, each), highest_rate(failed, tried, each)


def rate_statement(failed: int, tried: int) -> str:
    """A count of failures and what it says of the true rate, in words; digits such that the bound is not understated."""
    if tried == 0:
        return "none tried"
    percent = np.ceil(highest_rate(failed, tried) * 1000.0) / 10.0
    if failed == tried:
        return f"{failed} of {tried} failed"
    sure = f"{CONFIDENCE * 100.0:.0f} %, Clopper–Pearson"
    return f"{failed} of {tried} failed: true rate below {percent:.1f} % ({sure})"


@dataclass(frozen=True, slots=True)
class Spread:
    """A set of values told in a few figures, in the values' unit."""

    count: int
    lowest: float
    median: float
    percentile_95: float
    highest: float


def spread_of(values: Sequence[float]) -> Spread | None:
    """The figures of a set of values; None of an empty one.

    The percentile is the least value that 95 of 100 do not exceed (definition 1 of Hyndman and Fan, The American
    Statistician 50, 1996, 361): one of the values, so that one that never ended among twenty does not decide it.
    """
    if not values:
        return None
    high = np.percentile(values, 95.0, method="inverted_cdf")
    return Spread(len(values), min(values), float(np.median(values)), float(high), max(values))


def spread_statement(readings: Sequence[Reading]) -> str:
    """The figures of those readings that are closed, in words; empty where there is none."""
    spread = spread_of([reading.value for reading in readings if reading.value is not None])
    if spread is None:
        return ""
    return (
        f"of {spread.count}: median {spread.median:.2f} s, 95th percentile {spread.percentile_95:.2f} s, "
        f"{spread.lowest:.2f} to {spread.highest:.2f} s"
    )


def percentile_over_median(readings: Sequence[Reading]) -> Reading | None:
    """The 95th percentile of some readings over their median; None where there is none.

    A reading without an upper end counts with its lower one; where it is the percentile, so is the ratio's. The doubt is
    that of a ratio of two values that are each as doubtful as the worst closed reading (JCGM 100:2008, 5.1.6).
    """
    closed = [reading.value for reading in readings if reading.value is not None]
    spread = spread_of([*closed, *(reading.low for reading in readings if reading.value is None)])
    if spread is None or spread.median <= 0.0 or not closed:
        return None
    ratio = spread.percentile_95 / spread.median
    if spread.percentile_95 > max(closed):
        return Reading(ratio, inf, "times")
    doubt = max(reading.doubt for reading in readings if reading.value is not None)
    relative = float(np.hypot(doubt / spread.percentile_95, doubt / spread.median))
    return Reading.of(ratio, ratio * relative, "times")
