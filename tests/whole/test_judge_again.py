"""A recorded run is evidence by itself: judged anywhere, without a bench, under its own product file or another one."""

import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from support.alterations import copy_run, say, tighten
from support.runs import hil
from support.verdicts import judge, read_outcomes, verdicts_of

from hil.core.run_folder import RunFolder

HOTSPOT_CHECK = "test_start.py::test_first_hotspot_in_time"
TIGHT_S = 2.0
NO_BENCH = '''
"""Whoever opens a socket, a serial port or a camera fails: a stored run is judged without any."""

import socket
import cv2, serial

class Refused(socket.socket):
    def __init__(self, family=-1, *args, **kwargs):
        if family != socket.AF_NETLINK:  # scapy asks the kernel for its interfaces as it is imported; no wire there
            raise AssertionError("a socket was opened")
        super().__init__(family, *args, **kwargs)

def refuse(what):
    def refused(*args, **kwargs):
        raise AssertionError(f"{what} was opened")
    return refused

socket.socket = Refused
serial.serial_for_url = serial.Serial.open = refuse("a serial port")
cv2.VideoCapture = refuse("a camera")
'''
TRY_EACH = """
import socket, cv2, serial
for use in (socket.socket, lambda: socket.create_connection(("127.0.0.1", 9)),
            lambda: serial.serial_for_url("loop://"), lambda: serial.Serial("/dev/ttyS0"), lambda: cv2.VideoCapture(0)):
    try:
        use()
    except AssertionError:
        print("refused")
"""


@pytest.fixture(scope="module")
def no_bench(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """An environment in which no instrument can be opened."""
    folder = tmp_path_factory.mktemp("no bench")
    (folder / "sitecustomize.py").write_text(NO_BENCH, encoding="utf-8")
    return {"PYTHONPATH": str(folder)}


def test_the_block_blocks(no_bench: dict[str, str]) -> None:
    """The control: in that environment each of them is refused."""
    command = [sys.executable, "-W", "ignore", "-c", TRY_EACH]
    done = subprocess.run(
        command, env={**os.environ, **no_bench}, capture_output=True, text=True, timeout=60.0, check=False
    )
    assert done.stdout.split() == ["refused"] * 5, done.stderr


def test_elsewhere_and_without_a_bench(quick_run: Path, no_bench: dict[str, str], tmp_path: Path) -> None:
    """Moved to another folder it has the verdicts it had live, and stays as it was, to the last octet."""
    first = copy_run(quick_run, tmp_path / "first")
    moved = Path(shutil.move(first, tmp_path / "moved" / "far"))
    before = sums(moved)
    judged = judge(moved, tmp_path / "judged", environment=no_bench)
    assert judged.verdicts == verdicts_of(read_outcomes(quick_run / "junit.xml"))
    assert judged.code == 0
    assert sums(moved) == before


def sums(folder: Path) -> dict[str, str]:
    """SHA-256 of each file of a folder."""
    files = (file for file in folder.rglob("*") if file.is_file())
    return {str(file.relative_to(folder)): hashlib.sha256(file.read_bytes()).hexdigest() for file in files}


def test_a_tighter_limit_fails_with_the_reading(quick_run: Path, tmp_path: Path) -> None:
    """Another product file: the reading that was good live is shown against the limit it now breaks, and nothing else fails."""
    run = copy_run(quick_run, tmp_path / "run")
    tighten(run, "first_hotspot_s", TIGHT_S)
    product = Path(shutil.move(run / "product.toml", tmp_path / "other.toml"))
    shutil.copyfile(quick_run / "product.toml", run / "product.toml")
    judged = judge(run, tmp_path / "judged", "--product", str(product))
    assert judged.code == 1
    assert [name for name, verdict in judged.verdicts.items() if verdict != "pass"] == [HOTSPOT_CHECK]
    assert judged.verdicts[HOTSPOT_CHECK] == "fail"
    reason = judged.outcomes[HOTSPOT_CHECK].reason
    shown = re.search(r"([\d.]+) ± [\d.]+ s", reason)
    assert shown is not None, reason
    low_s, high_s = live_reading(quick_run, HOTSPOT_CHECK)
    assert float(shown[1]) == pytest.approx((low_s + high_s) / 2.0, abs=0.01)
    assert f"≤ {TIGHT_S:g} s" in reason
    assert shown[0] in (tmp_path / "judged" / "sheet.html").read_text(encoding="utf-8")


def live_reading(run: Path, check: str) -> tuple[float, float]:
    """The ends of the one reading of a check, as booked while the run was driven."""
    booked = next(m for m in RunFolder(run).read_moments() if m.source == "verdict" and m.text("check") == check)
    (reading,) = json.loads(json.dumps(booked.data["readings"]))
    return reading["low"], reading["high"]


WRONG_PRODUCTS: dict[str, tuple[Callable[[str], str] | None, str]] = {
    "missing": (None, "other.toml"),
    "not TOML": (lambda text: text + "\n= 3\n", "other.toml"),
    "unknown key": (lambda text: text.replace("[hotspot]\n", '[hotspot]\nnmae = "x"\n'), "nmae"),
    "limit below 0": (
        lambda text: re.sub(r"hotspot_up_s = \{ upper = [\d.]+", "hotspot_up_s = { upper = -1", text),
        "-1",
    ),
}


@pytest.mark.parametrize("wrong", WRONG_PRODUCTS)
def test_a_wrong_product_file_is_wrong_input(wrong: str, quick_run: Path, tmp_path: Path) -> None:
    """It is refused by name of the file and of what is wrong in it, and nothing is judged."""
    change, named = WRONG_PRODUCTS[wrong]
    product, text = tmp_path / "other.toml", (quick_run / "product.toml").read_text(encoding="utf-8")
    if change is not None:
        assert change(text) != text
        product.write_text(change(text), encoding="utf-8")
    judged = judge(quick_run, tmp_path / "judged", "--product", str(product))
    assert judged.code == 2
    assert "other.toml" in judged.said
    assert named in judged.said
    assert not judged.junit.exists()


def test_its_own_product_file_gone_wrong(quick_run: Path, tmp_path: Path) -> None:
    """The same for the run's own."""
    run = copy_run(quick_run, tmp_path / "run")
    (run / "product.toml").write_text("name = 3", encoding="utf-8")
    judged = judge(run, tmp_path / "judged")
    assert (judged.code, judged.outcomes) == (2, {})
    assert str(run / "product.toml") in judged.said


NO_RUNS: dict[str, str | None] = {
    "an empty folder": None,
    "no JSON": "{",
    "half a record": '{"sheet_number": "1", "legs": [{"name": "first_start"}]}',
}


@pytest.mark.parametrize("kind", NO_RUNS)
def test_no_run_is_wrong_input(kind: str, tmp_path: Path) -> None:
    """A folder that holds no run is refused by name."""
    text, folder = NO_RUNS[kind], tmp_path / "folder"
    folder.mkdir()
    if text is not None:
        (folder / "run.json").write_text(text, encoding="utf-8")
    assert_no_run(folder, tmp_path)


def test_nothing_there_is_wrong_input(quick_run: Path, tmp_path: Path) -> None:
    """Nor is a file a run, nor what is not there."""
    assert_no_run(tmp_path / "nowhere", tmp_path)
    assert_no_run(quick_run / "run.json", tmp_path)


def assert_no_run(path: Path, tmp_path: Path) -> None:
    """Judging it is wrong input, and says which."""
    ended = hil("judge", str(path), "--into", str(tmp_path / "judged"), cwd=tmp_path)
    assert ended.code == 2, ended.out + ended.err
    assert str(path) in ended.out + ended.err
    assert "Traceback" not in ended.out + ended.err


def test_a_torn_last_line(quick_run: Path, tmp_path: Path) -> None:
    """A timeline, a table of frames and a crop that end in the middle are read up to there."""
    run = copy_run(quick_run, tmp_path / "run")
    for name in ("timeline.jsonl", "lamp/frames.csv", "lamp/unit.raw"):
        whole = (run / name).read_bytes()
        (run / name).write_bytes(whole[:-9])
    judged = judge(run, tmp_path / "judged")
    assert (judged.code, set(judged.verdicts.values())) == (0, {"pass"})


def test_half_a_timeline(quick_run: Path, tmp_path: Path) -> None:
    """Half of the evidence is gone: what it held passes, the rest is unjudged, and the unit is blamed for nothing."""
    run = copy_run(quick_run, tmp_path / "run")
    whole = (run / "timeline.jsonl").read_bytes()
    (run / "timeline.jsonl").write_bytes(whole[: len(whole) // 2])
    judged = judge(run, tmp_path / "judged")
    assert (judged.code, set(judged.verdicts.values())) == (3, {"pass", "unjudged"})


def test_a_page_that_was_changed(quick_run: Path, tmp_path: Path) -> None:
    """A body that is not the one recorded proves nothing, for or against the unit."""
    run = copy_run(quick_run, tmp_path / "run")
    for body in (run / "pages").glob("*form-as-shipped*"):
        body.write_bytes(body.read_bytes() + b" ")
    judged = judge(run, tmp_path / "judged")
    assert (judged.code, set(judged.verdicts.values())) == (3, {"pass", "unjudged"})
    open_ones = [outcome.reason for outcome in judged.outcomes.values() if outcome.verdict == "unjudged"]
    assert open_ones
    assert all("pages: the answer to 'form as shipped' is not what was recorded" in reason for reason in open_ones)


def cut_record(run: Path, legs: int) -> None:
    """Make of a run's record that of one that was killed after so many legs."""
    folder = RunFolder(run)
    info = folder.read_info()
    info.complete, info.ended, info.legs = False, "", info.legs[:legs]
    folder.write_info(info)


@pytest.mark.parametrize("legs", [99, 3, 0])
def test_a_killed_run_never_passes(legs: int, quick_run: Path, tmp_path: Path) -> None:
    """Killed after its last leg, in the middle or before the first: nothing that is lacking is held against the unit."""
    run = copy_run(quick_run, tmp_path / "run")
    cut_record(run, legs)
    judged = judge(run, tmp_path / "judged")
    assert judged.code == 3
    legs_driven = RunFolder(run).read_info().legs
    driven = {f"{leg.name}[{leg.parameter}]" if leg.parameter else leg.name for leg in legs_driven}
    expected = {name: "pass" if o.leg in driven else "unjudged" for name, o in judged.outcomes.items()}
    assert judged.verdicts == expected
    assert 'name="verdict" value="unjudged"' in judged.junit.read_text(encoding="utf-8")


def test_a_killed_run_that_had_failed_fails(quick_run: Path, tmp_path: Path) -> None:
    """What it had found before it was killed counts."""
    run = copy_run(quick_run, tmp_path / "run")
    cut_record(run, 3)
    say(run, "form_saved", "Guru Meditation Error: Core 0 panic'ed")
    judged = judge(run, tmp_path / "judged")
    assert judged.code == 1
    assert judged.verdicts["test_form.py::test_no_crash_while_saving"] == "fail"
