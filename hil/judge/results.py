"""What judging leaves: one result a check, and the verdict of the run over them."""

from collections.abc import Sequence
from dataclasses import dataclass

from hil.core.verdicts import Finding, Verdict, verdict_of


@dataclass(frozen=True, slots=True)
class Basis:
    """What a check's verdict rests on: enough to judge it again under other limits without its evidence.

    `takes` are the findings of each take judged, `held_up_s` for how long the bench was held up in each. `ended` is what the
    check came to where that is not by its findings alone: evidence was lacking after those takes, or its own function failed.
    `unread`: views it named and, in some take, did not read, with which it may not pass. `promises`: what it read of the product
    file but for the limits its findings name, as `hil.core.promise_use` notes it.
    """

    takes: tuple[tuple[Finding, ...], ...] = ()
    held_up_s: tuple[float, ...] = ()
    ended: Verdict | None = None
    unread: tuple[str, ...] = ()
    promises: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CheckResult:
    """A check's verdict and what it rests on.

    `name` is the item's id; `title` the first line of its docstring; `reason` says why it is not a pass, in a line.
    `takes` counts how often its leg was driven and judged, `failed_takes` numbers those in which it failed, from 1.
    """

    name: str
    title: str
    legs: tuple[str, ...]
    witnesses: tuple[str, ...]
    verdict: Verdict
    findings: tuple[Finding, ...] = ()
    reason: str = ""
    takes: int = 1
    failed_takes: tuple[int, ...] = ()
    basis: Basis = Basis()


def run_verdict(results: Sequence[CheckResult], *, broken: bool = False) -> Verdict:
    """The verdict of a run; a bench that broke leaves no pass."""
    verdict = verdict_of(result.verdict for result in results)
    return Verdict.UNJUDGED if broken and verdict is Verdict.PASS else verdict


def accepted_findings(results: Sequence[CheckResult]) -> list[tuple[CheckResult, Finding]]:
    """The findings that passed by the product file's acceptance alone; of each name and check the first."""
    first: dict[tuple[str, str], tuple[CheckResult, Finding]] = {}
    for result in results:
        for finding in result.findings:
            if finding.accepted:
                first.setdefault((finding.accepted, result.name), (result, finding))
    return list(first.values())


def nearest_to_limits(results: Sequence[CheckResult], count: int = 3) -> list[tuple[CheckResult, Finding, float]]:
    """The readings nearest to their limits, with the room left as a share of the limit, least first.

    Room is the distance of the reading's near end from the limit, divided by the limit; below 0 it is past it.
    """
    rooms: list[tuple[CheckResult, Finding, float]] = []
    for result in results:
        for finding in result.findings:
            if finding.reading is None or finding.limits is None or finding.reading.value is None:
                continue
            ends = []
            if finding.limits.upper:
                ends.append((finding.limits.upper - finding.reading.high) / finding.limits.upper)
            if finding.limits.lower:
                ends.append((finding.reading.low - finding.limits.lower) / finding.limits.lower)
            if ends:
                rooms.append((result, finding, min(ends)))
    return sorted(rooms, key=lambda row: row[2])[:count]
