"""The sums of a batch and its rule for testing again, held against counts made by hand."""

import pytest

from hil.core.verdicts import Verdict
from hil.judge.batch import Sums, UnitRun, batch_verdict, failures_by_check, sums_of, why_not_again

PASS, FAIL, UNJUDGED = Verdict.PASS, Verdict.FAIL, Verdict.UNJUDGED
BATCH = [
    UnitRun("A", PASS, "1"),
    UnitRun("B", FAIL, "2", ("t.py::one", "t.py::two")),
    UnitRun("C", UNJUDGED, "3"),
    UnitRun("C", PASS, "4"),
    UnitRun("D", UNJUDGED, "5", ()),
    UnitRun("D", FAIL, "6", ("t.py::two",)),
    UnitRun("E", UNJUDGED, "7"),
]


def test_a_unit_counts_once_by_its_last_run_and_its_first_run_apart() -> None:
    assert sums_of(BATCH) == Sums(units=5, passed=2, passed_at_first=1, failed=2, undecided=1)
    assert sums_of([]) == Sums(0, 0, 0, 0, 0)


def test_failures_count_units_not_runs() -> None:
    assert failures_by_check([*BATCH, UnitRun("B", FAIL, "8", ("t.py::one",))]) == [("t.py::two", 2), ("t.py::one", 1)]


@pytest.mark.parametrize(
    ("serial_number", "told"),
    [
        ("A", "already: pass"),
        ("B", "already: fail"),
        ("C", "already: pass"),
        ("D", "already: fail"),
        ("E", ""),
        ("F", ""),
    ],
)
def test_a_failed_unit_is_never_tested_again_and_an_unjudged_one_once(serial_number: str, told: str) -> None:
    why = why_not_again(BATCH, serial_number)
    assert told in why
    assert bool(why) == bool(told)
    assert "2 times" in why_not_again([*BATCH, UnitRun("E", UNJUDGED, "8")], "E")


@pytest.mark.parametrize(
    ("runs", "verdict"),
    [(BATCH, FAIL), (BATCH[:1], PASS), (BATCH[:1] + BATCH[2:3], UNJUDGED), (BATCH[2:4], PASS), ([], UNJUDGED)],
)
def test_the_verdict_of_a_batch(runs: list[UnitRun], verdict: Verdict) -> None:
    assert batch_verdict(runs) is verdict
