"""The decision rule.

Held against the design's own example table, ILAC-G8:09/2019 (guard band w = U: acceptance limit AL = TL − U; the figures
TL 10.00, U 0.20 are an example of that rule, from memory), and JCGM 106:2012 8.3.2 (guarded acceptance).
"""

import math
from fractions import Fraction
from itertools import pairwise

import pytest

from hil.core.readings import Occurrence, Reading, between
from hil.core.verdicts import Limits, Verdict
from hil.judge.rules import RULE, decide, judge_reading
from hil.lamp.bench_lamp import TOO_REGULAR

UPTO_30 = Limits(None, 30.0, "s")
ON = Occurrence.at(100.00, 0.02)
DEAF = "air monitor asleep from 118.0 s to 129.0 s"
LOST = "air monitor asleep from 118.0 s on"
TABLE = [  # the rows of "How a verdict comes about" that are readings
    ("beacon 127.40 ± 0.15", Occurrence.at(127.40, 0.15), Verdict.PASS, False),
    ("beacon 131.00", Occurrence.at(131.00, 0.15), Verdict.FAIL, False),
    ("beacon 130.05", Occurrence.at(130.05, 0.15), Verdict.UNJUDGED, True),
    ("no beacon until 145, control heard throughout", Occurrence.not_before(145.0, ""), Verdict.FAIL, False),
    ("no beacon, control lost at 118", Occurrence.not_before(118.0, LOST), Verdict.UNJUDGED, False),
    ("no beacon, deaf 118 to 129", Occurrence.not_before(118.0, DEAF), Verdict.UNJUDGED, True),  # none of the table's
    ("no delay by chance", Occurrence.not_before(118.0, f"camera: {TOO_REGULAR}"), Verdict.UNJUDGED, True),  # nor this
    ("deaf 118 to 129, beacon at 129.5", Occurrence(118.0, 129.5, False, DEAF), Verdict.PASS, False),
]


@pytest.mark.parametrize(("row", "beacon", "verdict", "retakable"), TABLE, ids=[row for row, *_ in TABLE])
def test_the_example_table(row: str, beacon: Occurrence, verdict: Verdict, retakable: bool) -> None:
    finding = judge_reading(between(ON, beacon), UPTO_30, "power on → first beacon")
    assert finding.verdict is verdict
    assert finding.retakable is retakable
    if beacon.because and verdict is Verdict.UNJUDGED:
        assert beacon.because in finding.seen


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        ("9.50", Verdict.PASS),
        ("9.80", Verdict.PASS),  # AL = TL − U = 9.80 is still accepted
        ("9.81", Verdict.UNJUDGED),
        ("10.00", Verdict.UNJUDGED),
        ("10.19", Verdict.UNJUDGED),
        ("10.20", Verdict.UNJUDGED),
        ("10.21", Verdict.FAIL),
        ("11.00", Verdict.FAIL),
    ],
)
def test_a_guard_band_of_the_doubt_on_both_sides(value: str, verdict: Verdict) -> None:
    """TL 10.00, U 0.20. The ends are worked out exactly, so that binary fractions do not decide."""
    exact, doubt = Fraction(value), Fraction("0.20")
    reading = Reading(float(exact - doubt), float(exact + doubt), "s")
    assert decide(reading, Limits(None, 10.00, "s")) is verdict


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [
        (22.5, 25.5, Verdict.PASS),
        (23.0, 24.0, Verdict.PASS),
        (22.4, 24.0, Verdict.UNJUDGED),
        (24.0, 25.6, Verdict.UNJUDGED),
        (22.0, 26.0, Verdict.UNJUDGED),
        (20.0, 22.4, Verdict.FAIL),
        (25.6, 27.0, Verdict.FAIL),
        (20.0, 22.5, Verdict.UNJUDGED),
        (25.5, math.inf, Verdict.UNJUDGED),
        (25.6, math.inf, Verdict.FAIL),
        (-math.inf, 22.4, Verdict.FAIL),
        (-math.inf, 24.0, Verdict.UNJUDGED),
        (24.0, math.inf, Verdict.UNJUDGED),
        (-math.inf, math.inf, Verdict.UNJUDGED),
    ],
)
def test_both_limits(low: float, high: float, verdict: Verdict) -> None:
    assert decide(Reading(low, high, "s"), Limits(22.5, 25.5, "s")) is verdict


@pytest.mark.parametrize(
    ("low", "high", "limits", "verdict"),
    [
        (3.0, 4.0, Limits(2.0, None, "s"), Verdict.PASS),
        (1.0, 1.9, Limits(2.0, None, "s"), Verdict.FAIL),
        (1.0, 2.1, Limits(2.0, None, "s"), Verdict.UNJUDGED),
        (3.0, math.inf, Limits(2.0, None, "s"), Verdict.UNJUDGED),  # never seen is not "late enough"
        (-math.inf, 3.0, Limits(None, 5.0, "s"), Verdict.UNJUDGED),  # a beginning never seen is not "soon enough"
    ],
)
def test_one_limit_and_an_open_end_is_never_a_pass(low: float, high: float, limits: Limits, verdict: Verdict) -> None:
    assert decide(Reading(low, high, "s"), limits) is verdict


def test_widening_the_doubt_never_turns_fail_into_pass_or_back() -> None:
    """JCGM 106:2012 8.3: a wider guard band only moves results into the middle."""
    for tenth in range(-20, 60):
        verdicts = [
            decide(Reading.of(tenth / 10.0, doubt, "s"), Limits(0.0, 3.0, "s")) for doubt in (0.0, 0.2, 0.9, 5.0)
        ]
        for narrow, wide in pairwise(verdicts):
            assert wide in (narrow, Verdict.UNJUDGED)


def test_the_finding_carries_what_the_sheet_needs() -> None:
    reading = Reading.of(27.4, 0.15, "s", at_s=127.4)
    finding = judge_reading(reading, UPTO_30, "power on → first beacon")
    assert (finding.reading, finding.limits, finding.promised, finding.at_s) == (
        reading,
        UPTO_30,
        "power on → first beacon",
        127.4,
    )
    assert finding.seen == "27.40 ± 0.15 s"


def test_a_straddling_reading_says_so() -> None:
    assert "straddles" in judge_reading(Reading.of(30.05, 0.15, "s"), UPTO_30, "x").seen


def test_the_rule_is_stated_in_words() -> None:
    assert all(word in RULE for word in ("passes", "fails", "unjudged", "95 %", "awake"))
