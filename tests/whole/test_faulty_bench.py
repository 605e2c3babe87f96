"""An instrument that dies in a live run, a unit that is dead before awake witnesses, and a build that is not the one given.

What must come of it is the design's: a broken bench never passes a unit, a dead unit is never excused as a broken bench,
and what does not need the dead witness still has its verdict.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pytest
from support.bench_file import BENCH
from support.by_day import of_the_day, on_day
from support.faults import fault_environment
from support.firmware import write_build
from support.runs import TRIES, Ended, accept, hil, undisturbed
from support.verdicts import Outcomes, read_outcomes

from hil.core.aim_file import AimFile
from hil.core.kept_file import write_kept
from hil.core.run_folder import RunFolder
from hil.virtual.build import make_build
from hil.virtual.scene.picture import Picture, shifted

FIRST_START = "test_start"
FORM = "test_start or test_form.py"


def names(outcomes: Outcomes, verdict: str) -> set[str]:
    """The checks that came to a verdict, by the names of their functions."""
    return {name.rpartition("::")[2] for name, outcome in outcomes.items() if outcome.verdict == verdict}


@dataclass(frozen=True)
class Fault:
    """What dies when, in a run of which checks; which checks need it, and what their reasons must name."""

    fault: str
    when: str
    select: str
    unjudged: frozenset[str]
    names: tuple[str, ...]


def fault(fault: str, when: str, select: str, unjudged: Sequence[str], *names: str) -> Fault:
    return Fault(fault, when, select, frozenset(unjudged), names)


LAMP_OF_FIRST_START = ("test_lamp_lights_in_time_on_first_start", "test_lamp_order_on_first_start")
AIR_OF_FIRST_START = ("test_first_hotspot_in_time", "test_hotspot_name", "test_hotspot_security")
PAGE_OF_FIRST_START = ("test_form_as_shipped", "test_first_octet_in_time")
PROBE_OF_FIRST_START = ("test_hotspot_lets_the_label_key_in", "test_hotspot_lease_in_time")
CONSOLE_OF_FIRST_START = ("test_no_crash_on_first_start", "test_no_unasked_reset_on_first_start")
WHAT_NEEDS_THE_ACCESS_POINT = (
    "test_connected_in_time",
    "test_stays_connected",
    "test_hotspot_gone_when_connected",
    "test_lamp_order_into_connected",
    "test_status_page_tells_the_address",
    "test_status_page_tells_the_version",
    "test_status_page_is_true",
    "test_running_time_agrees",
)
BEGINS = "leg begins first_start"

FAULTS = (
    fault("camera unplugged", "leg begins form_saved", FORM, ("test_lamp_order_into_connected",), "camera"),
    fault("camera frozen", BEGINS, FIRST_START, LAMP_OF_FIRST_START, "camera"),
    fault("camera covered", BEGINS, FIRST_START, LAMP_OF_FIRST_START, "camera"),
    # By six pixels: both lamps still are in their regions of 40 and 24, and the bench's is seen to change all the while.
    fault("camera bumped", BEGINS, FIRST_START, LAMP_OF_FIRST_START, "moved by 6 pixels"),
    fault("air monitor deaf", BEGINS, FIRST_START, AIR_OF_FIRST_START, "air monitor"),
    fault("access point dead", "leg begins form_saved", FORM, WHAT_NEEDS_THE_ACCESS_POINT, "access point"),
    fault(
        "probe dead",
        BEGINS,
        FIRST_START,
        (
            *PROBE_OF_FIRST_START,
            *PAGE_OF_FIRST_START,
            "test_lamp_order_on_first_start",
        ),  # no time left to see a lamp steady
        "probe",
    ),
    fault("probe dead", "leg asks for a page", FIRST_START, PAGE_OF_FIRST_START, "pages", "probe"),
    fault("console unplugged", BEGINS, FIRST_START, CONSOLE_OF_FIRST_START, "console"),
)


def driven(fault: Fault, folder: Path) -> Ended:
    """A run with the fault."""
    folder.mkdir()
    environment = fault_environment(fault.fault, fault.when)
    return hil("accept", "-k", fault.select, cwd=folder, environment=environment)


def another_slept(fault: Fault, outcomes: Outcomes) -> bool:
    """Whether a witness slept that nobody put to sleep, as on a host too busy for the bench: nothing is told by that run."""
    reasons = [outcome.reason for outcome in outcomes.values() if outcome.verdict == "unjudged"]
    return any("asleep" in reason and not any(name in reason for name in fault.names) for reason in reasons)


@pytest.mark.parametrize("fault", of_the_day(FAULTS), ids=lambda f: f"{f.fault} at {f.when}")
def test_a_dead_instrument_leaves_unjudged_what_needs_it(tmp_path: Path, fault: Fault) -> None:
    for number in range(1, TRIES + 1):
        ended = driven(fault, tmp_path / f"try-{number}")
        outcomes = judged(ended, 3)
        if not another_slept(fault, outcomes):
            break
    assert names(outcomes, "unjudged") == fault.unjudged
    assert names(outcomes, "pass") == {name.rpartition("::")[2] for name in outcomes} - fault.unjudged
    for name, outcome in outcomes.items():
        assert outcome.verdict == "pass" or any(n in outcome.reason for n in fault.names), (name, outcome.reason)
    assert "safe to unplug" in ended.out


def test_a_camera_that_stalls_for_a_moment_is_opened_again_and_tells_what_comes_after(tmp_path: Path) -> None:
    ended = accept("-k", FORM, cwd=tmp_path, environment=fault_environment("camera stalls", "leg begins build_flashed"))
    assert ended.code == 0, ended.out + ended.err
    told = [moment.kind for moment in RunFolder(ended.folder).read_moments() if moment.source == "camera"]
    assert [kind for kind in told if kind in ("started", "stalled")] == ["started", "stalled", "started"]


@on_day(1)
def test_a_camera_that_was_moved_since_it_was_aimed_leaves_its_lamp_unjudged_and_says_to_aim_anew(
    tmp_path: Path,
) -> None:
    """The other way round: the run's scene stays, and what aim kept is as of a camera that looked elsewhere by six pixels."""
    bench = 'name = "b"\nkind = "virtual"\n[virtual]\nseed = 7\n'
    (tmp_path / "bench.toml").write_text(bench, encoding="utf-8")
    aimed = hil("bench", "aim", "--bench", "bench.toml", cwd=tmp_path)
    assert aimed.code == 0, aimed.out + aimed.err
    file, dark = tmp_path / "bench.aim.json", tmp_path / "bench.aim.dark.png"
    told = json.loads(file.read_text(encoding="utf-8"))
    for name in ("unit_region", "bench_region"):
        x, y, width, height = told[name]
        told[name] = [x + 5, y - 3, width, height]
    file.write_text(json.dumps(told), encoding="utf-8")
    picture = cv2.imread(str(dark))
    assert picture is not None
    cv2.imwrite(str(dark), shifted(picture.astype(np.uint8), (5.0, -3.0)))
    outcomes = judged(hil("accept", "-k", FIRST_START, "--bench", "bench.toml", cwd=tmp_path), 3)
    assert names(outcomes, "unjudged") >= set(LAMP_OF_FIRST_START)
    assert names(outcomes, "fail") == set()
    for name in LAMP_OF_FIRST_START:
        (reason,) = (outcome.reason for key, outcome in outcomes.items() if key.endswith(f"::{name}"))
        assert "moved by 6 pixels since it was aimed: aim it anew (hil bench aim)" in reason


@pytest.mark.parametrize(
    ("fault", "verdict", "code"),
    [
        pytest.param("", "pass", 0, marks=on_day(0)),
        pytest.param("camera bumped", "unjudged", 3, marks=on_day(1)),
    ],
)
def test_a_camera_aimed_by_a_short_exposure_reads_the_lamp_and_knows_its_place(
    tmp_path: Path, fault: str, verdict: str, code: int
) -> None:
    """By a millisecond the table is too dark to tell a place by, but that aiming found it to be the same with the lamp lit."""
    table = Picture(7, exposure_s=0.001)
    aimed = AimFile(
        camera="the scene's",
        picture=(640, 480),
        unit_region=table.regions["unit"],
        bench_region=table.regions["bench"],
        dark_picture="dark.png",
        dim_light=True,
        settings={"exposure": 10},
    )
    write_kept(aimed, tmp_path / "bench.aim.json")
    cv2.imwrite(str(tmp_path / "dark.png"), table.render((0.0, 0.0, 0.0), (0.0, 0.0, 0.0), 1))
    bench = tmp_path / "bench.toml"
    bench.write_text(BENCH, encoding="utf-8")
    options = ("-k", FIRST_START, "--bench", str(bench))
    if fault:
        ended = hil("accept", *options, cwd=tmp_path, environment=fault_environment(fault, BEGINS))
    else:
        ended = accept(*options, cwd=tmp_path)
    outcomes = judged(ended, code)
    assert names(outcomes, verdict) >= set(LAMP_OF_FIRST_START)
    for name in LAMP_OF_FIRST_START if fault else ():
        (reason,) = (outcome.reason for key, outcome in outcomes.items() if key.endswith(f"::{name}"))
        assert "moved by 6 pixels" in reason


def test_a_supply_that_cannot_be_switched_any_more_breaks_the_bench_and_is_said(tmp_path: Path) -> None:
    ended = hil("accept", "-k", FIRST_START, cwd=tmp_path, environment=fault_environment("power switch gone", BEGINS))
    outcomes = judged(ended, 3)
    assert names(outcomes, "pass") == {"test_build_given_is_in_the_unit"}
    assert all("power" in outcome.reason for outcome in outcomes.values() if outcome.verdict != "pass")
    assert "could NOT be switched off" in ended.out
    assert "safe to unplug" not in ended.out


NOT_FROM_A_DEAD_UNIT = {*LAMP_OF_FIRST_START, *AIR_OF_FIRST_START, *PROBE_OF_FIRST_START, *PAGE_OF_FIRST_START}


@on_day(0)
def test_a_unit_that_spins_at_its_start_fails_before_an_awake_bench(tmp_path: Path) -> None:
    build = write_build(tmp_path / "build", {"main.py": {"lamp_code.switch_on()": "while True:\n    pass"}})
    outcomes = judged(undisturbed("-k", FIRST_START, "--build", str(build), cwd=tmp_path), 1)
    assert names(outcomes, "fail") == NOT_FROM_A_DEAD_UNIT


def test_a_unit_without_firmware_fails_before_an_awake_bench(tmp_path: Path) -> None:
    """Flash full of ones, as after an erase, where the image should be: the chip's own loader finds none, and resets."""
    build = make_build(tmp_path / "build")
    next(build.parent.glob("*.img")).write_bytes(b"\xff" * 4096)
    outcomes = judged(undisturbed("-k", FIRST_START, "--build", str(build), cwd=tmp_path), 1)
    assert names(outcomes, "fail") == {*NOT_FROM_A_DEAD_UNIT, *CONSOLE_OF_FIRST_START}


def test_another_version_put_on_behind_the_run_is_noticed_twice(tmp_path: Path) -> None:
    other = make_build(tmp_path / "other", version="1.3.9")
    environment = fault_environment("other build", "stage confirmed off (erased)", other)
    selected = "test_build_that_ran or test_build_given or test_status_page_tells_the_version"
    # A leg taken anew would have no fault.
    outcomes = judged(undisturbed("-k", selected, cwd=tmp_path, environment=environment), 1)
    assert names(outcomes, "fail") == {
        "test_status_page_tells_the_version",
        "test_build_that_ran_is_the_build_given",
    }


def test_a_build_with_other_bytes_and_the_same_version_is_noticed(tmp_path: Path) -> None:
    other = write_build(tmp_path / "other", {"main.py": {"The program of the": "the program of the"}})
    environment = fault_environment("other build", "stage confirmed off (erased)", other)
    selected = "test_build_that_ran or test_build_given"
    outcomes = judged(undisturbed("-k", selected, cwd=tmp_path, environment=environment), 1)
    assert names(outcomes, "fail") == {"test_build_that_ran_is_the_build_given"}


def judged(ended: Ended, code: int) -> Outcomes:
    """The outcomes of a run that had to end so."""
    assert ended.code == code, ended.out + ended.err
    assert "Traceback" not in ended.out + ended.err
    return read_outcomes(ended.folder / "junit.xml")
