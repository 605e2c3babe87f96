"""What units of a challenge came to, and the sums over them.

Outcomes follow from the meaning of a signature (common practice, no source). Bounds are held against scipy's exact
binomial interval and the closed form for no event, 1 - 0.05^(1/n) (Hanley and Lippman-Hand, JAMA 249, 1983, 1743).
"""

from dataclasses import replace

import pytest
from scipy.stats import binomtest

from hil.core.verdicts import Verdict
from hil.judge.challenged import Challenged, Outcome, Rate, never_caught, over_runs, sums_of
from hil.judge.signature import ExpectedVerdict, SeenVerdict, differences

A, B, C = "test_a.py::test_a", "test_a.py::test_b[1]", "test_c.py::test_c"
BOTH = (ExpectedVerdict(A, Verdict.FAIL), ExpectedVerdict("test_a.py::test_b*", Verdict.FAIL))
WORDS = {
    "p": Verdict.PASS,
    "f": Verdict.FAIL,
    "u": Verdict.UNJUDGED,
    "n": Verdict.NOT_REACHED,
    "-": Verdict.NOT_APPLICABLE,
}


def unit(came: str, expected: tuple[ExpectedVerdict, ...] = BOTH) -> Challenged:
    """A unit whose checks A, B and C came to that, a letter each."""
    seen = tuple(SeenVerdict(check, WORDS[word], "why") for check, word in zip((A, B, C), came, strict=False))
    verdict = Verdict.FAIL if "f" in came else Verdict.UNJUDGED if set(came) & {"u", "n"} else Verdict.PASS
    return Challenged("x", not expected, verdict, "", expected, seen, differences(expected, seen))


@pytest.mark.parametrize(
    ("came", "outcome", "exact"),
    [
        ("ffp", Outcome.BY_INTENDED, True),
        ("fff", Outcome.BY_INTENDED, False),  # and one that should have passed
        ("ffu", Outcome.BY_INTENDED, False),
        ("fpp", Outcome.IN_PART, False),
        ("fup", Outcome.IN_PART, False),
        ("ppf", Outcome.BY_ANOTHER, False),
        ("ppp", Outcome.MISSED, False),
        ("puu", Outcome.UNDECIDED, False),
        ("ff", Outcome.BY_INTENDED, True),  # the third was not driven
        ("f", Outcome.IN_PART, False),  # the second is missing
    ],
)
def test_what_a_known_bad_unit_came_to(came: str, outcome: Outcome, exact: bool) -> None:
    assert (unit(came).outcome, unit(came).exact) == (outcome, exact)


@pytest.mark.parametrize(
    ("came", "outcome", "exact"),
    [("ppp", Outcome.PASSED, True), ("ppf", Outcome.FALSE_ALARM, False), ("ppu", Outcome.UNDECIDED, False)],
)
def test_what_a_golden_unit_came_to(came: str, outcome: Outcome, exact: bool) -> None:
    golden = unit(came, ())
    assert (golden.outcome, golden.exact, golden.caught_by) == (outcome, exact, ())


def test_a_run_that_is_none_is_no_catch() -> None:
    broken = replace(unit("ffp"), trouble="the bench broke")
    assert (broken.outcome, broken.exact) == (Outcome.NO_RUN, False)
    sums = sums_of([broken])
    assert (sums.caught, sums.missed, sums.unprovoked) == (0, Rate(0, 0), Rate(0, 0))


def test_only_a_failure_that_was_stated_is_a_catch() -> None:
    assert [seen.check for seen in unit("fpf").caught_by] == [A]
    said = (ExpectedVerdict(A, Verdict.FAIL, says="another reason"), ExpectedVerdict(B, Verdict.FAIL))
    assert [seen.check for seen in unit("ffp", said).caught_by] == [B]


def test_another_run_is_worth_while_where_witnesses_slept_only() -> None:
    asleep = SeenVerdict(C, Verdict.UNJUDGED, "order: camera asleep from 60.3 s to 62.7 s")
    seen = (*unit("ff").seen, asleep)
    slept = replace(unit("ff"), seen=seen, differences=differences(BOTH, seen))
    assert slept.slept
    assert not replace(slept, trouble="killed").slept
    assert not unit("ffp").slept
    assert not replace(slept, differences=(*slept.differences, *unit("pfp").differences)).slept


def test_sums() -> None:
    units = [unit("ffp"), unit("fff"), unit("ppp"), unit("ppf"), unit("ppu"), unit("ppp", ()), unit("pfp", ())]
    sums = sums_of(units)
    assert (sums.bad, sums.golden, sums.caught, sums.exact) == (5, 2, 3, 2)
    assert sums.missed == Rate(1, 4)  # the undecided one is counted in no rate
    assert sums.false_alarms == Rate(1, 2)
    assert sums.unprovoked == Rate(3, 10)  # C of the decided bad ones; A, B and C of the golden ones
    assert {outcome: number for outcome, number in sums.outcomes.items() if number} == {
        Outcome.BY_INTENDED: 2,
        Outcome.MISSED: 1,
        Outcome.BY_ANOTHER: 1,
        Outcome.UNDECIDED: 1,
        Outcome.PASSED: 1,
        Outcome.FALSE_ALARM: 1,
    }


def test_checks_that_never_caught() -> None:
    checks = [A, "test_a.py::test_b[1]", "test_a.py::test_b[2]", C]
    assert never_caught([], checks) == (A, "test_a.py::test_b", C)
    assert never_caught([unit("ffp")], checks) == (C,)  # a parameter that caught speaks for its check
    assert never_caught([unit("fpf"), unit("ppf", ())], checks) == (
        "test_a.py::test_b",
        C,
    )  # C failed, as nobody stated
    assert never_caught([unit("ff-"), unit("ffn"), unit("pp-", ())], checks) == ()  # C is not promised
    assert never_caught([unit("ff-"), unit("ppp", ())], checks) == (C,)


@pytest.mark.parametrize(("count", "of"), [(0, 1), (0, 20), (1, 20), (7, 40), (3, 1000)])
def test_bounds(count: int, of: int) -> None:
    exact = binomtest(count, of).proportion_ci(confidence_level=0.90, method="exact").high  # 95 % on one side
    assert Rate(count, of).below == pytest.approx(exact, rel=1e-9)
    if count == 0:
        assert Rate(count, of).below == pytest.approx(1.0 - 0.05 ** (1.0 / of), rel=1e-9)
    percent = Rate(count, of).below_percent
    assert 0.0 <= percent - 100.0 * exact <= 0.1  # rounded up


def test_nothing_decided_bounds_nothing() -> None:
    assert Rate(0, 0).below == 1.0
    assert Rate(4, 4).below == 1.0


def take(came: str) -> Challenged:
    """One run of a unit whose fault comes only now and then."""
    one = unit(came)
    return replace(one, differences=differences(BOTH, one.seen, sometimes=True))


@pytest.mark.parametrize(
    ("came", "outcome", "exact", "caught_in"),
    [
        (("ffp", "ppp", "ppp"), Outcome.BY_INTENDED, True, (1, 3)),
        (("fpp", "pfp"), Outcome.BY_INTENDED, True, (2, 2)),  # each of the two in one run
        (("ppp", "ffp", "ppf"), Outcome.BY_INTENDED, False, (1, 3)),  # and one that should have passed, once
        (("ffu", "ppp"), Outcome.BY_INTENDED, False, (1, 2)),
        (("fpp", "ppp"), Outcome.IN_PART, False, (1, 2)),
        (("ppp", "ppf"), Outcome.BY_ANOTHER, False, (0, 2)),
        (("ppp", "ppp"), Outcome.MISSED, False, (0, 2)),
        (("ppp", "puu"), Outcome.UNDECIDED, False, (0, 2)),
    ],
)
def test_a_fault_that_comes_now_and_then(
    came: tuple[str, ...], outcome: Outcome, exact: bool, caught_in: tuple[int, int]
) -> None:
    whole = over_runs([take(one) for one in came])
    assert (whole.outcome, whole.exact) == (outcome, exact)
    assert (whole.caught_in.count, whole.caught_in.of) == caught_in
    assert (whole.runs, len(whole.takes)) == (len(came), len(came))
    assert len(whole.unprovoked) == sum(one[2:] in ("p", "f") for one in came)  # C alone has no fault before it


def test_what_a_fault_that_comes_keeps_from_being_reached_may_be_so() -> None:
    expected = (ExpectedVerdict(A, Verdict.FAIL), ExpectedVerdict(C, Verdict.NOT_REACHED))
    runs = [unit(came, expected) for came in ("fpp", "ppp")]
    whole = over_runs([replace(one, differences=differences(expected, one.seen, sometimes=True)) for one in runs])
    assert (whole.outcome, whole.differences) == (Outcome.BY_INTENDED, ())


def test_a_run_of_several_that_is_none_leaves_the_unit_without() -> None:
    whole = over_runs([take("ffp"), replace(take("ppp"), trouble="the bench broke", verdict=None)])
    assert (whole.outcome, whole.trouble) == (Outcome.NO_RUN, "the bench broke")


def test_the_run_that_tells_of_an_expectation() -> None:
    takes = [take("ppp"), take("pfp"), take("ffp")]
    whole = over_runs(takes)
    assert (whole.telling(BOTH[0]), whole.telling(BOTH[1])) == (takes[2], takes[1])
    assert whole.seen == takes[2].seen


@pytest.mark.parametrize(("count", "of"), [(0, 8), (3, 8), (8, 8), (1, 20)])
def test_a_share_lies_between_scipys_bounds(count: int, of: int) -> None:
    """`binomtest(...).proportion_ci(method="exact")` is an implementation of Clopper and Pearson's of its own."""
    exact = binomtest(count, of).proportion_ci(0.95, method="exact")
    low, high = Rate(count, of).between_percent
    assert low / 100 <= exact.low + 1e-9 < low / 100 + 0.0011
    assert high / 100 - 0.0011 < exact.high - 1e-9 <= high / 100
