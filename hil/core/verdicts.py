"""Verdicts of checks and runs, and the findings they rest on."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from hil.core.readings import Reading


class Verdict(StrEnum):
    """What a check, or a run, came to. Prints as its word."""

    PASS = "pass"
    FAIL = "fail"
    UNJUDGED = "unjudged"
    NOT_REACHED = "not reached"
    NOT_APPLICABLE = "not applicable"


EXIT_CODES = {Verdict.PASS: 0, Verdict.FAIL: 1, Verdict.UNJUDGED: 3}
EXIT_WRONG_INPUT = 2
EXIT_BENCH = 3
EXIT_INTERRUPTED = 130


@dataclass(frozen=True, slots=True)
class Limits:
    """What a promise allows, both ends included; None leaves an end open."""

    lower: float | None
    upper: float | None
    unit: str

    def __str__(self) -> str:
        """As a sheet shows them: `≤ 30 s`, `22.5 … 25.5 s`."""
        if self.lower is None:
            return f"≤ {self.upper:g} {self.unit}"
        if self.upper is None:
            return f"≥ {self.lower:g} {self.unit}"
        return f"{self.lower:g} … {self.upper:g} {self.unit}"


@dataclass(frozen=True, slots=True)
class Finding:
    """One judgement inside a check: what was promised and what was seen.

    `at_s` points to the moment on the timeline, where there is one. `retakable` marks what another take of the leg
    may decide: a reading left undecided by its doubt alone, or by a witness that slept for a while. `accepted` is the
    name under which the product file accepts what was found: it passes by that alone. `tally` counts, where it speaks
    of many of a kind, how many failed and how many were judged; `each` are those. `limit` is the key of the product
    file that the limits are from.
    """

    verdict: Verdict
    promised: str
    seen: str
    reading: Reading | None = None
    limits: Limits | None = None
    at_s: float | None = None
    retakable: bool = False
    accepted: str = ""
    tally: tuple[int, int] | None = None
    limit: str = ""
    each: "tuple[Finding, ...]" = ()


def verdict_of(verdicts: Iterable[Verdict]) -> Verdict:
    """The verdict of a run over the verdicts of its wanted checks.

    Any fail: fail. Else any unjudged or not reached, or nothing judged at all: unjudged. Else pass.
    """
    present = set(verdicts)
    if Verdict.FAIL in present:
        return Verdict.FAIL
    if present & {Verdict.UNJUDGED, Verdict.NOT_REACHED} or Verdict.PASS not in present:
        return Verdict.UNJUDGED
    return Verdict.PASS
