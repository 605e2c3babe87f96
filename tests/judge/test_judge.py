"""What a check calls to judge. Held against the verdict words of the design page."""

from itertools import chain, combinations

import pytest

from hil.core.awake import Asleep
from hil.core.product import Bound
from hil.core.readings import Reading
from hil.core.verdicts import Finding, Verdict
from hil.evidence.seen import Seen
from hil.judge.judge import Judge, excused, settled, verdict_of_findings
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


def slept(when: str) -> Finding:
    judge = Judge()
    judge.holds(Seen(None, f"camera asleep {when}"), "a")
    return judge.findings[0]


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
        # A witness that slept for a while and woke: a later take in which it was awake decides.
        ([[slept("from 1.0 s to 2.5 s")], [passing("a")]], "pass"),
        ([[slept("from 1.0 s to 2.5 s")], [failing("a")]], "fail"),
        ([[slept("from 1.0 s to 2.5 s")], [slept("from 9.0 s to 9.9 s")]], "unjudged"),
        ([[slept("from 1.0 s to 2.5 s"), failing("b")], [passing("a"), passing("b")]], "fail"),
        # One that never woke, or was not there: nobody comes back to tell.
        ([[slept("from 1.0 s on")], [passing("a")]], "unjudged"),
        ([[Finding(Verdict.UNJUDGED, "a", "probe gone")], [passing("a")]], "unjudged"),
    ],
)
def test_takes_are_reconciled_promise_by_promise(takes: list[list[Finding]], verdict: str) -> None:
    assert verdict_of_findings(settled(takes)) == verdict


def many(*holds: bool | None) -> dict[str, Seen]:
    return {f"cut {number}": Seen(value, f"as seen {number}", float(number)) for number, value in enumerate(holds, 1)}


def test_many_of_a_kind_make_one_finding_that_counts_them() -> None:
    judge = Judge()
    judge.all_hold(many(*[True] * 30), "old or new", "30 cuts")
    (finding,) = judge.findings
    assert (finding.verdict, finding.promised, finding.tally) == (Verdict.PASS, "old or new", (0, 30))
    assert finding.seen == "0 of 30 failed: true rate below 9.6 % (95 %, Clopper–Pearson); 30 cuts"


def test_each_failure_of_many_is_named_with_its_moment() -> None:
    judge = Judge()
    judge.all_hold(many(True, False, None, False), "old or new")
    assert [(f.verdict, f.promised, f.at_s) for f in judge.findings[:-1]] == [
        (Verdict.FAIL, "cut 2: old or new", 2.0),
        (Verdict.FAIL, "cut 4: old or new", 4.0),
    ]
    assert (judge.findings[-1].verdict, judge.findings[-1].tally) == (Verdict.FAIL, (2, 3))


def test_one_undecided_of_many_leaves_all_undecided_and_says_why() -> None:
    judge = Judge()
    judge.all_hold(many(True, None, True), "old or new")
    (finding,) = judge.findings
    assert (finding.verdict, finding.tally) == (Verdict.UNJUDGED, (0, 2))
    assert "1 undecided, the first: cut 2: old or new: as seen 2" in finding.seen


def test_none_of_a_kind_is_no_pass() -> None:
    judge = Judge()
    judge.all_hold({}, "old or new")
    assert [f.verdict for f in judge.findings] == [Verdict.UNJUDGED]


def test_many_readings_bear_the_longest() -> None:
    judge = Judge()
    readings = {f"start {n}": Reading.of(value, 0.15, "s") for n, value in enumerate((27.4, 28.1, 26.0), 1)}
    judge.all_within(UPTO_30, readings, "start → address", "median 27.40 s")
    (finding,) = judge.findings
    assert (finding.verdict, finding.reading, finding.limits) == (Verdict.PASS, readings["start 2"], UPTO_30.limits)
    assert finding.seen.endswith("; median 27.40 s")


def test_a_reading_of_many_beyond_its_limit_fails_by_name() -> None:
    judge = Judge()
    readings = {"start 1": Reading.of(27.4, 0.15, "s"), "start 2": Reading(45.0, float("inf"), "s")}
    judge.all_within(UPTO_30, {**readings, "start 3": Seen(False, "did not restart")}, "start → address")
    assert [(f.verdict, f.promised) for f in judge.findings] == [
        (Verdict.FAIL, "start 2: start → address"),
        (Verdict.FAIL, "start 3: start → address"),
        (Verdict.FAIL, "start → address"),
    ]
    assert judge.findings[-1].tally == (2, 3)


def test_many_readings_that_are_not_promised_are_not_applicable() -> None:
    judge = Judge()
    judge.all_within(None, {"start 1": Reading.of(27.4, 0.15, "s")}, "start → address")
    assert [f.verdict for f in judge.findings] == [Verdict.NOT_APPLICABLE]


@pytest.mark.parametrize(
    ("ratio", "untimed", "verdict"),
    [
        (Reading.of(1.02, 0.04, "times"), None, Verdict.PASS),
        (Reading.of(2.0, 0.04, "times"), None, Verdict.FAIL),
        (Reading(4.5, float("inf"), "times"), None, Verdict.FAIL),
        (Reading(1.2, float("inf"), "times"), None, Verdict.UNJUDGED),
        (Reading.of(1.02, 0.04, "times"), Seen.untold("console asleep"), Verdict.UNJUDGED),
        (Reading.of(1.02, 0.04, "times"), Seen(False, "did not restart"), Verdict.FAIL),
        (None, None, Verdict.UNJUDGED),
    ],
)
def test_how_alike_many_are(ratio: Reading | None, untimed: Seen | None, verdict: Verdict) -> None:
    judge = Judge()
    judge.alike(ratio, 1.5, untimed, "of 20: median 3.90 s")
    assert [f.verdict for f in judge.findings] == [verdict]


HELD_UP = [Asleep(12.0, 12.5), Asleep(14.0, 14.6)]  # 1.1 s in all


def test_a_reading_is_excused_by_no_more_than_the_bench_was_held_up() -> None:
    judge = Judge()
    for seconds in (31.0, 31.5, 27.4):
        judge.within(UPTO_30, Reading.of(seconds, 0.15, "s"), "power on → first beacon")
    near, far, good = excused(judge.findings, HELD_UP)
    assert (near.verdict, near.retakable) == (Verdict.UNJUDGED, True)
    assert near.seen.endswith("the bench's own machine held it up, first from 12.0 s to 12.5 s")
    assert [far, good] == judge.findings[1:]
    assert excused(judge.findings, []) == judge.findings


@pytest.mark.parametrize(
    ("at_s", "verdict"),
    [(13.0, Verdict.UNJUDGED), (16.5, Verdict.UNJUDGED), (17.0, Verdict.FAIL), (None, Verdict.FAIL)],
)
def test_what_was_seen_is_excused_only_near_it(at_s: float | None, verdict: Verdict) -> None:
    judge = Judge()
    judge.holds(Seen(False, "no page", at_s), "a page comes")
    assert [finding.verdict for finding in excused(judge.findings, HELD_UP)] == [verdict]


def test_a_set_is_excused_only_where_each_of_its_failures_is() -> None:
    judge = Judge()
    judge.all_hold({"1st": Seen(False, "none", 13.0), "2nd": Seen(False, "none", 40.0)}, "a page comes")
    assert verdict_of_findings(excused(judge.findings, HELD_UP)) is Verdict.FAIL
    judge = Judge()
    judge.all_hold({"1st": Seen(False, "none", 13.0), "2nd": Seen(True, "there", 40.0)}, "a page comes")
    assert verdict_of_findings(excused(judge.findings, HELD_UP)) is Verdict.UNJUDGED


@pytest.mark.parametrize(("again", "verdict"), [(True, Verdict.PASS), (False, Verdict.FAIL), (None, Verdict.UNJUDGED)])
def test_the_next_take_decides_it_whatever_it_comes_to(again: bool | None, verdict: Verdict) -> None:
    """Of a set too, whose single failures have names of their own."""
    takes = []
    for holds in (False, again):
        judge = Judge()
        judge.all_hold({"1st": Seen(True, "there", 13.0), "2nd": Seen(holds, "there or not", 13.0)}, "a page comes")
        takes.append(judge.findings)
    assert verdict_of_findings(settled([excused(takes[0], HELD_UP), takes[1]])) is verdict


def test_held_up_twice_it_stays_undecided() -> None:
    judge = Judge()
    judge.holds(Seen(False, "no beacon", 14.1), "the hotspot is on the air")
    takes = [excused(judge.findings, HELD_UP)] * 2
    assert verdict_of_findings(settled(takes)) is Verdict.UNJUDGED
