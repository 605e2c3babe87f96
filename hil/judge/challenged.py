"""What a challenge of the bench came to: each unit whose right verdict is known, and the sums over them.

A series of golden and known-bad units says how far the bench can be believed: whether it lets faults through, whether it
fails good units, and which of its checks have never been seen to catch anything.

A fault that comes only now and then has its unit driven several times. The unit is caught if every check that should fail
did so in one run at least, and nothing else ever did.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from math import ceil, floor

from hil.core.verdicts import Verdict, verdict_of
from hil.judge.signature import Difference, ExpectedVerdict, Kind, SeenVerdict, came_as_stated, expectations_of
from hil.judge.statistics import highest_rate, rate_between


class Outcome(StrEnum):
    """What a unit came to, in the words of a report.

    As intended: every check of its signature came out as stated. In part: some that should fail did. By another only: the
    unit failed, but by none of those.
    """

    BY_INTENDED = "caught as intended"
    IN_PART = "caught in part"
    BY_ANOTHER = "caught by another only"
    MISSED = "missed"
    PASSED = "passed"
    FALSE_ALARM = "false alarm"
    UNDECIDED = "undecided"
    NO_RUN = "no whole run"


CAUGHT = (Outcome.BY_INTENDED, Outcome.IN_PART, Outcome.BY_ANOTHER)


@dataclass(frozen=True, slots=True)
class Driven:
    """The run that a unit's verdict rests on: its folder within the series', and what its record states."""

    folder: str = ""
    began: str = ""
    ended: str = ""
    build_sha256: str = ""
    tool_revision: str = ""
    speed: float | None = None
    unit_time_s: float = 0.0
    legs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Challenged:
    """One unit and what its run came to.

    `differences` say in what the run is not what was expected; `trouble` why it is no whole run, where it is none.
    `runs` counts how often it was driven. Texts of the run have canary secrets replaced. `takes` are the runs one by one of
    a unit whose fault comes only now and then; `seen` and `driven` are then those of the run that tells most.
    """

    name: str
    golden: bool
    verdict: Verdict | None
    why: str = ""
    expected: tuple[ExpectedVerdict, ...] = ()
    seen: tuple[SeenVerdict, ...] = ()
    differences: tuple[Difference, ...] = ()
    trouble: str = ""
    runs: int = 1
    driven: Driven = Driven()
    takes: tuple["Challenged", ...] = ()

    @property
    def right_verdict(self) -> Verdict:
        """What a bench that can be believed says of it."""
        return Verdict.PASS if self.golden else Verdict.FAIL

    @property
    def outcome(self) -> Outcome:
        """What it came to."""
        if self.trouble or self.verdict is None:
            return Outcome.NO_RUN
        if self.verdict not in (Verdict.PASS, Verdict.FAIL):
            return Outcome.UNDECIDED
        if self.golden:
            return Outcome.PASSED if self.verdict is Verdict.PASS else Outcome.FALSE_ALARM
        if self.verdict is Verdict.PASS:
            return Outcome.MISSED
        if all(difference.kind is Kind.EXTRA for difference in self.differences):
            return Outcome.BY_INTENDED
        return Outcome.IN_PART if self.caught_by else Outcome.BY_ANOTHER

    @property
    def exact(self) -> bool:
        """Whether everything is as expected."""
        return self.outcome in (Outcome.BY_INTENDED, Outcome.PASSED) and not self.differences

    @property
    def slept(self) -> bool:
        """Whether nothing but sleeping witnesses keeps it from being as expected: another run may tell."""
        return bool(self.differences) and not self.trouble and all(d.slept for d in self.differences)

    @property
    def failed(self) -> tuple[SeenVerdict, ...]:
        """The checks that failed."""
        return tuple(seen for seen in self.seen if seen.verdict is Verdict.FAIL)

    @property
    def caught_by(self) -> tuple[SeenVerdict, ...]:
        """The checks that failed as they should."""
        if self.takes:
            return tuple({seen.check: seen for take in self.takes for seen in take.caught_by}.values())
        odd = {difference.check for difference in self.differences}
        return tuple(seen for seen in self.failed if seen.check not in odd)

    def telling(self, expected: ExpectedVerdict) -> "Challenged":
        """The run that tells of an expectation: the first in which it was met, where there are several."""
        return next((take for take in self.takes if _met(expected, take)), self)

    @property
    def caught_in(self) -> "Rate":
        """In how many of its runs it was caught by a check that should."""
        takes = self.takes or (self,)
        return Rate(sum(bool(take.caught_by) for take in takes), len(takes))

    @property
    def unit_time_s(self) -> float:
        """How long all its runs took, unit seconds."""
        return sum(take.driven.unit_time_s for take in self.takes or (self,))

    @property
    def unprovoked(self) -> tuple[SeenVerdict, ...]:
        """The checks that came to a pass or a fail, and had no fault before them."""
        if self.takes:
            return tuple(seen for take in self.takes for seen in take.unprovoked)
        decided = (seen for seen in self.seen if seen.verdict in (Verdict.PASS, Verdict.FAIL))
        return tuple(seen for seen in decided if not expectations_of(seen.check, self.expected))


@dataclass(frozen=True, slots=True)
class Rate:
    """How often something came among so many."""

    count: int
    of: int

    @property
    def below(self) -> float:
        """The highest true rate that fits at 95 %, one-sided; 1 where nothing was decided."""
        return highest_rate(self.count, self.of)

    @property
    def below_percent(self) -> float:
        """That in per cent, rounded up to a tenth, so that it is never understated."""
        return ceil(self.below * 1000.0) / 10.0

    @property
    def between_percent(self) -> tuple[float, float]:
        """The true rates in per cent that fit at 95 %, two-sided, rounded outwards to a tenth."""
        low, high = rate_between(self.count, self.of)
        return floor(low * 1000.0) / 10.0, ceil(high * 1000.0) / 10.0


def over_runs(takes: Sequence[Challenged]) -> Challenged:
    """A unit whose fault comes only now and then, over all its runs; each was held against its signature as such.

    What must fail has to in one run at least; what it keeps from being reached, or judged, may be so.
    """
    telling = max(takes, key=lambda take: len(take.caught_by))
    never = [
        Difference(Kind.MISSING, e.check, f"{e.check} came to a {e.verdict} as stated in none of {len(takes)} runs")
        for e in telling.expected
        if e.verdict is Verdict.FAIL and not any(_met(e, take) for take in takes)
    ]
    return replace(
        telling,
        verdict=verdict_of(take.verdict for take in takes if take.verdict is not None),
        differences=(*dict.fromkeys(difference for take in takes for difference in take.differences), *never),
        trouble=next((take.trouble for take in takes if take.trouble), ""),
        runs=sum(take.runs for take in takes),
        takes=tuple(takes),
    )


def _met(expected: ExpectedVerdict, take: Challenged) -> bool:
    about = (seen for seen in take.seen if expected in expectations_of(seen.check, take.expected))
    return any(came_as_stated(expected, seen) for seen in about)


@dataclass(frozen=True, slots=True)
class Sums:
    """The sums over a series. Rates are over what was decided; `undecided` and `no_run` count the rest."""

    bad: int
    golden: int
    outcomes: dict[Outcome, int]
    missed: Rate
    false_alarms: Rate
    unprovoked: Rate
    exact: int

    @property
    def caught(self) -> int:
        """Known-bad units that failed, by whatever check."""
        return sum(self.outcomes[outcome] for outcome in CAUGHT)


def sums_of(units: Sequence[Challenged]) -> Sums:
    """Sum a series up."""
    outcomes = {outcome: sum(unit.outcome is outcome for unit in units) for outcome in Outcome}
    whole = [unit for unit in units if unit.outcome is not Outcome.NO_RUN]
    judged = [seen for unit in whole for seen in unit.unprovoked]
    missed, alarms = outcomes[Outcome.MISSED], outcomes[Outcome.FALSE_ALARM]
    return Sums(
        bad=sum(not unit.golden for unit in units),
        golden=sum(unit.golden for unit in units),
        outcomes=outcomes,
        missed=Rate(missed, missed + sum(outcomes[outcome] for outcome in CAUGHT)),
        false_alarms=Rate(alarms, alarms + outcomes[Outcome.PASSED]),
        unprovoked=Rate(sum(seen.verdict is Verdict.FAIL for seen in judged), len(judged)),
        exact=sum(unit.exact for unit in units),
    )


def never_caught(units: Sequence[Challenged], checks: Iterable[str]) -> tuple[str, ...]:
    """The checks that failed as they should on no known-bad unit; one with parameters is one check.

    What is not promised for the product, and so was never judged, is none of them.
    """
    caught = {_function(seen.check) for unit in units for seen in unit.caught_by if not unit.golden}
    seen = [seen for unit in units for seen in unit.seen]
    judged = {_function(one.check) for one in seen if one.verdict not in (Verdict.NOT_APPLICABLE, Verdict.NOT_REACHED)}
    elsewhere = {_function(one.check) for one in seen} - judged
    return tuple(name for name in dict.fromkeys(map(_function, checks)) if name not in caught | elsewhere)


def _function(check: str) -> str:
    return check.partition("[")[0]
