"""The first difference between two drives of a leg: the first step that is missing, extra, out of time or answered otherwise.

Steps are paired by their words. The time of a step counts from the step before it in the passed drive, so that a delay is told
once, where it came about, and not of all that follows.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf

from hil.evidence.course import Step

Which = tuple[str, tuple[int, int]]
TOLERANCE_S = 1.0  # beyond both doubts; good units and a busy bench differ by less (seen on good runs, no source)
TOLERANCE_SHARE = 0.05  # of the time between two steps


@dataclass(frozen=True, slots=True)
class Difference:
    """The first difference, in words; `at_s` is seconds since the leg began."""

    at_s: float
    text: str


def first_difference(driven: Sequence[Step], passed: Sequence[Step]) -> Difference | None:
    """Compare a drive with one of a run that passed; None where every step came as it did there.

    Args:
        driven: The steps of the drive in question, in order of time.
        passed: Those of the drive that passed.
    """
    differing = _in_passed({_which(step): step for step in driven}, passed)
    known = {_which(step) for step in passed}
    extra = next((step for step in driven if step.sure and _which(step) not in known), None)
    if extra is not None and extra.time_s < (differing.at_s if differing else inf):
        before = [step for step in driven if step.time_s < extra.time_s]
        return Difference(extra.time_s, f"{_said(extra)}, {_after(extra, before)}; none in the passed run")
    return differing


def _which(step: Step) -> Which:
    return step.words, step.turn


def _in_passed(driven: Mapping[Which, Step], passed: Sequence[Step]) -> Difference | None:
    """The first step of the passed drive that is not in the other as it was there."""
    before: list[tuple[Step, Step]] = []
    for expected in passed:
        step = driven.get(_which(expected))
        if not expected.sure or (step is not None and not step.sure):
            continue
        was = before[-1] if before else (Step("", 0.0), Step("", 0.0))
        due_s = was[0].time_s + expected.time_s - was[1].time_s
        then = _after(expected, [pair[1] for pair in before])
        if step is None:
            return Difference(due_s, f"no {expected.words}; in the passed run {then}")
        room_s = TOLERANCE_S + TOLERANCE_SHARE * abs(expected.time_s - was[1].time_s)
        doubts_s = step.doubt_s + expected.doubt_s + was[0].doubt_s + was[1].doubt_s
        if abs(step.time_s - due_s) > room_s + doubts_s:
            now = _after(step, [pair[0] for pair in before])
            how = "late" if step.time_s > due_s else "early"
            return Difference(min(step.time_s, due_s), f"{step.words} {how}, {now}; in the passed run {then}")
        if step.outcome != expected.outcome and step.outcome and expected.outcome:
            return Difference(step.time_s, f"{_said(step)}; in the passed run {expected.outcome}")
        before.append((step, expected))
    return None


def _said(step: Step) -> str:
    return f"{step.words} {step.outcome}".rstrip()


def _after(step: Step, before: Sequence[Step]) -> str:
    """When a step was, counted from the last before it that an instrument saw for itself."""
    seen = [other for other in before if not other.claim]
    if not seen:
        return f"{step.time_s:.1f} s after the leg began"
    gap_s = step.time_s - seen[-1].time_s
    return f"{abs(gap_s):.1f} s {'after' if gap_s >= 0.0 else 'before'} the {seen[-1].words}"
