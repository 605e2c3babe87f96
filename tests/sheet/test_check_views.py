"""Checks as shown: grouping, numbers, and how readings are written."""

from math import inf

import pytest

from hil.core.readings import Reading
from hil.core.run_folder import LegRecord
from hil.core.verdicts import Verdict
from hil.judge.results import CheckResult
from hil.sheet.check_views import by_leg, count_verdicts, outcome_of, value_and_doubt


def leg(name: str, parameter: str = "", take: int = 1) -> LegRecord:
    """A driven leg."""
    return LegRecord(name, parameter, take, 0.0, 1.0, "off", "setup", "setup", 1.0, bridge=False)


def check(name: str, *legs: str, verdict: Verdict = Verdict.PASS) -> CheckResult:
    """A result."""
    return CheckResult(name, name, legs, (), verdict)


@pytest.mark.parametrize(
    ("reading", "shown"),
    [
        (Reading.of(27.4, 0.15, "s"), ("27.40 s", "± 0.15 s")),
        (Reading.of(0.12, 0.0031, "s"), ("0.120 s", "± 0.003 s")),  # a doubt is never shown as none
        (Reading.of(0.12, 0.0002, "s"), ("0.1200 s", "± 0.0002 s")),
        (Reading.of(2.0, 0.3, "Hz"), ("2.00 Hz", "± 0.30 Hz")),
        (Reading(45.0, inf, "s"), ("> 45.0 s", "")),
        (Reading(18.0, 29.5, "s", because="air monitor deaf"), ("between 18.0 and 29.5 s", "")),
    ],
)
def test_a_reading_is_written_with_the_decimals_of_its_doubt(reading: Reading, shown: tuple[str, str]) -> None:
    assert value_and_doubt(reading) == shown


def test_checks_stand_under_the_last_driven_leg_they_rest_on() -> None:
    legs = [leg("first"), leg("second", "wrong"), leg("second", "right"), leg("first", take=2)]
    results = [
        check("a", "first"),
        check("b", "second[wrong]", "second[right]"),
        check("c", "second[wrong]", "never"),
        check("d", "never"),
        check("e"),
    ]
    groups = {name: [result.name for result in group] for name, group in by_leg(results, legs).items()}
    assert groups == {"first": ["a"], "second[wrong]": ["c"], "second[right]": ["b"], "never": ["d"], "": ["e"]}


def test_no_check_is_lost_or_shown_twice() -> None:
    legs = [leg("first"), leg("second")]
    results = [check(str(at), *names) for at, names in enumerate([("first", "second"), ("second",), (), ("third",)])]
    shown = [result.name for group in by_leg(results, legs).values() for result in group]
    assert sorted(shown) == ["0", "1", "2", "3"]


def test_counts_take_unjudged_and_not_reached_together() -> None:
    counts = count_verdicts([check(verdict.value, verdict=verdict) for verdict in Verdict])
    assert counts == (1, 1, 2, 1)
    assert outcome_of(counts) == "1 passed, 1 failed, 2 no verdict, 1 not applicable"
    assert outcome_of((0, 0, 0, 0)) == "no checks"
