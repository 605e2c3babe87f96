"""Readings: measured values with unit and doubt.

A reading is an interval that holds the truth at 95 %: a value and its half-width where an instrument measured it, a
one-sided or wide interval where a witness was asleep or patience ran out. The decision rule (`hil.judge.rules`) looks at
the interval alone.
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Occurrence:
    """When something happened: between `earliest_s` and `latest_s` (infinite: never seen), on the run's clock.

    `measured` tells an instrument's time and doubt from a mere bound; `because` says what widened it, naming the witness.
    """

    earliest_s: float
    latest_s: float
    measured: bool = True
    because: str = ""

    @classmethod
    def at(cls, time_s: float, doubt_s: float) -> "Occurrence":
        """What an awake instrument saw at `time_s` ± `doubt_s`."""
        return cls(time_s - doubt_s, time_s + doubt_s)

    @classmethod
    def not_before(cls, time_s: float, because: str) -> "Occurrence":
        """What was not seen up to `time_s`."""
        return cls(time_s, math.inf, measured=False, because=because)

    @property
    def seen(self) -> bool:
        """Whether it was seen at all."""
        return math.isfinite(self.latest_s)


@dataclass(frozen=True, slots=True)
class Reading:
    """A measured value as the interval from `low` to `high`, in `unit`; `at_s` is where on the timeline it was settled."""

    low: float
    high: float
    unit: str
    because: str = ""
    at_s: float | None = None

    def __post_init__(self) -> None:
        """Refuse an interval that is none."""
        if not self.low <= self.high:
            raise ValueError(f"a reading from {self.low} to {self.high} is no interval")

    @classmethod
    def of(cls, value: float, doubt: float, unit: str, at_s: float | None = None) -> "Reading":
        """A value with its half-width at 95 %."""
        return cls(value - doubt, value + doubt, unit, at_s=at_s)

    @property
    def value(self) -> float | None:
        """The middle of the interval; None where the interval is open."""
        return (self.low + self.high) / 2.0 if math.isfinite(self.high - self.low) else None

    @property
    def doubt(self) -> float:
        """The half-width; infinite where the interval is open."""
        return (self.high - self.low) / 2.0

    @property
    def digits(self) -> int:
        """Decimals that show the doubt: one from 1 up, else two, or as many as it takes not to show it as 0."""
        if self.doubt >= 1.0:
            return 1
        return next((digits for digits in (2, 3) if round(self.doubt, digits) > 0.0), 4)

    def __str__(self) -> str:
        """As a sheet shows it: `27.40 ± 0.15 s`, `> 45.0 s`."""
        if self.value is None:
            if math.isfinite(self.low):
                return f"> {self.low:.1f} {self.unit}"
            return f"< {self.high:.1f} {self.unit}" if math.isfinite(self.high) else "no value"
        digits = self.digits
        if self.because:
            return f"between {self.low:.{digits}f} and {self.high:.{digits}f} {self.unit}"
        return f"{self.value:.{digits}f} ± {self.doubt:.{digits}f} {self.unit}"


def between(first: Occurrence, then: Occurrence) -> Reading:
    """The time from one occurrence to another, in seconds.

    Two measured times are independent, so their doubts add as root of squares (JCGM 100:2008, 5.1.2); mere bounds add
    in full.
    """
    if first.measured and then.measured:
        middle = (then.earliest_s + then.latest_s - first.earliest_s - first.latest_s) / 2.0
        doubt = math.hypot(then.latest_s - then.earliest_s, first.latest_s - first.earliest_s) / 2.0
        return Reading.of(middle, doubt, "s", at_s=then.earliest_s)
    because = "; ".join(part for part in (first.because, then.because) if part)
    low = then.earliest_s - first.latest_s if first.seen else -math.inf
    high = then.latest_s - first.earliest_s
    return Reading(min(low, high), high, "s", because, at_s=then.earliest_s)
