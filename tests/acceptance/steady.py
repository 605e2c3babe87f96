"""What checks of something that must not come have in common: what a leg left out for want of an instrument is untold."""

from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge


def judge_steady(evidence: LegEvidence, judge: Judge) -> None:
    """Judge that the unit neither crashed nor started unasked, over all that the leg was to do."""
    judge.holds(evidence.console.no_crash(), "no crash text")
    judge.holds(evidence.resets.none_unasked(), "no start nobody asked for")
    _judge_length(evidence, judge)


def judge_no_leak(evidence: LegEvidence, judge: Judge) -> None:
    """Judge that no secret is in a page, on the console or in the air, over all that the leg was to do."""
    for where, seen in evidence.leaks().items():
        judge.holds(seen, f"no secret in {where}")
    _judge_length(evidence, judge)


def _judge_length(evidence: LegEvidence, judge: Judge) -> None:
    left = evidence.cut_short
    if left is not None:
        judge.holds(left, "all that the leg was to do")
