"""A good run as a desk without a camera would record it: by a person's word the order of stages passes, fails, or stays open."""

from pathlib import Path

import pytest
from support.alterations import copy_run
from support.onlooker import Look, put_person_in_place
from support.verdicts import Judged, judge

AFTER_CUT = "test_power_cut.py::test_lamp_order_after_cut"
ORDERS = {
    "first_start": "test_start.py::test_lamp_order_on_first_start",
    "saved_network_absent": "test_absent_network.py::test_lamp_order_into_setup",
}
LEFT_EARLY, LOOKED_AWAY = "power_cut", "first_start"


def never_connected(leg: str, looks: list[Look]) -> list[Look]:
    """In one leg the lamp goes to the stage for a unit that does not come into its network."""
    return [(time_s, "setup" if leg == LEFT_EARLY and look == "connected" else look) for time_s, look in looks]


@pytest.fixture(scope="module")
def by_camera(good_run: Path, tmp_path_factory: pytest.TempPathFactory) -> Judged:
    run = copy_run(good_run, tmp_path_factory.mktemp("by camera") / "run")
    return judge(run, run / "judged")


@pytest.fixture(scope="module")
def by_eye(good_run: Path, tmp_path_factory: pytest.TempPathFactory) -> Judged:
    run = copy_run(good_run, tmp_path_factory.mktemp("by eye") / "run")
    put_person_in_place(run)
    return judge(run, run / "judged")


def test_nothing_fails_for_want_of_a_camera(by_eye: Judged) -> None:
    assert "fail" not in by_eye.verdicts.values(), by_eye.said
    assert by_eye.code == 3  # what is timed finer than a finger stays open, so that no gate opens


def test_the_order_of_stages_passes_by_their_word(by_eye: Judged) -> None:
    assert {by_eye.verdicts[check] for check in ORDERS.values()} == {"pass"}
    assert by_eye.verdicts[AFTER_CUT] in (
        "pass",
        "unjudged",
    )  # the lamp is dark for a second there: not every key tells


def test_the_sheet_tells_who_looked(by_eye: Judged) -> None:
    sheet = by_eye.junit.with_name("sheet.html").read_text(encoding="utf-8")
    assert "Witness: a person’s eye, power" in sheet
    assert "Witness: camera" not in sheet
    assert "Control: they say after each leg that they saw all of it. Good throughout" in sheet
    assert "A person looked at the lamp, and named its looks." in sheet


def test_what_rests_on_no_lamp_is_judged_as_before(by_camera: Judged, by_eye: Judged) -> None:
    for check, outcome in by_camera.outcomes.items():
        now = by_eye.outcomes[check]
        if now.verdict != outcome.verdict:
            assert now.verdict == "unjudged", (check, now)
            assert "lamp" in now.reason or "eye" in now.reason, (check, now)


def test_what_they_saw_otherwise_fails_and_what_they_did_not_see_is_open(good_run: Path, tmp_path: Path) -> None:
    run = copy_run(good_run, tmp_path / "run")
    put_person_in_place(run, never_connected, unsure=LOOKED_AWAY)
    judged = judge(run, run / "judged")
    failed = judged.outcomes[AFTER_CUT]
    assert (failed.verdict, "by a person’s eye" in failed.reason) == ("fail", True)
    unsure = judged.outcomes[ORDERS[LOOKED_AWAY]]
    assert (unsure.verdict, "did not see all of it" in unsure.reason) == ("unjudged", True)
    assert judged.code == 1
