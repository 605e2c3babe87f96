"""The verdict over results, and which readings came nearest to their limits (worked out by hand)."""

import pytest

from hil.core.readings import Reading
from hil.core.verdicts import Finding, Limits, Verdict
from hil.judge.results import CheckResult, nearest_to_limits, run_verdict


def result(name: str, verdict: Verdict, *findings: Finding) -> CheckResult:
    return CheckResult(name, f"{name}.", ("a_leg",), ("power",), verdict, findings)


def read(low: float, high: float, lower: float | None, upper: float | None) -> Finding:
    return Finding(Verdict.PASS, "p", "s", Reading(low, high, "s"), Limits(lower, upper, "s"))


@pytest.mark.parametrize(
    ("verdicts", "broken", "expected"),
    [
        (["pass"], False, "pass"),
        (["pass"], True, "unjudged"),
        (["pass", "fail"], True, "fail"),
        (["pass", "not applicable"], False, "pass"),
        (["not applicable"], False, "unjudged"),
        ([], False, "unjudged"),
        (["pass", "not reached"], False, "unjudged"),
        (["fail", "unjudged"], False, "fail"),
    ],
)
def test_a_bench_that_broke_leaves_no_pass(verdicts: list[str], broken: bool, expected: str) -> None:
    results = [result(f"c{n}", Verdict(word)) for n, word in enumerate(verdicts)]
    assert run_verdict(results, broken=broken) == expected


def test_the_readings_nearest_to_their_limits_come_first() -> None:
    results = [
        result("roomy", Verdict.PASS, read(9.0, 10.0, None, 20.0)),  # (20 − 10) / 20 = 0.5
        result("near", Verdict.PASS, read(28.0, 29.1, None, 30.0)),  # 0.9 / 30 = 0.03
        result("past", Verdict.FAIL, read(31.0, 33.0, None, 30.0)),  # −3 / 30 = −0.1
        result("two ends", Verdict.PASS, read(23.4, 24.0, 22.5, 25.5)),  # 0.9 / 22.5 = 0.04, 1.5 / 25.5 = 0.059
        result("words", Verdict.PASS, Finding(Verdict.PASS, "p", "s")),
    ]
    rows = nearest_to_limits(results, count=3)
    assert [row[0].name for row in rows] == ["past", "near", "two ends"]
    assert [row[2] for row in rows] == pytest.approx([-0.1, 0.03, 0.04])
    assert len(nearest_to_limits(results, count=9)) == 4
