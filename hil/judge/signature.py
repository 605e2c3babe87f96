"""The signature of a unit: which checks of its run ended other than in a pass, and how. Compared exactly.

A unit whose right verdict is known challenges the bench: one that fails for another reason than its own, or that fails one
check more than it should, shows that the bench or a check is wrong.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from hil.core.moments import Json, Moment
from hil.core.verdicts import Verdict

Direction = Literal["above", "below"]
EVERY = "*"
ASLEEP = " asleep "  # as `hil.evidence.seen.asleep_text` puts it
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
class SeenVerdict:
    """What a check came to; `directions` are the sides on which its failing readings lie beyond their limits."""

    check: str
    verdict: Verdict
    reason: str = ""
    directions: frozenset[Direction] = field(default_factory=frozenset)


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing in which a run is not as expected; `slept`: because a witness slept, so another run may tell."""

    text: str
    slept: bool = False


def seen_verdicts(moments: Iterable[Moment]) -> tuple[SeenVerdict, ...]:
    """The verdicts that a run booked on its timeline, in order."""
    return tuple(
        SeenVerdict(m.text("check"), Verdict(m.kind), m.text("reason"), _directions(m.data.get("readings")))
        for m in moments
        if m.source == "verdict"
    )


def _directions(readings: Json) -> frozenset[Direction]:
    found: set[Direction] = set()
    for reading in readings if isinstance(readings, list) else []:
        if not isinstance(reading, dict) or reading.get("verdict") != str(Verdict.FAIL):
            continue
        low, upper = reading.get("low"), reading.get("upper")
        above = isinstance(low, int | float) and isinstance(upper, int | float) and low > upper
        found.add("above" if above else "below")
    return frozenset(found)


def differences(expected: Sequence[ExpectedVerdict], seen: Sequence[SeenVerdict]) -> tuple[Difference, ...]:
    """In what a run differs from the signature; nothing where it is exactly that.

    A check that no expectation is about must have passed (or not apply).
    """
    named = {e.check for e in expected}
    told: list[Difference] = []
    met: set[str] = set()
    for verdict in seen:
        fit = [
            e for e in expected if e.means(verdict.check) and (e.check == verdict.check or verdict.check not in named)
        ]
        met.update(e.check for e in fit)
        texts = [_difference(e, verdict) for e in fit] if fit else [_extra(verdict)]
        slept = verdict.verdict is Verdict.UNJUDGED and ASLEEP in verdict.reason
        told += [Difference(text, slept) for text in texts if text]
    missing = [e.check for e in expected if e.check not in met]
    return (*told, *(Difference(f"missing: the run has no check {check}") for check in missing))


def _extra(seen: SeenVerdict) -> str:
    return "" if seen.verdict in GOOD else f"extra: {seen.check} {seen.verdict}: {seen.reason}"


def _difference(expected: ExpectedVerdict, seen: SeenVerdict) -> str:
    if seen.verdict is not expected.verdict:
        kind = "missing" if seen.verdict in GOOD else "other verdict"
        reason = f": {seen.reason}" if seen.reason else ""
        return f"{kind}: {seen.check} {seen.verdict}, expected {expected.verdict}{reason}"
    if expected.reading is not None and seen.directions != {expected.reading}:
        where = " and ".join(sorted(seen.directions)) or "on no side of"
        return f"other direction: {seen.check} {where} its limit, expected {expected.reading}: {seen.reason}"
    if expected.says not in seen.reason:
        return f"other reason: {seen.check} does not say {expected.says!r}: {seen.reason}"
    return ""
