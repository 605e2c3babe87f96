"""The second product on the bench: it passes by its own product file alone, and its known-bad units are caught.

Nothing in `hil` was made for it: what the first product happens to have (a console that speaks, a key on its hotspot, a form
when connected) must neither be needed nor be taken for granted. The whole release run and all its units: `ci/measure second`.
"""

import os
import time
from pathlib import Path

import pytest
from support.alterations import ALTERATIONS, copy_run
from support.rain_sensor import accept, challenge, known_bad
from support.verdicts import Outcomes, judge, read_outcomes, verdicts_of

DAY = "HIL_CHALLENGE_DAY"  # HIL_CHALLENGE_DAY=20782 ci/test tests/second_product drives that day's unit again
NOT_PROMISED = {
    "test_start.py::test_no_crash_on_first_start": "its console is silent",
    "test_form.py::test_no_crash_while_saving": "its console is silent",
    "test_power_cut.py::test_settings_outlive_the_cut": "it shows no settings when connected",
    "test_power_cut.py::test_settings_page_wants_its_key": "it shows no settings when connected",
}
BY_ITS_LAMP = (
    "test_start.py::test_no_unasked_reset_on_first_start",
    "test_form.py::test_one_restart_after_saving",
    "test_absent_network.py::test_no_crash_nor_unasked_reset",
    "test_power_cut.py::test_no_crash_nor_unasked_reset_after_cut",
)
ON_ITS_CONSOLE = (
    "test_form.py::test_no_secret_leaks_while_saving",
    "test_absent_network.py::test_no_secret_leaks_in_setup",
    "test_power_cut.py::test_no_secret_leaks_after_cut",
)


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One run of the quick profile; never change it, copy it."""
    ended = accept(tmp_path_factory.mktemp("second"))
    assert ended.code == 0, f"the good sensor did not pass:\n{ended.out}{ended.err}"
    return ended.folder


@pytest.fixture(scope="module")
def outcomes(run: Path) -> Outcomes:
    """What each check came to."""
    return read_outcomes(run / "junit.xml")


def test_every_check_passes_but_for_what_is_not_promised(outcomes: Outcomes) -> None:
    verdicts = verdicts_of(outcomes)
    assert len(verdicts) > 40
    assert {name for name, verdict in verdicts.items() if verdict == "not applicable"} == set(NOT_PROMISED)
    assert set(verdicts.values()) == {"pass", "not applicable"}


@pytest.mark.parametrize("alteration", ALTERATIONS)
@pytest.mark.parametrize(("witness", "checks"), [("camera", BY_ITS_LAMP), ("console", ON_ITS_CONSOLE)])
def test_a_silent_unit_is_not_judged_without_the_witness_in_the_console_s_place(
    alteration: str, witness: str, checks: tuple[str, ...], run: Path, tmp_path: Path
) -> None:
    """Its starts are told by its lamp; that it tells no secret needs its console's port, though it says nothing there."""
    altered = copy_run(run, tmp_path / "altered")
    ALTERATIONS[alteration](altered, witness)
    judged = judge(altered, tmp_path / "judged")
    for check in checks:
        outcome = judged.outcomes[check]
        assert (outcome.verdict, witness in outcome.reason) == ("unjudged", True), f"{check}: {outcome}"
    assert "fail" not in judged.verdicts.values()


def test_a_silent_console_counts_for_nothing_where_its_wire_was_never_heard(run: Path, tmp_path: Path) -> None:
    altered = copy_run(run, tmp_path / "altered")
    ALTERATIONS["drop"](altered, "flasher")
    judged = judge(altered, tmp_path / "judged")
    for check in ON_ITS_CONSOLE:
        assert (judged.outcomes[check].verdict, "console asleep" in judged.outcomes[check].reason) == ("unjudged", True)


def test_the_known_bad_unit_of_the_day_is_caught_with_exactly_its_signature(tmp_path: Path) -> None:
    """Each day another, briefly: day number of `DAY`, else days since 1 January 1970, over the units, remainder."""
    day, names = int(os.environ.get(DAY) or time.time() // 86400), known_bad()
    name = names[day % len(names)]
    ended = challenge(tmp_path, [name], "--brief")
    assert ended.code == 0, f"{DAY}={day}: {name}\n{ended.out}{ended.err}"
    assert "1 of 1 known-bad units caught, 1 exactly" in ended.out
