"""The signature of a unit: which checks of its run ended other than in a pass, and how. Compared exactly.

A unit whose right verdict is known challenges the bench: one that fails for another reason than its own, or that fails one
check more than it should, shows that the bench or a check is wrong.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from hil.core.moments import Json, Moment
from hil.core.verdicts import Verdict
from hil.evidence.seen import tells_of_sleep

Direction = Literal["above", "below"]
EVERY = "*"
GOOD = (Verdict.PASS, Verdict.NOT_APPLICABLE)


@dataclass(frozen=True, slots=True)
class ExpectedVerdict:
    """What a check must come to.

    `check` is its id, or the beginning of ids with a `*` at its end: then all of them that are not named themselves.
    `reading` says on which side of its limits the reading lies, `says` what must stand in the reason.
    """

    check: str
    verdict: Verdict
    reading: Direction | None = None
    says: str = ""

    def means(self, check: str) -> bool:
        """Whether this is about that check."""
        return check == self.check or (self.check.endswith(EVERY) and check.startswith(self.check.removesuffix(EVERY)))


@dataclass(frozen=True, slots=True)
class SeenReading:
    """A reading behind a verdict, as it was booked: its interval and its limits; None is an open end.

    `because` says what widened it, where it is no measured value.
    """

    promised: str
    verdict: Verdict
    low: float | None
    high: float | None
    lower: float | None
    upper: float | None
    unit: str = ""
    because: str = ""

    @property
    def direction(self) -> Direction | None:
        """On which side of its limits it lies, where it failed."""
        if self.verdict is not Verdict.FAIL:
            return None
        above = self.low is not None and self.upper is not None and self.low > self.upper
        return "above" if above else "below"


@dataclass(frozen=True, slots=True)
class SeenVerdict:
    """What a check came to, and the readings behind it."""

    check: str
    verdict: Verdict
    reason: str = ""
    readings: tuple[SeenReading, ...] = ()

    @property
    def directions(self) -> frozenset[Direction]:
        """The sides on which its failing readings lie beyond their limits."""
        return frozenset(reading.direction for reading in self.readings if reading.direction is not None)


class Kind(StrEnum):
    """In what a run differs from its signature."""

    MISSING = "missing"
    EXTRA = "extra"
    OTHER_VERDICT = "other verdict"
    OTHER_DIRECTION = "other direction"
    OTHER_REASON = "other reason"


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing in which a run is not as expected; `slept`: because a witness slept, so another run may tell.

    `check` is the check it is about, as the run names it, or as the signature does where the run lacks it.
    """

    kind: Kind
    check: str
    says: str
    slept: bool = False

    @property
    def text(self) -> str:
        """In words."""
        return f"{self.kind}: {self.says}"


def seen_verdicts(moments: Iterable[Moment]) -> tuple[SeenVerdict, ...]:
    """The verdicts that a run booked on its timeline, in order."""
    return tuple(
        SeenVerdict(m.text("check"), Verdict(m.kind), m.text("reason"), tuple(_readings(m.data.get("readings"))))
        for m in moments
        if m.source == "verdict"
    )


def _readings(booked: Json) -> Iterator[SeenReading]:
    for reading in booked if isinstance(booked, list) else []:
        if isinstance(reading, dict):
            promised, unit, because = (str(reading.get(key, "")) for key in ("promised", "unit", "because"))
            low, high, lower, upper = (_number(reading.get(key)) for key in ("low", "high", "lower", "upper"))
            verdict = Verdict(str(reading.get("verdict")))
            yield SeenReading(promised, verdict, low, high, lower, upper, unit, because)


def _number(value: Json) -> float | None:
    return float(value) if isinstance(value, int | float) else None


def differences(
    expected: Sequence[ExpectedVerdict], seen: Sequence[SeenVerdict], *, sometimes: bool = False
) -> tuple[Difference, ...]:
    """In what a run differs from the signature; nothing where it is exactly that.

    A check that no expectation is about must have passed (or not apply). `sometimes`: the fault comes in some runs only, so
    one that an expectation is about may have passed too.
    """
    told: list[Difference] = []
    met: set[str] = set()
    for verdict in seen:
        fit = expectations_of(verdict.check, expected)
        met.update(e.check for e in fit)
        fine = sometimes and verdict.verdict in GOOD
        told += filter(None, (_difference(e, verdict) for e in fit if not fine) if fit else (_extra(verdict),))
    missing = [e.check for e in expected if e.check not in met]
    return (*told, *(Difference(Kind.MISSING, check, f"the run has no check {check}") for check in missing))


def expectations_of(check: str, expected: Sequence[ExpectedVerdict]) -> list[ExpectedVerdict]:
    """The expectations that are about a check: those that name it, else the groups it belongs to."""
    fit = [e for e in expected if e.means(check)]
    return [e for e in fit if e.check == check] or fit


def _extra(seen: SeenVerdict) -> Difference | None:
    if seen.verdict in GOOD:
        return None
    return Difference(Kind.EXTRA, seen.check, f"{seen.check} {seen.verdict}: {seen.reason}", _slept(seen))


def _difference(expected: ExpectedVerdict, seen: SeenVerdict) -> Difference | None:
    check = seen.check
    if seen.verdict is not expected.verdict:
        kind = Kind.MISSING if seen.verdict in GOOD else Kind.OTHER_VERDICT
        reason = f": {seen.reason}" if seen.reason else ""
        return Difference(kind, check, f"{check} {seen.verdict}, expected {expected.verdict}{reason}", _slept(seen))
    if expected.reading is not None and seen.directions != {expected.reading}:
        where = " and ".join(sorted(seen.directions)) or "on no side of"
        return Difference(
            Kind.OTHER_DIRECTION, check, f"{check} {where} its limit, expected {expected.reading}: {seen.reason}"
        )
    if expected.says not in seen.reason:
        return Difference(Kind.OTHER_REASON, check, f"{check} does not say {expected.says!r}: {seen.reason}")
    return None


def came_as_stated(expected: ExpectedVerdict, seen: SeenVerdict) -> bool:
    """Whether a check came to what an expectation about it says."""
    return _difference(expected, seen) is None


def _slept(seen: SeenVerdict) -> bool:
    return seen.verdict is Verdict.UNJUDGED and tells_of_sleep(seen.reason)
