"""Wrong input and a bench that is not there, through the command: one clear message, the right exit code, nothing left behind."""

import os
import subprocess
import sys
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import pytest
import serial
from support.faults import fault_environment
from support.live_run import LiveRun
from support.runs import Ended, accept, hil
from support.verdicts import read_outcomes

from hil.core.run_folder import RunFolder
from hil.virtual import DEMO_BENCH, DEMO_PRODUCT

PRODUCT, BENCH = DEMO_PRODUCT.read_text(encoding="utf-8"), DEMO_BENCH.read_text(encoding="utf-8")
BUILD = 'version = "1"\n[[images]]\nfile = "gone.img"\noffset = 4096\n'
WORKERS = 2
LIMIT_S = 240.0


def changed(text: str, old: str, new: str) -> bytes:
    assert text.count(old) == 1, f"{old!r} stands there {text.count(old)} times"
    return text.replace(old, new).encode()


@dataclass(frozen=True)
class Case:
    """A file to write, the command's arguments, and what must come of it: the exit code and words of the message."""

    arguments: str
    code: int
    says: tuple[str, ...]
    files: Mapping[str, bytes] = field(default_factory=dict)


def product(content: bytes, *says: str) -> Case:
    return Case("accept --product p.toml", 2, ("p.toml", *says), {"p.toml": content})


def bench(content: bytes, *says: str, code: int = 2) -> Case:
    return Case("accept --bench b.toml", code, says, {"b.toml": content})


def build(content: bytes, *says: str) -> Case:
    return Case("accept --build f", 2, says, {"f/build.toml": content})


CASES: dict[str, Case] = {
    "product file missing": Case(
        "accept --product nowhere.toml", 2, ("nowhere.toml", "no such product file", "Give the path")
    ),
    "product file is a folder": Case("accept --product .", 2, (".:", "cannot be read", "Check the path")),
    "product file not TOML": product(b"name = [", "not TOML", "Mend the line"),
    "product file not text": product(b"\xff\xfe", "cannot be read", "0xff"),
    "product file with a misspelt key": product(
        changed(PRODUCT, 'model = "MV-2"', 'modell = "MV-2"'), "modell: unknown key", "use one of", "model"
    ),
    "product file with a misspelt key deep down": product(
        changed(PRODUCT, "restart_s = { upper", "restart_s = { uper"),
        "limits.restart_s.uper: unknown key",
        "lower, upper",
    ),
    "product file with a wrong type": product(
        changed(PRODUCT, 'name = "Mossgate MV-2"', "name = 7"), "name = 7", "should be a valid string", "Correct it"
    ),
    "product file with a limit upside down": product(
        changed(PRODUCT, "lower = 22.5", "lower = 99.0"), "limits.gives_up_s", "lower must be below upper"
    ),
    "bench file missing": Case("accept --bench nowhere.toml", 2, ("nowhere.toml", "no such bench file")),
    "bench file not TOML": bench(b"name = 'virtual", "b.toml", "not TOML"),
    "bench file with a misspelt key": bench(
        changed(BENCH, "speed =", "spede ="), "b.toml", "virtual.spede: unknown key", "speed"
    ),
    "bench file with a wrong type": bench(
        changed(BENCH, "speed = 4.0", 'speed = "fast"'), "b.toml", "virtual.speed = 'fast'"
    ),
    "bench file with an unknown kind": bench(
        changed(BENCH, 'kind = "virtual"', 'kind = "dream"'), "kind = 'dream'", "virtual"
    ),
    "build file missing": Case("accept --build nowhere", 2, ("nowhere", "no such build file")),
    "previous build file missing": Case("accept --previous nowhere", 2, ("nowhere", "no such build file")),
    "build file not TOML": build(b"version", "f/build.toml", "not TOML"),
    "build file with a misspelt key": build(
        BUILD.replace("offset", "ofset").encode(), "f/build.toml", "ofset: unknown key"
    ),
    "build file with a wrong type": build(
        BUILD.replace("4096", '"here"').encode(), "images.0.offset = 'here'", "integer"
    ),
    "image missing": build(BUILD.encode(), "f/gone.img", "cannot be read", "Build it"),
    "speed too fast for the camera": Case("accept --speed 7", 2, ("virtual.speed = 7", "30 frames/s", "6.0 or less")),
    "speed below nothing": Case("accept --speed -1", 2, ("--speed", "-1", "above 0")),
    "another unit": Case("accept --unit MV2-00007", 2, ("--unit", "'MV2-00007' is not in the slot", "names none")),
    "no check of that name": Case("accept -k nobody", 2, ("-k", "no check has a name that matches")),
    "no expression": Case("accept -k (", 2, ("Wrong expression passed to '-k'",)),
    "reports in a file": Case(
        "accept --reports taken", 2, ("taken/", "cannot be made here", "--reports"), {"taken": b""}
    ),
    "no run to judge": Case("judge .", 2, ("run.json", "not the record of a run", "Name a folder")),
    "no such port": bench(
        f'{BENCH}\n[console]\nport = "/dev/ttyNONE7"\n'.encode(),
        "console.port = '/dev/ttyNONE7'",
        "no such port",
        "Correct",
    ),
    "a port that is none": bench(
        f'{BENCH}\n[console]\nport = "{os.devnull}"\n'.encode(),
        f"console.port = '{os.devnull}'",
        "no such port",
        "Correct",
    ),
    "a kind of port that is unknown": bench(
        f'{BENCH}\n[console]\nport = "tin-can://7"\n'.encode(), "console.port = 'tin-can://7'", "not a port"
    ),
    "region outside the picture": bench(
        f"{BENCH}\n[lamp_camera]\nunit_region = [600, 400, 100, 100]\n".encode(),
        "lamp_camera.unit_region = [600, 400, 100, 100]",
        "640 × 480",
        "inside",
    ),
    "no such camera": bench(
        f"{BENCH}\n[lamp_camera]\nsource = 99\n".encode(), "camera 99", "cannot be opened", "lamp_camera.source", code=3
    ),
    "camera not serving": bench(
        f'{BENCH}\n[lamp_camera]\nsource = "http://127.0.0.1:9/c"\n'.encode(), "127.0.0.1:9", "cannot be opened", code=3
    ),
}


@pytest.fixture(scope="module")
def all_ended(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Ended]:
    """Every case's end; they are run a few at a time, since each is a program of its own that starts up."""
    folders = [tmp_path_factory.mktemp("case", numbered=True) for _ in CASES]  # pytest makes them in one thread only

    def run(case: Case, folder: Path) -> Ended:
        for name, content in case.files.items():
            (folder / name).parent.mkdir(exist_ok=True)
            (folder / name).write_bytes(content)
        return hil(*case.arguments.split(), cwd=folder)

    with ThreadPoolExecutor(WORKERS) as pool:
        return dict(zip(CASES, pool.map(run, CASES.values(), folders), strict=True))


@pytest.mark.parametrize("name", CASES)
def test_wrong_input_is_told_in_one_message(all_ended: dict[str, Ended], name: str) -> None:
    ended, case = all_ended[name], CASES[name]
    said = ended.out + ended.err
    assert ended.code == case.code, said
    assert "Traceback" not in said
    assert "fault of hil" not in said
    for words in case.says:
        assert words in said, said
    assert not [entry for entry in ended.reports.glob("*") if ended.reports.is_dir()]  # nothing began: nothing is left


@pytest.fixture
def taken_port() -> Iterator[str]:
    """A pseudo-terminal that another program holds for itself."""
    ours, theirs = os.openpty()
    name = os.ttyname(theirs)
    with serial.Serial(name, exclusive=True):
        yield name
    os.close(ours)
    os.close(theirs)


def test_a_port_that_another_program_holds_is_a_busy_bench(tmp_path: Path, taken_port: str) -> None:
    (tmp_path / "b.toml").write_text(f'{BENCH}\n[console]\nport = "{taken_port}"\n', encoding="utf-8")
    ended = hil("accept", "--bench", "b.toml", cwd=tmp_path)
    assert ended.code == 3, ended.out + ended.err
    assert f"console {taken_port}" in ended.out + ended.err
    assert "Is another program (or run) using it?" in ended.out + ended.err
    assert "Traceback" not in ended.out + ended.err


def two_runs_on_one_console(folder: Path) -> tuple[Ended, Ended, str]:
    """How a run ended, and another that wanted its port meanwhile; and the port."""
    first, second = folder / "first", folder / "second"
    first.mkdir(parents=True)
    second.mkdir()
    run = LiveRun(first, "-k", "test_start or test_absent")  # long enough for the second to come to the port
    try:
        port = run.wait_moment("console", "opened")["port"]
        run.wait_moment("leg", "begins", name="first_start")
        (second / "b.toml").write_text(f'{BENCH}\n[console]\nport = "{port}"\n', encoding="utf-8")
        turned_away = hil("accept", "--bench", "b.toml", cwd=second)
        assert run.process.poll() is None, "the first run ended before the second could disturb it"
        return run.end(), turned_away, str(port)
    finally:
        run.close()


def test_a_second_run_on_the_same_bench_is_turned_away_and_does_the_first_no_harm(tmp_path: Path) -> None:
    done, turned_away, port = two_runs_on_one_console(tmp_path / "once")
    if done.code == 3:  # the host was too busy for a witness; harm would come each time
        done, turned_away, port = two_runs_on_one_console(tmp_path / "again")
    assert turned_away.code == 3, turned_away.out + turned_away.err
    assert f"console {port}: cannot be opened" in turned_away.out + turned_away.err
    assert "Is another program (or run) using it?" in turned_away.out + turned_away.err
    assert "Traceback" not in turned_away.out + turned_away.err
    assert done.code == 0, done.out + done.err
    assert {outcome.verdict for outcome in read_outcomes(done.folder / "junit.xml").values()} == {"pass"}


def test_a_full_disk_ends_the_run_unjudged_and_keeps_what_was_recorded(tmp_path: Path) -> None:
    full = fault_environment("disk full", "probe leased")
    ended = hil("accept", "-k", "test_start", cwd=tmp_path, environment=full)
    said = ended.out + ended.err
    assert ended.code == 3, said
    assert "the run folder takes no more" in said
    assert "safe to unplug" in said
    assert "Traceback" not in said
    kept = RunFolder(ended.folder).read_moments()
    assert any(moment.is_("leg", "begins") and moment.text("name") == "first_start" for moment in kept)
    assert any(moment.is_("probe", "joined") for moment in kept)
    again = hil("judge", str(ended.folder), cwd=tmp_path)
    assert again.code == 3, again.out + again.err
    assert "1 pass" in again.out  # the leg before it is whole


def test_nobody_reading_what_it_prints_does_not_disturb_a_run(tmp_path: Path) -> None:
    """As in `hil accept | head -1`."""
    command = [sys.executable, "-W", "ignore", "-c", "from hil.cli.main import main; main()", "accept"]
    selected = ("-k", "test_build_given_is_in_the_unit")
    with subprocess.Popen(
        [*command, *selected], cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stdout.readline()
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait(LIMIT_S) == 0
    assert next(tmp_path.glob("reports/*/sheet.html")).exists()


def test_proxies_of_the_environment_change_nothing(tmp_path: Path) -> None:
    """Port 9 (discard, RFC 863) is taken by nobody here: whoever asked it for anything would get no answer."""
    names = ("http_proxy", "HTTP_PROXY", "https_proxy", "HTTPS_PROXY", "all_proxy", "ALL_PROXY")
    dead = dict.fromkeys(names, "http://127.0.0.1:9") | {"no_proxy": "", "NO_PROXY": ""}
    ended = accept("-k", "test_form_as_shipped or test_lamp_order_on_first", cwd=tmp_path, environment=dead)
    assert ended.code == 0, ended.out + ended.err
