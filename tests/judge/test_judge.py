"""What a check calls to judge. Held against the verdict words of the design page."""

from itertools import chain, combinations

import pytest

from hil.core.product import Bound
from hil.core.readings import Reading
from hil.core.verdicts import Finding, Verdict
from hil.evidence.seen import Seen
from hil.judge.judge import Judge, settled, verdict_of_findings
from hil.judge.rules import judge_reading

UPTO_30 = Bound(upper=30.0)


def findings_of(judge: Judge) -> list[tuple[Verdict, str, str]]:
    return [(finding.verdict, finding.promised, finding.seen) for finding in judge.findings]


def test_within_judges_a_reading() -> None:
    judge = Judge()
    judge.within(UPTO_30, Reading.of(27.4, 0.15, "s"), "power on → first beacon")
    judge.within(UPTO_30, Reading.of(31.0, 0.15, "s"), "power on → first beacon")
    assert [verdict for verdict, *_ in findings_of(judge)] == [Verdict.PASS, Verdict.FAIL]


def test_what_is_not_promised_is_not_applicable_whatever_was_read() -> None:
    judge = Judge()
    judge.within(None, Reading.of(1e9, 0.0, "s"), "a time")
    judge.not_promised("a page")
    assert [(verdict, promised) for verdict, promised, _ in findings_of(judge)] == [
        (Verdict.NOT_APPLICABLE, "a time"),
        (Verdict.NOT_APPLICABLE, "a page"),
    ]


@pytest.mark.parametrize(("holds", "verdict"), [(True, Verdict.PASS), (False, Verdict.FAIL), (None, Verdict.UNJUDGED)])
def test_holds_judges_what_was_seen(holds: bool | None, verdict: Verdict) -> None:
    judge = Judge()
    judge.holds(Seen(holds, "as seen", 12.5), "as promised")
    assert findings_of(judge) == [(verdict, "as promised", "as seen")]
    assert judge.findings[0].at_s == 12.5


@pytest.mark.parametrize(
    ("seen", "verdict"),
    [
        (Seen(False, "the leg got no further: the probe could not join"), Verdict.FAIL),
        (Seen.untold("pages: no request for the form was recorded"), Verdict.UNJUDGED),
    ],
)
def test_a_reading_that_could_not_be_had_is_judged_by_its_reason(seen: Seen, verdict: Verdict) -> None:
    judge = Judge()
    judge.within(UPTO_30, seen, "asked → first octet")
    assert findings_of(judge) == [(verdict, "asked → first octet", seen.text)]


def test_a_reading_that_could_not_be_had_is_not_applicable_where_nothing_is_promised() -> None:
    judge = Judge()
    judge.within(None, Seen(False, "the leg got no further"), "asked → first octet")
    assert judge.findings[0].verdict is Verdict.NOT_APPLICABLE


def test_what_the_product_does_not_promise_is_no_pass() -> None:
    judge = Judge()
    judge.holds(Seen.not_promised(), "address on the status page")
    assert judge.findings[0].verdict is Verdict.NOT_APPLICABLE


def test_a_bad_finding_does_not_stop_the_next() -> None:
    judge = Judge()
    judge.holds(Seen(False, "no"), "first")
    judge.holds(Seen(True, "yes"), "second")
    assert [promised for _, promised, _ in findings_of(judge)] == ["first", "second"]


ALL_SETS = list(chain.from_iterable(combinations(Verdict, size) for size in range(1, len(Verdict) + 1)))


@pytest.mark.parametrize("present", ALL_SETS, ids=", ".join)
def test_the_worst_finding_makes_the_check(present: tuple[Verdict, ...]) -> None:
    findings = [Finding(verdict, "p", "s") for verdict in present]
    order = ["fail", "unjudged", "not reached", "pass", "not applicable"]
    expected = min((str(verdict) for verdict in present), key=order.index)
    assert verdict_of_findings(findings) == expected
    assert verdict_of_findings(findings[::-1]) == expected


def straddling(promised: str) -> Finding:
    return judge_reading(Reading.of(30.05, 0.15, "s"), UPTO_30.limits, promised)


def passing(promised: str) -> Finding:
    return judge_reading(Reading.of(27.0, 0.15, "s"), UPTO_30.limits, promised)


def failing(promised: str) -> Finding:
    return judge_reading(Reading.of(31.0, 0.15, "s"), UPTO_30.limits, promised)


@pytest.mark.parametrize(
    ("takes", "verdict"),
    [
        ([[straddling("a")]], "unjudged"),
        ([[straddling("a")], [passing("a")]], "pass"),
        ([[straddling("a")], [failing("a")]], "fail"),
        ([[straddling("a")], [straddling("a")]], "unjudged"),
        ([[passing("a")], [straddling("a")]], "unjudged"),
        ([[passing("a")], [failing("a")]], "fail"),
        ([[failing("a")], [passing("a")]], "fail"),
        # Another promise that passes in the last take settles nothing of the one that straddles.
        ([[straddling("a"), passing("b")], [straddling("a"), passing("b")]], "unjudged"),
        ([[straddling("a"), passing("b")], [passing("a"), passing("b")]], "pass"),
        # Two readings of one promise in one take: the second settles nothing of the first.
        ([[straddling("a"), passing("a")]], "unjudged"),
        ([[straddling("a")], [passing("a"), straddling("a")]], "unjudged"),
        # A witness asleep is not a doubt that straddles: no later take takes it back.
        ([[Finding(Verdict.UNJUDGED, "a", "camera asleep")], [passing("a")]], "unjudged"),
    ],
)
def test_takes_are_reconciled_promise_by_promise(takes: list[list[Finding]], verdict: str) -> None:
    assert verdict_of_findings(settled(takes)) == verdict
