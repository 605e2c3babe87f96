"""`hil challenge`: signatures compared, the table, and one pair of known-bad units for real.

What a comparison must say follows from the meaning of a signature alone (common practice, no source). The checks that
signatures name are held against the suite itself.
"""

import ast
from pathlib import Path

import pytest
from support.runs import hil

from hil.cli.challenge import part_of
from hil.cli.challenge_table import COLUMNS, Challenged, summary, table
from hil.cli.challenged_unit import GOOD_UNIT, known_units
from hil.core.errors import InputError
from hil.core.moments import Moment
from hil.core.verdicts import Verdict
from hil.judge.signature import Difference, ExpectedVerdict, SeenVerdict, differences, seen_verdicts
from hil.virtual.patches import load_patch, patch_names

SUITE = Path(__file__).parents[1] / "acceptance"
LATE = "test_a.py::test_late"
NAME = "test_a.py::test_name"
FINE = "test_a.py::test_fine"
OTHER = "test_b.py::test_other"
SIGNATURE = (
    ExpectedVerdict(LATE, Verdict.FAIL, reading="above"),
    ExpectedVerdict(NAME, Verdict.FAIL, says="heard 'x'"),
    ExpectedVerdict("test_b.py::*", Verdict.NOT_REACHED),
)


def run_with(**changed: SeenVerdict | None) -> list[SeenVerdict]:
    """The verdicts of a run that has exactly `SIGNATURE`, some of them changed or left out."""
    exact: dict[str, SeenVerdict | None] = {
        "late": SeenVerdict(LATE, Verdict.FAIL, "13.20 ± 0.02 s", frozenset({"above"})),
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
            {"late": SeenVerdict(LATE, Verdict.FAIL, "1.0 s", frozenset({"below"}))},
            f"other direction: {LATE} below its limit, expected above: 1.0 s",
        ),
        (
            {"late": SeenVerdict(LATE, Verdict.FAIL, "nothing came")},
            f"other direction: {LATE} on no side of its limit, expected above: nothing came",
        ),
        (
            {"late": SeenVerdict(LATE, Verdict.FAIL, "both", frozenset({"below", "above"}))},
            f"other direction: {LATE} above and below its limit, expected above: both",
        ),
        (
            {"name": SeenVerdict(NAME, Verdict.FAIL, "heard 'y'")},
            f"other reason: {NAME} does not say \"heard 'x'\": heard 'y'",
        ),
    ],
)
def test_each_deviation_is_told(changed: dict[str, SeenVerdict | None], told: str) -> None:
    assert [d.text for d in differences(SIGNATURE, run_with(**changed))] == [told]


def test_only_a_sleeping_witness_is_worth_another_run() -> None:
    asleep = SeenVerdict(FINE, Verdict.UNJUDGED, "order: camera asleep from 60.3 s to 62.7 s")
    straddles = SeenVerdict(FINE, Verdict.UNJUDGED, "1.00 ± 0.04 s: its doubt straddles the limit")
    slept = differences(SIGNATURE, run_with(fine=asleep))
    assert Challenged("late", golden=False, verdict=Verdict.FAIL, differences=slept).slept
    also_missing = differences(SIGNATURE, run_with(fine=asleep, late=SeenVerdict(LATE, Verdict.PASS)))
    for told in ((), also_missing, differences(SIGNATURE, run_with(fine=straddles))):
        assert not Challenged("late", golden=False, verdict=Verdict.FAIL, differences=told).slept
    assert not Challenged("late", golden=False, verdict=None, differences=slept, trouble="killed").slept


def test_a_check_named_itself_is_not_meant_by_a_group() -> None:
    expected = (ExpectedVerdict("test_b.py::*", Verdict.NOT_REACHED), ExpectedVerdict(OTHER, Verdict.FAIL))
    seen = [SeenVerdict(OTHER, Verdict.FAIL), SeenVerdict("test_b.py::test_third", Verdict.NOT_REACHED)]
    assert differences(expected, seen) == ()


def test_a_run_without_verdicts_lacks_everything() -> None:
    assert len(differences(SIGNATURE, [])) == len(SIGNATURE)


def test_verdicts_are_read_from_the_timeline() -> None:
    def reading(verdict: str, low: float, high: float | None) -> dict[str, object]:
        return {"promised": "p", "verdict": verdict, "low": low, "high": high, "lower": 22.5, "upper": 25.5}

    def booked(*readings: dict[str, object]) -> Moment:
        return Moment(1.0, 0.0, "verdict", "fail", {"check": LATE, "reason": "why", "readings": list(readings)})  # type: ignore[dict-item]

    above, open_ended, below = reading("fail", 25.6, 25.8), reading("fail", 40.0, None), reading("fail", 20.0, 21.0)
    seen = seen_verdicts(
        [
            Moment(0.5, 0.0, "leg", "begins", {"name": "first_start"}),
            booked(above),
            booked(open_ended),
            booked(below),
            booked(reading("pass", 23.0, 24.0)),
            Moment(2.0, 0.0, "verdict", "not reached", {"check": OTHER, "reason": "no route", "readings": []}),
        ]
    )
    assert [v.directions for v in seen] == [{"above"}, {"above"}, {"below"}, set(), set()]
    assert (seen[0].check, seen[0].verdict, seen[0].reason) == (LATE, Verdict.FAIL, "why")
    assert seen[-1].verdict is Verdict.NOT_REACHED


def test_the_table_is_exact_where_all_is_as_expected() -> None:
    unit = Challenged("late", golden=False, verdict=Verdict.FAIL, caught_by=(LATE,))
    golden = Challenged("good", golden=True, verdict=Verdict.PASS)
    assert [line.split() for line in table([unit, golden])][2:] == [
        ["late", "fail", "fail", "exact"],
        ["caught", "by", "late"],
        ["good", "pass", "pass", "exact"],
    ]
    assert (
        summary([unit, golden], 90.0)
        == "1 of 1 known-bad units caught, 1 exactly; 1 of 1 golden units passed; 1.5 min."
    )


def test_the_table_names_every_deviation_within_its_width() -> None:
    units = [
        Challenged(
            "late", False, Verdict.FAIL, (LATE,) * 12, (Difference("extra: " + "words " * 90), Difference("second"))
        ),
        Challenged("good", True, Verdict.UNJUDGED, (), (Difference(f"extra: {FINE} unjudged: asleep"),), runs=2),
        Challenged("passes", False, Verdict.PASS, (), (Difference(f"missing: {LATE} pass, expected fail"),)),
        Challenged("broken", False, None, trouble="exit code 2: no such file"),
    ]
    lines = list(table(units))
    assert max(len(line) for line in lines) <= COLUMNS
    rows = [line.split() for line in lines if not line.startswith(" ")][2:]
    assert rows == [
        ["late", "fail", "fail", "differs"],
        ["good", "pass", "unjudged", "differs,", "driven", "again"],
        ["passes", "fail", "pass", "differs"],
        ["broken", "fail", "none", "no", "whole", "run"],
    ]
    text = " ".join("\n".join(lines).split())
    assert all(f"≠ {what}" in text for what in ("extra:", "second", "missing: " + LATE, "exit code 2: no such file"))
    assert summary(units, 6.0) == "1 of 3 known-bad units caught, 0 exactly; 0 of 1 golden units passed; 0.1 min."
    assert not any(unit.exact for unit in units)


def checks_of_the_suite() -> set[str]:
    return {
        f"{file.name}::{node.name}"
        for file in SUITE.glob("test_*.py")
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    }


@pytest.mark.parametrize("name", patch_names())
def test_signatures_name_checks_that_exist(name: str) -> None:
    expected = [ExpectedVerdict(e.check, Verdict(e.verdict), e.reading, e.says) for e in load_patch(name).expect]
    checks = checks_of_the_suite()
    assert len(checks) > 40
    assert [e.check for e in expected if not any(e.means(check) for check in checks)] == []


def test_golden_units_are_those_without_a_signature() -> None:
    assert [unit.name for unit in known_units() if unit.golden] == [GOOD_UNIT, "golden_just_inside"]
    assert all(any(e.verdict is Verdict.FAIL for e in u.expected) for u in known_units() if not u.golden)


def test_each_part_has_other_units_and_all_have_all() -> None:
    units = known_units()
    parts = [part_of(units, f"{k}/3") for k in (1, 2, 3)]
    assert sorted(u.name for part in parts for u in part) == sorted(u.name for u in units)
    assert max(map(len, parts)) - min(map(len, parts)) <= 1


@pytest.mark.parametrize("part", ["0/2", "3/2", "1", "a/b", "1/0", "-1/2", ""])
def test_what_is_no_part_is_refused(part: str) -> None:
    with pytest.raises(InputError, match="is no part"):
        part_of(known_units(), part)


def test_a_unit_is_never_driven_faster_than_can_be_decided() -> None:
    slow = next(unit for unit in known_units() if unit.speed is not None)
    assert (slow.speed_for(None), slow.speed_for(100.0), slow.speed_for(0.5)) == (slow.speed, slow.speed, 0.5)
    good = known_units([GOOD_UNIT])[0]
    assert (good.speed_for(None), good.speed_for(3.0)) == (None, 3.0)


def test_an_unknown_unit_is_wrong_input(tmp_path: Path) -> None:
    ended = hil("challenge", "good", "no_such_unit", cwd=tmp_path)
    assert ended.code == 2
    assert "'no_such_unit' is not known" in ended.err
    assert "lamp_red_green_swapped" in ended.err
    assert not ended.reports.exists()


def test_a_unit_that_cannot_be_run_is_not_called_caught(tmp_path: Path) -> None:
    ended = hil("challenge", "secret_in_page", "--speed", "100", "--jobs", "1", cwd=tmp_path)
    assert ended.code == 1
    assert "no whole run" in ended.out
    assert "0 of 1 known-bad units caught" in ended.out


def test_known_bad_units_are_caught_with_exactly_their_signatures(tmp_path: Path) -> None:
    ended = hil("challenge", "lamp_red_green_swapped", "secret_in_page", cwd=tmp_path)
    assert ended.code == 0, f"{ended.out}{ended.err}"
    assert "2 of 2 known-bad units caught, 2 exactly" in ended.out
    assert "caught by lamp_order_into_connected, lamp_order_after_cut" in ended.out
    assert max(len(line) for line in ended.out.splitlines() if not line.startswith("Runs:")) <= COLUMNS
