"""What a check calls to judge: each call leaves a finding, and the item's outcome follows from all of them.

A check never raises a verdict itself and never stops at the first bad finding: all of them reach the sheet.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import inf

from hil.core.awake import Asleep
from hil.core.product import Bound
from hil.core.promise_use import limits_of
from hil.core.readings import Reading
from hil.core.verdicts import Finding, Limits, Verdict
from hil.evidence.seen import Seen, worth_another_take
from hil.judge.rules import judge_reading
from hil.judge.statistics import rate_statement

NEAR_S = 2.0  # unit seconds: what was held up shows so soon
VERDICT_OF = {True: Verdict.PASS, False: Verdict.FAIL, None: Verdict.UNJUDGED}
WORST_FIRST = (Verdict.FAIL, Verdict.UNJUDGED, Verdict.NOT_REACHED, Verdict.PASS, Verdict.NOT_APPLICABLE)


class Judge:
    """Collects the findings of one check."""

    def __init__(self) -> None:
        """Begin with none."""
        self.findings: list[Finding] = []

    def within(self, promise: Bound | None, reading: Reading | Seen, what: str) -> None:
        """Judge a reading against a promise of the product file; one that is not promised is not applicable.

        A `Seen` instead of a reading says why there is none.
        """
        if promise is None:
            self.not_promised(what)
        elif isinstance(reading, Seen):
            self.holds(reading, what)
        else:
            limits, key = limits_of(promise)
            self.findings.append(replace(judge_reading(reading, limits, what), limit=key))

    def holds(self, seen: Seen, promised: str) -> None:
        """Judge something that holds, does not, or could not be seen."""
        if not seen.promised:
            self.not_promised(promised)
            return
        self.findings.append(_finding(seen, promised))

    def all_hold(self, seen: Mapping[str, Seen], promised: str, told: str = "") -> None:
        """Judge many of a kind: each that fails by its own name, then all of them in one finding that counts them.

        Args:
            seen: What was seen of each, by its name.
            promised: What is promised of all of them.
            told: What more there is to say of all of them.
        """
        self.judge_all(
            [_finding(one, f"{name}: {promised}") for name, one in seen.items()],
            promised,
            told,
        )

    def all_within(
        self, promise: Bound | None, readings: Mapping[str, Reading | Seen], what: str, told: str = ""
    ) -> None:
        """The same of readings against one promise; the finding for all of them bears the longest."""
        if promise is None:
            self.not_promised(what)
            return
        each = Judge()
        for name, reading in readings.items():
            each.within(promise, reading, f"{name}: {what}")
        self.judge_all(each.findings, what, told)

    def alike(self, ratio: Reading | None, most: float, untimed: Seen | None, told: str) -> None:
        """Judge how many times a set's median its 95th percentile is.

        Args:
            ratio: That, where there is any.
            most: How many times it may be.
            untimed: Of one that has no time at all, why.
            told: What more there is to say of the set.
        """
        what = "95th percentile of the times over their median"
        if untimed is not None or ratio is None:
            self.holds(untimed or Seen(None, "nothing was timed"), what)
            return
        finding = judge_reading(ratio, Limits(None, most, "times"), what)
        self.findings.append(replace(finding, seen=f"{finding.seen}; {told}"))

    def judge_all(self, each: Sequence[Finding], promised: str, told: str) -> None:
        """Failures one by one, and a finding for all; where one is undecided and none failed, it says why."""
        failed = [finding for finding in each if finding.verdict is Verdict.FAIL]
        undecided = [finding for finding in each if finding.verdict is Verdict.UNJUDGED]
        judged = len(each) - len(undecided)
        parts = [rate_statement(len(failed), judged), told]
        if undecided:
            parts.append(f"{len(undecided)} undecided, the first: {undecided[0].promised}: {undecided[0].seen}")
        seen = "; ".join(part for part in parts if part)
        longest = max((f for f in each if f.reading is not None), key=_upper_end, default=None)
        verdict = Verdict.FAIL if failed else Verdict.UNJUDGED if undecided or not each else Verdict.PASS
        retakable = verdict is Verdict.UNJUDGED and bool(undecided) and all(one.retakable for one in undecided)
        tally = len(failed), judged
        summary = Finding(verdict, promised, seen, retakable=retakable, tally=tally, each=tuple(each))
        if longest is not None and verdict is Verdict.PASS:
            summary = replace(summary, reading=longest.reading, limits=longest.limits, at_s=longest.at_s)
        self.findings += [*failed, summary]

    def not_promised(self, what: str) -> None:
        """Say that the product does not promise this."""
        self.findings.append(not_promised(what))


def _finding(seen: Seen, promised: str) -> Finding:
    verdict, retakable = VERDICT_OF[seen.holds], seen.holds is None and worth_another_take(seen.text)
    return Finding(verdict, promised, seen.text, at_s=seen.at_s, retakable=retakable, accepted=seen.accepted)


def excused(findings: Sequence[Finding], held_up: Sequence[Asleep]) -> list[Finding]:
    """Findings of a leg in which the bench's own machine held the bench up: a failure that this may have made is undecided.

    A reading that was held up for as long as it lies beyond its limit, or anything else that was seen near such a stretch. Of a
    set, single failures are left to the finding for all of its kind.
    """
    of_sets = {id(part) for finding in findings for part in finding.each if _is_excused(part, held_up)}
    return [_excused(finding, held_up) for finding in findings if id(finding) not in of_sets]


def _is_excused(finding: Finding, held_up: Sequence[Asleep]) -> bool:
    if finding.verdict is not Verdict.FAIL or not held_up:
        return False
    if finding.each:
        return all(_is_excused(part, held_up) for part in finding.each if part.verdict is Verdict.FAIL)
    if finding.reading is not None and finding.limits is not None:
        return beyond_by(finding.reading, finding.limits) <= held_up_for_s(held_up)
    at_s = finding.at_s
    return at_s is not None and any(stretch.meets(at_s - NEAR_S, at_s + NEAR_S) for stretch in held_up)


def held_up_for_s(held_up: Sequence[Asleep]) -> float:
    """For how long the bench was held up, in all."""
    return sum(stretch.end_s - stretch.begin_s for stretch in held_up)


def beyond_by(reading: Reading, limits: Limits) -> float:
    """How far a whole reading lies beyond its limits, in its unit; below zero where it does not."""
    over = -inf if limits.upper is None else reading.low - limits.upper
    under = -inf if limits.lower is None else limits.lower - reading.high
    return max(over, under)


def _excused(finding: Finding, held_up: Sequence[Asleep]) -> Finding:
    if not _is_excused(finding, held_up):
        return finding
    first = held_up[0]
    seen = f"{finding.seen}; but the bench's own machine held it up, first from {first.begin_s:.1f} s to {first.end_s:.1f} s"
    each = tuple(_excused(part, held_up) for part in finding.each)
    return replace(finding, verdict=Verdict.UNJUDGED, seen=seen, each=each, retakable=True)


def not_promised(what: str) -> Finding:
    """The finding of what the product file does not promise."""
    return Finding(Verdict.NOT_APPLICABLE, what, "not promised by the product file")


def _upper_end(finding: Finding) -> float:
    return finding.reading.high if finding.reading is not None else -inf


def verdict_of_findings(findings: Sequence[Finding]) -> Verdict:
    """The worst of the findings; not applicable counts only where nothing else was judged."""
    verdicts = {finding.verdict for finding in findings}
    return next(verdict for verdict in WORST_FIRST if verdict in verdicts)


def reason_of(findings: Sequence[Finding], verdict: Verdict) -> str:
    """What was promised and seen, of the findings that make the verdict."""
    return "; ".join(_sentence(f) for f in findings if f.verdict is verdict)


def _sentence(finding: Finding) -> str:
    limits = f" ({finding.limits})" if finding.limits else ""
    return f"{finding.promised}{limits}: {finding.seen}"


def settled(takes: Sequence[Sequence[Finding]]) -> list[Finding]:
    """The findings of all takes that make the verdict.

    Every take counts. What a witness slept over, or a reading whose doubt straddled its limit, is set aside only where a
    later take decided the same promise; undecided in the last take too, it stays, and the check is unjudged.
    """
    return [
        finding
        for number, take in enumerate(takes)
        for finding in take
        if not (finding.retakable and any(_decides(later, finding) for later in takes[number + 1 :]))
    ]


def _decides(later_take: Sequence[Finding], earlier: Finding) -> bool:
    same = [finding for finding in later_take if finding.promised == earlier.promised]
    return bool(same) and all(finding.verdict in (Verdict.PASS, Verdict.FAIL) for finding in same)
