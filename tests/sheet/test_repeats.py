"""What a sheet states of repeats: legs driven again, and what was tried many times within a leg.

The rates are those of an exact binomial bound; `tests/judge/test_statistics.py` holds them against outside sources.
"""

from hil.core.run_folder import LegRecord, RunInfo
from hil.core.verdicts import Finding, Verdict
from hil.judge.results import CheckResult
from hil.sheet.front import repeats


def info(*takes: tuple[str, int, bool]) -> RunInfo:
    """A run with legs by name, take and whether each was a bridge."""
    legs = [LegRecord(name, "", take, 0.0, 1.0, "off", "off", "off", 1.0, bridge) for name, take, bridge in takes]
    return RunInfo("1", "2026-03-14T09:12:31+01:00", "0.1.0", [], partial=False, legs=legs)


def result(leg: str, takes: int, *failed: int, findings: tuple[Finding, ...] = ()) -> CheckResult:
    verdict = Verdict.FAIL if failed else Verdict.PASS
    return CheckResult("t::t", "T.", (leg,), ("power",), verdict, findings, takes=takes, failed_takes=failed)


def test_nothing_repeated() -> None:
    assert repeats(info(("cut", 1, False)), [result("cut", 1)]).startswith("No leg was repeated.")


def test_a_take_fails_by_any_of_its_checks() -> None:
    run = info(*(("cut", take, False) for take in range(1, 21)))
    said = repeats(run, [result("cut", 20, 3), result("cut", 20, 3, 7), result("other", 1, 1)])
    assert "Repeated: Cut (20 takes, 2 of 20 failed: true rate below 28.3 % (95 %, Clopper–Pearson))." in said


def test_a_second_look_is_no_sample() -> None:
    said = repeats(info(("cut", 1, False), ("cut", 2, False)), [result("cut", 2)])
    assert "Repeated: Cut (2 takes). Every take was judged and counts." in said


def test_a_way_to_other_legs_is_no_repeat() -> None:
    run = info(*(("unplugged", take, True) for take in range(1, 6)))
    assert repeats(run, []).startswith("No leg was repeated.")


def test_what_was_tried_many_times_is_stated_in_sum() -> None:
    many = Finding(Verdict.PASS, "old settings or new ones after a cut while saving", "30 cuts", tally=(0, 30))
    one = Finding(Verdict.PASS, "no crash text", "none")
    more = Finding(Verdict.FAIL, "joined after a reset", "8 resets", tally=(1, 8))
    said = repeats(info(("save_cut", 1, False)), [result("save_cut", 1, findings=(many, one, more))])
    assert "Tried many times: 2 promises, 1 of 38 tries failed (rates in Appendix A)." in said
    assert "Tried" not in repeats(info(("save_cut", 1, False)), [result("save_cut", 1, findings=(one,))])
