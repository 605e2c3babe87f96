"""A run killed or interrupted, at moments told by its own timeline: what it leaves running, and what it leaves to read."""

import json
import signal
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.by_day import of_the_day
from support.live_run import Line, LiveRun, lines_of
from support.runs import hil

GONE_S = 5.0
ORDERLY_END_S = 5.0  # what the brief of this project allows an interrupted run
Wait = Callable[[LiveRun], object]
Start = Callable[..., LiveRun]

# Each moment of a run at which it is killed, and how it is waited for; in the order of the run.
MOMENTS: dict[str, Wait] = {
    "starting": LiveRun.wait_folder,
    "flashing": lambda run: run.wait_moment("console", "closed"),
    "the probe in the hotspot": lambda run: run.wait_moment("probe", "joined"),
    "saving the form": lambda run: run.wait_moment("ledger", "asked", asked_by="form"),
    "the supply cut": lambda run: run.wait_moment("leg", "begins", name="power_cut"),
}


@pytest.fixture
def start_run(tmp_path: Path) -> Iterator[Start]:
    """Start a run; whatever it left is ended with the test."""
    runs: list[LiveRun] = []

    def start(*arguments: str) -> LiveRun:
        runs.append(LiveRun(tmp_path, *arguments))
        return runs[-1]

    yield start
    for run in runs:
        run.close()


def judged_again(folder: Path) -> None:
    """A record that was cut short is readable, and never a pass."""
    again = hil("judge", str(folder), cwd=folder.parent)
    assert again.code in (1, 3), again.out + again.err
    assert "Traceback" not in again.out + again.err
    assert "cut short" in again.out
    assert (folder / "judged" / "sheet.html").exists()


@pytest.mark.parametrize("moment", of_the_day(list(MOMENTS)))
def test_killed_run_leaves_no_process_and_a_readable_record(start_run: Start, moment: str) -> None:
    run = start_run()
    MOMENTS[moment](run)
    run.process.send_signal(signal.SIGKILL)  # the runner alone: it can tell nobody
    ended = run.end()
    assert ended.code == -signal.SIGKILL
    assert run.wait_gone(GONE_S) == []
    judged_again(ended.folder)


LAST_MOMENTS: dict[str, Wait] = {
    "the supply switched off": lambda run: run.wait_moment("power", "off", asked_by="end of the run"),
    "a part of the outputs written": lambda run: run.wait_file("junit.xml"),
}


@pytest.mark.parametrize("moment", LAST_MOMENTS)
def test_killed_while_writing_the_sheet_is_no_pass_though_every_leg_was_driven(start_run: Start, moment: str) -> None:
    run = start_run("-k", "test_build_given_is_in_the_unit")
    LAST_MOMENTS[moment](run)
    run.process.send_signal(signal.SIGKILL)
    folder = run.end().folder
    assert run.wait_gone(GONE_S) == []
    again = hil("judge", str(folder), "-k", "test_build_given_is_in_the_unit", cwd=folder.parent)
    assert again.code == 3, again.out + again.err
    assert "1 pass" in again.out  # the check itself could be judged
    assert "cut short" in again.out


@pytest.mark.parametrize(
    ("number", "moment"), [(signal.SIGINT, "the probe in the hotspot"), (signal.SIGTERM, "flashing")]
)
def test_interrupted_run_ends_in_order(start_run: Start, number: signal.Signals, moment: str) -> None:
    run = start_run()
    MOMENTS[moment](run)
    run.signal_group(number)  # as a terminal does: to all that are in the runner's group
    ended = run.end(ORDERLY_END_S)
    assert ended.code == 130, ended.out + ended.err
    assert run.wait_gone(0.0) == []
    assert "interrupted; what was recorded is kept" in ended.out + ended.err
    assert "safe to unplug" in ended.out
    assert "Traceback" not in ended.out + ended.err
    assert booked_off(ended.folder)
    assert "This run did not come to its end" in (ended.folder / "sheet.html").read_text(encoding="utf-8")
    assert json.loads((ended.folder / "run.json").read_text(encoding="utf-8"))["complete"] is False
    judged_again(ended.folder)


def booked_off(folder: Path) -> bool:
    """Whether the last switching booked is off, and the world's own truth says the same of the supply."""
    booked: list[Line] = [m for m in lines_of(folder / "timeline.jsonl") if m["source"] == "power"]
    truth = [json.loads(line) for line in (folder / "virtual" / "truth.jsonl").read_text().splitlines()]
    supply = [line["on"] for line in truth if line["what"] == "power"]
    return [m["kind"] for m in booked if m["kind"] in ("on", "off")][-1] == "off" and supply[-1] is False
