"""What a check calls to judge: each call leaves a finding, and the item's outcome follows from all of them.

A check never raises a verdict itself and never stops at the first bad finding: all of them reach the sheet.
"""

from collections.abc import Sequence

from hil.core.product import Bound
from hil.core.readings import Reading
from hil.core.verdicts import Finding, Verdict
from hil.evidence.seen import Seen
from hil.judge.rules import judge_reading

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
            self.findings.append(Finding(Verdict.NOT_APPLICABLE, what, "not promised by the product file"))
        elif isinstance(reading, Seen):
            self.holds(reading, what)
        else:
            self.findings.append(judge_reading(reading, promise.limits, what))

    def holds(self, seen: Seen, promised: str) -> None:
        """Judge something that holds, does not, or could not be seen."""
        if not seen.promised:
            self.not_promised(promised)
            return
        self.findings.append(Finding(VERDICT_OF[seen.holds], promised, seen.text, at_s=seen.at_s))

    def not_promised(self, what: str) -> None:
        """Say that the product does not promise this."""
        self.findings.append(Finding(Verdict.NOT_APPLICABLE, what, "not promised by the product file"))


def verdict_of_findings(findings: Sequence[Finding]) -> Verdict:
    """The worst of the findings; not applicable counts only where nothing else was judged."""
    verdicts = {finding.verdict for finding in findings}
    return next(verdict for verdict in WORST_FIRST if verdict in verdicts)


def settled(takes: Sequence[Sequence[Finding]]) -> list[Finding]:
    """The findings of all takes that make the verdict.

    Every take counts. A reading whose doubt straddled its limit is set aside only where a later take decided the same
    promise; still straddling in the last take, it stays, and the check is unjudged.
    """
    return [
        finding
        for number, take in enumerate(takes)
        for finding in take
        if not (finding.straddles and any(_decides(later, finding) for later in takes[number + 1 :]))
    ]


def _decides(later_take: Sequence[Finding], earlier: Finding) -> bool:
    same = [finding for finding in later_take if finding.promised == earlier.promised]
    return bool(same) and all(finding.verdict in (Verdict.PASS, Verdict.FAIL) for finding in same)
