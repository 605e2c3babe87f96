"""Signatures compared with what runs came to: every deviation is told, and nothing else.

What a comparison must say follows from the meaning of a signature alone (common practice, no source).
"""

import pytest

from hil.core.moments import Json, Moment
from hil.core.verdicts import Verdict
from hil.judge.signature import ExpectedVerdict, Kind, SeenReading, SeenVerdict, differences, seen_verdicts

LATE = "test_a.py::test_late"
NAME = "test_a.py::test_name"
FINE = "test_a.py::test_fine"
OTHER = "test_b.py::test_other"
SIGNATURE = (
    ExpectedVerdict(LATE, Verdict.FAIL, reading="above"),
    ExpectedVerdict(NAME, Verdict.FAIL, says="heard 'x'"),
    ExpectedVerdict("test_b.py::*", Verdict.NOT_REACHED),
)
ABOVE = SeenReading("p", Verdict.FAIL, 13.18, 13.22, None, 12.0, "s")
BELOW = SeenReading("p", Verdict.FAIL, 20.0, 21.0, 22.5, 25.5, "s")
INSIDE = SeenReading("p", Verdict.PASS, 23.0, 24.0, 22.5, 25.5, "s")


def run_with(**changed: SeenVerdict | None) -> list[SeenVerdict]:
    """The verdicts of a run that has exactly `SIGNATURE`, some of them changed or left out."""
    exact: dict[str, SeenVerdict | None] = {
        "late": SeenVerdict(LATE, Verdict.FAIL, "13.20 ± 0.02 s", (ABOVE, INSIDE)),
        "name": SeenVerdict(NAME, Verdict.FAIL, "name: heard 'x', 3 times"),
        "fine": SeenVerdict(FINE, Verdict.PASS),
        "other": SeenVerdict(OTHER, Verdict.NOT_REACHED, "no route"),
    }
    return [verdict for verdict in (exact | changed).values() if verdict is not None]


def test_an_exact_run_differs_in_nothing() -> None:
    assert differences(SIGNATURE, run_with()) == ()


def test_what_does_not_apply_is_no_deviation() -> None:
    assert differences(SIGNATURE, run_with(fine=SeenVerdict(FINE, Verdict.NOT_APPLICABLE, "not promised"))) == ()


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"late": SeenVerdict(LATE, Verdict.PASS)}, f"missing: {LATE} pass, expected fail"),
        ({"late": None}, f"missing: the run has no check {LATE}"),
        ({"other": None}, "missing: the run has no check test_b.py::*"),
        ({"fine": SeenVerdict(FINE, Verdict.FAIL, "odd")}, f"extra: {FINE} fail: odd"),
        ({"fine": SeenVerdict(FINE, Verdict.UNJUDGED, "camera asleep")}, f"extra: {FINE} unjudged: camera asleep"),
        ({"other": SeenVerdict(OTHER, Verdict.PASS)}, f"missing: {OTHER} pass, expected not reached"),
        (
            {"late": SeenVerdict(LATE, Verdict.UNJUDGED, "straddles")},
            f"other verdict: {LATE} unjudged, expected fail: straddles",
        ),
        (
            {"late": SeenVerdict(LATE, Verdict.FAIL, "1.0 s", (BELOW,))},
            f"other direction: {LATE} below its limit, expected above: 1.0 s",
        ),
        (
            {"late": SeenVerdict(LATE, Verdict.FAIL, "nothing came")},
            f"other direction: {LATE} on no side of its limit, expected above: nothing came",
        ),
        (
            {"late": SeenVerdict(LATE, Verdict.FAIL, "both", (BELOW, ABOVE))},
            f"other direction: {LATE} above and below its limit, expected above: both",
        ),
        (
            {"name": SeenVerdict(NAME, Verdict.FAIL, "heard 'y'")},
            f"other reason: {NAME} does not say \"heard 'x'\": heard 'y'",
        ),
    ],
)
def test_each_deviation_is_told(changed: dict[str, SeenVerdict | None], told: str) -> None:
    found = differences(SIGNATURE, run_with(**changed))
    assert [d.text for d in found] == [told]
    assert found[0].check in told
    assert found[0].kind is Kind(told.partition(":")[0])


def test_a_check_named_itself_is_not_meant_by_a_group() -> None:
    expected = (ExpectedVerdict("test_b.py::*", Verdict.NOT_REACHED), ExpectedVerdict(OTHER, Verdict.FAIL))
    seen = [SeenVerdict(OTHER, Verdict.FAIL), SeenVerdict("test_b.py::test_third", Verdict.NOT_REACHED)]
    assert differences(expected, seen) == ()


def test_a_run_without_verdicts_lacks_everything() -> None:
    assert len(differences(SIGNATURE, [])) == len(SIGNATURE)


@pytest.mark.parametrize(
    ("reason", "verdict", "slept"),
    [
        ("order: camera asleep from 60.3 s to 62.7 s", Verdict.UNJUDGED, True),
        ("1.00 ± 0.04 s: its doubt straddles the limit", Verdict.UNJUDGED, False),
        ("order: camera asleep from 60.3 s to 62.7 s", Verdict.FAIL, False),
    ],
)
def test_a_sleeping_witness_is_told_from_the_rest(reason: str, verdict: Verdict, slept: bool) -> None:
    (difference,) = differences(SIGNATURE, run_with(fine=SeenVerdict(FINE, verdict, reason)))
    assert difference.slept is slept


def test_verdicts_are_read_from_the_timeline() -> None:
    def reading(verdict: str, low: float, high: float | None) -> dict[str, Json]:
        return {
            "promised": "p",
            "verdict": verdict,
            "low": low,
            "high": high,
            "lower": 22.5,
            "upper": 25.5,
            "unit": "s",
        }

    def booked(*readings: Json) -> Moment:
        return Moment(1.0, 0.0, "verdict", "fail", {"check": LATE, "reason": "why", "readings": list(readings)})

    seen = seen_verdicts(
        [
            Moment(0.5, 0.0, "leg", "begins", {"name": "first_start"}),
            booked(reading("fail", 25.6, 25.8)),
            booked(reading("fail", 40.0, None) | {"because": "patience ran out"}),
            booked(reading("fail", 20.0, 21.0)),
            booked(reading("pass", 23.0, 24.0)),
            Moment(2.0, 0.0, "verdict", "not reached", {"check": OTHER, "reason": "no route", "readings": []}),
        ]
    )
    assert [v.directions for v in seen] == [{"above"}, {"above"}, {"below"}, set(), set()]
    assert (seen[0].check, seen[0].verdict, seen[0].reason) == (LATE, Verdict.FAIL, "why")
    assert seen[1].readings == (SeenReading("p", Verdict.FAIL, 40.0, None, 22.5, 25.5, "s", "patience ran out"),)
    assert seen[-1].verdict is Verdict.NOT_REACHED


def test_a_fault_that_comes_now_and_then_may_have_let_its_checks_pass() -> None:
    passed = run_with(late=SeenVerdict(LATE, Verdict.PASS), other=SeenVerdict(OTHER, Verdict.PASS))
    assert differences(SIGNATURE, passed, sometimes=True) == ()
    odd = run_with(late=SeenVerdict(LATE, Verdict.UNJUDGED, "straddles"), fine=SeenVerdict(FINE, Verdict.FAIL, "odd"))
    assert [d.kind for d in differences(SIGNATURE, odd, sometimes=True)] == [Kind.OTHER_VERDICT, Kind.EXTRA]
