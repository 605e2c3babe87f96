"""Judging again under other limits, from the readings kept of a judging: the same decision rule, no evidence.

What rests on another promise that changed, or on a limit that is read otherwise than by the rule, is left undecided with
the reason: it takes the evidence to say.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from hil.core.product import Bound, Product
from hil.core.verdicts import Finding, Limits, Verdict, verdict_of
from hil.judge.judge import Judge, beyond_by, reason_of, settled, verdict_of_findings
from hil.judge.kept import KeptCheck, KeptRun, changed_keys, promises_of
from hil.judge.results import Basis
from hil.judge.rules import judge_reading


@dataclass(frozen=True, slots=True)
class CheckAgain:
    """A check under the new limits; no verdict where it takes the evidence to say. `why` is the reason either way."""

    name: str
    before: Verdict
    after: Verdict | None
    why: str = ""

    @property
    def changed(self) -> bool:
        """Whether it has another verdict than before."""
        return self.after is not None and self.after is not self.before


@dataclass(frozen=True, slots=True)
class RunAgain:
    """A run under the new limits; no verdict where that hangs on checks that are undecided."""

    run: str
    before: Verdict
    after: Verdict | None
    checks: tuple[CheckAgain, ...]
    partial: bool = False

    @property
    def changed(self) -> tuple[CheckAgain, ...]:
        """The checks with another verdict."""
        return tuple(check for check in self.checks if check.changed)

    @property
    def undecided(self) -> tuple[CheckAgain, ...]:
        """Those without one."""
        return tuple(check for check in self.checks if check.after is None)


class NewPromises:
    """A product file to judge kept readings by."""

    def __init__(self, product: Product) -> None:
        """Take it."""
        self._product = product

    @cached_property
    def _promises(self) -> dict[str, object]:
        return promises_of(self._product)

    def judge(self, kept: KeptRun) -> RunAgain:
        """Judge a run again."""
        changed = changed_keys(kept.product, self._promises)
        behind = _touched(kept.promises, changed)
        tables = {key.rpartition(".")[0] for key in changed}
        limits = {table: found for table in tables if (found := self._limits_at(table)) is not None}
        checks = tuple(self._check(check, changed, behind, limits) for check in kept.checks)
        return RunAgain(kept.run, kept.verdict, _verdict(checks, broken=kept.broken), checks, kept.partial)

    def _check(self, check: KeptCheck, changed: Sequence[str], behind: str, limits: Mapping[str, Limits]) -> CheckAgain:
        own = _touched(check.promises, changed)
        if own or behind:
            told = f"the check reads {own} itself" if own else f"views of its run read {behind}"
            return CheckAgain(check.name, check.verdict, None, f"{told}, which changed")
        if limits.keys().isdisjoint(_limits_of(check)):
            return CheckAgain(check.name, check.verdict, check.verdict)
        return _decided(check, limits)

    def _limits_at(self, key: str) -> Limits | None:
        """The limits at a key, where a table of limits is there."""
        value: object = self._product
        for name in key.split(".") if key else ():
            value = getattr(value, name, None)
        return value.limits if isinstance(value, Bound) else None


def _limits_of(check: KeptCheck) -> set[str]:
    return {part.limit for take in check.takes for finding in take for part in (finding, *finding.each)}


def _decided(check: KeptCheck, limits: Mapping[str, Limits]) -> CheckAgain:
    basis = check.basis
    takes = [
        [new for finding in take for new in _again(finding, limits, held_up_s)]
        for take, held_up_s in zip(basis.takes, basis.held_up_s, strict=True)
    ]
    verdict, why = _verdict_of(basis, takes)
    if verdict is Verdict.PASS and basis.unread:
        unread = ", ".join(basis.unread)
        return CheckAgain(check.name, check.verdict, None, f"{unread} was not read, without which it may not pass")
    return CheckAgain(check.name, check.verdict, verdict, why)


def _verdict_of(basis: Basis, takes: Sequence[Sequence[Finding]]) -> tuple[Verdict, str]:
    """As the run loop settles a check: evidence that is lacking leaves no pass, but a failed take stays failed."""
    failed = any(finding.verdict is Verdict.FAIL for take in takes for finding in take)
    if basis.ended is not None and not failed:
        return basis.ended, ""
    findings = settled(takes)
    verdict = verdict_of_findings(findings)
    return verdict, reason_of(findings, verdict)


def _again(finding: Finding, limits: Mapping[str, Limits], held_up_s: float) -> list[Finding]:
    """A finding under the new limits; of a set each that fails, and the one for all. What the bench was held up by excuses it."""
    if finding.each:
        judge = Judge()
        parts = [new for part in finding.each for new in _again(part, limits, held_up_s)]
        judge.judge_all(parts, finding.promised, "")
        return judge.findings
    if finding.reading is None or finding.limit not in limits:
        return [finding]
    new = replace(judge_reading(finding.reading, limits[finding.limit], finding.promised), limit=finding.limit)
    if new.verdict is Verdict.FAIL and beyond_by(finding.reading, limits[finding.limit]) <= held_up_s:
        return [replace(new, verdict=Verdict.UNJUDGED, retakable=True)]
    return [new]


def _touched(read: Sequence[str], changed: Sequence[str]) -> str:
    """A key that was read and has changed; empty where there is none."""
    return next((key for key in changed for note in read if _depends(note, key)), "")


def _depends(note: str, changed: str) -> bool:
    """Whether something that read a key (`key?`: saw that it is there) may come out otherwise with another one changed."""
    if note.endswith("?"):
        return changed == note[:-1] or note.startswith(f"{changed}.")
    return not note or changed == note or changed.startswith(f"{note}.") or note.startswith(f"{changed}.")


def _verdict(checks: Sequence[CheckAgain], *, broken: bool) -> Verdict | None:
    decided = [check.after for check in checks if check.after is not None]
    verdict = verdict_of(decided)
    if verdict is not Verdict.FAIL and len(decided) < len(checks):
        return None
    return Verdict.UNJUDGED if broken and verdict is Verdict.PASS else verdict
