"""What a run says of its own camera, as it stands on the sheet."""

from support.records import make, moment

from hil.core.moments import Moment
from hil.drive.self_checks import measured_camera, whole_run


def told_of(*moments: Moment) -> str:
    return measured_camera(whole_run(make(moments).record))


def test_how_a_device_was_set_and_what_times_its_frames_is_told() -> None:
    settings = moment(0.1, "camera", "settings", exposure="locked at 156", focus="cannot be locked")
    started = moment(0.2, "camera", "started", width=640, height=480, timed_by="the kernel's stamps")
    told = told_of(settings, started)
    assert told.endswith(
        "frames timed by the kernel's stamps, delay not told; exposure locked at 156; cannot be locked: focus"
    )


def test_of_a_camera_that_nobody_here_can_set_nothing_is_told() -> None:
    assert told_of(moment(0.2, "camera", "started", width=640, height=480, timed_by="their arrival")).endswith(
        "delay not told"
    )


def test_that_nobody_knows_whether_it_was_moved_is_told() -> None:
    told = told_of(moment(3.0, "camera", "aim unknown", why="the picture is too dark"))
    assert told.endswith("; whether it was moved since it was aimed cannot be told: the picture is too dark")
