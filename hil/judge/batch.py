"""A batch: units judged one after another. The rule for testing again is fixed: a failed unit never is, an unjudged one once."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from hil.core.verdicts import Verdict

MOST_RUNS = 2


@dataclass(frozen=True, slots=True)
class UnitRun:
    """One run of one unit: its folder's name, and the names of the checks that failed."""

    serial_number: str
    verdict: Verdict
    folder: str
    failed: tuple[str, ...] = ()
    began: str = ""


@dataclass(frozen=True, slots=True)
class Sums:
    """What a batch came to: units tried, those that passed at all and in their first run, failed, and are undecided."""

    units: int
    passed: int
    passed_at_first: int
    failed: int
    undecided: int


def runs_of(batch: Sequence[UnitRun], serial_number: str) -> list[UnitRun]:
    """The runs of a unit so far."""
    return [run for run in batch if run.serial_number == serial_number]


def why_not_again(batch: Sequence[UnitRun], serial_number: str) -> str:
    """Why a unit may not be tested now; empty where it may."""
    runs = runs_of(batch, serial_number)
    if not runs:
        return ""
    if runs[-1].verdict is not Verdict.UNJUDGED:
        return f"has been judged in this batch already: {runs[-1].verdict}"
    return f"was left unjudged {MOST_RUNS} times" if len(runs) >= MOST_RUNS else ""


def sums_of(batch: Sequence[UnitRun]) -> Sums:
    """Count units by the verdict of their last run."""
    last = {run.serial_number: run.verdict for run in batch}
    first = {run.serial_number: run.verdict for run in reversed(batch)}
    return Sums(
        units=len(last),
        passed=sum(verdict is Verdict.PASS for verdict in last.values()),
        passed_at_first=sum(verdict is Verdict.PASS for verdict in first.values()),
        failed=sum(verdict is Verdict.FAIL for verdict in last.values()),
        undecided=sum(verdict is Verdict.UNJUDGED for verdict in last.values()),
    )


def failures_by_check(batch: Sequence[UnitRun]) -> list[tuple[str, int]]:
    """In how many units each check failed, the most frequent first."""
    units = {(run.serial_number, check) for run in batch for check in run.failed}
    return sorted(Counter(check for _, check in units).items(), key=lambda pair: (-pair[1], pair[0]))


def batch_verdict(batch: Sequence[UnitRun]) -> Verdict:
    """Fail where a unit failed; else unjudged where one is, or nothing was tried; else pass."""
    sums = sums_of(batch)
    if sums.failed:
        return Verdict.FAIL
    return Verdict.UNJUDGED if sums.undecided or not sums.units else Verdict.PASS
