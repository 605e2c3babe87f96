"""`hil bench`: instruments tried by themselves, a first bench file, photographs read, and what is said where one is not ready."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from support.bench_file import BENCH
from support.lamp_runs import recorded
from support.runs import Ended, hil

from hil.core.colours_file import read_colours
from hil.core.kept_file import write_kept
from hil.core.qualified_file import Alike, LookTold, QualifiedFile, qualified_file_of

INSTRUMENTS = ("supply", "console", "air monitor", "access point", "probe", "flasher", "lamp camera")


def check(folder: Path, more: str = "") -> Ended:
    (folder / "bench.toml").write_text(BENCH + more, encoding="utf-8")
    return hil("bench", "check", "--bench", "bench.toml", cwd=folder, environment={"COLUMNS": "200"})


def test_a_good_bench_is_ready(tmp_path: Path) -> None:
    ended = check(tmp_path)
    assert ended.code == 0, ended.out + ended.err
    rows = {name: next(line for line in ended.out.splitlines() if f" {name} " in line) for name in INSTRUMENTS}
    assert all(" ready " in row and "not ready" not in row for row in rows.values()), ended.out
    assert "the unit restarts by itself" in rows["console"]  # its flash is empty
    assert "frames/s" in rows["lamp camera"]
    assert "was it lit, and does the supply switch?" in rows["lamp camera"]  # with an empty flash it never is
    assert "The bench is ready." in ended.out
    assert not ended.reports.exists()  # nothing was judged


@pytest.mark.parametrize(
    ("more", "instrument", "remedy"),
    [
        ('[lamp_camera]\nsource = "http://127.0.0.1:1/none.mjpeg"\n', "camera", "Check lamp_camera.source"),
        ("[lamp_camera]\nbench_region = [5, 5, 40, 40]\n", "lamp camera", "are both regions on their lamps"),
        (
            '[unit]\nserial_number = "MV2-1"\naddress = "02:4d:56:00:a7:31"\n[console]\nport = "loop://"\n',
            "flasher",
            "Check power, cable",
        ),
    ],
    ids=["no camera", "a region beside the lamp", "a port that is no unit's"],
)
def test_what_is_not_ready_is_told_with_the_remedy(tmp_path: Path, more: str, instrument: str, remedy: str) -> None:
    ended = check(tmp_path, more)
    assert ended.code == 3, ended.out + ended.err
    row = next(line for line in ended.out.splitlines() if f" {instrument}" in line)
    assert "not ready" in row
    assert remedy in ended.out
    assert "The bench is not ready" in ended.out


def test_a_bench_file_that_is_not_there_is_wrong_input(tmp_path: Path) -> None:
    ended = hil("bench", "check", "--bench", "no.toml", cwd=tmp_path)
    assert ended.code == 2
    assert "no.toml: there is no such bench file" in ended.err


def test_a_scan_writes_no_file_over_another(tmp_path: Path) -> None:
    (tmp_path / "bench.toml").write_text("mine", encoding="utf-8")
    ended = hil("bench", "scan", cwd=tmp_path)
    assert ended.code == 2
    assert "bench.toml: is there already" in ended.err
    assert (tmp_path / "bench.toml").read_text(encoding="utf-8") == "mine"
    assert hil("bench", "scan", "--into", "no/bench.toml", cwd=tmp_path).code == 2


def test_a_scan_leaves_a_file_that_asks(tmp_path: Path) -> None:
    ended = hil("bench", "scan", "--into", "desk.toml", cwd=tmp_path)
    assert ended.code == 0, ended.err
    assert "hil bench check --bench desk.toml" in ended.out
    assert 'kind = "desk"' in (tmp_path / "desk.toml").read_text(encoding="utf-8")


def test_a_photograph_is_read(tmp_path: Path) -> None:
    picture = np.full((120, 160, 3), 20, np.uint8)
    cv2.circle(picture, (60, 70), 12, (30, 255, 60), -1)
    cv2.imwrite(str(tmp_path / "lamp.png"), picture)
    told = hil("bench", "read", "lamp.png", cwd=tmp_path)
    assert (told.code, told.err) == (0, "")
    assert told.out.startswith("lamp.png: green (at 4")
    (tmp_path / "text.png").write_text("no picture")
    assert hil("bench", "read", "text.png", cwd=tmp_path).code == 2
    outside = hil("bench", "read", "lamp.png", "--region", "150", "0", "40", "40", cwd=tmp_path)
    assert outside.code == 2
    assert "does not lie in a picture of 160 × 120 pixels" in outside.err


def test_a_photograph_is_read_by_the_curve_of_its_camera(tmp_path: Path) -> None:
    """Codes in proportion to the light: amber, of which the curve of sRGB takes most of the green."""
    picture = np.zeros((120, 160, 3), np.uint8)
    cv2.circle(picture, (60, 70), 12, (2, 45, 200), -1)
    cv2.imwrite(str(tmp_path / "lamp.png"), picture)
    curve = ", ".join(f"{code / 255.0:.6f}" for code in range(256))
    (tmp_path / "bench.toml").write_text(BENCH + f"[lamp_camera]\ncurve = [{curve}]\n", encoding="utf-8")
    assert hil("bench", "read", "lamp.png", cwd=tmp_path).out.startswith("lamp.png: unrecognised")
    told = hil("bench", "read", "lamp.png", "--bench", "bench.toml", cwd=tmp_path)
    assert told.out.startswith("lamp.png: amber"), told.out + told.err


def test_runs_of_nothing_are_no_qualification(tmp_path: Path) -> None:
    told = hil("bench", "qualify", ".", ".", cwd=tmp_path)
    assert told.code == 2
    assert "not the record of a run" in told.err


def test_runs_of_nothing_teach_nothing(tmp_path: Path) -> None:
    told = hil("bench", "learn", ".", cwd=tmp_path)
    assert told.code == 2
    assert "not the record of a run" in told.err


def test_what_a_camera_learns_lies_beside_the_bench_file(tmp_path: Path) -> None:
    recorded(tmp_path / "run")
    (tmp_path / "bench.toml").write_text(BENCH, encoding="utf-8")
    told = hil("bench", "learn", "run", "--bench", "bench.toml", cwd=tmp_path)
    assert told.code == 0, told.err
    assert "Colours file: bench.colours.json." in told.out
    learnt = read_colours(tmp_path / "bench.colours.json")
    assert learnt is not None
    assert (learnt.product, set(learnt.colours)) == ("Mossgate MV-2", {"white", "blue", "green"})


def test_a_product_that_this_bench_cannot_read_is_refused_before_anything_is_driven(tmp_path: Path) -> None:
    (tmp_path / "bench.toml").write_text(BENCH, encoding="utf-8")
    pair = Alike(one=LookTold(colour="blue"), other=LookTold(colour="green"), because="0.010 in u′v′")
    kept = QualifiedFile(day="2026-01-02", runs=("a", "b"), qualified=False, regions=(None, None), alike=(pair,))
    write_kept(kept, qualified_file_of(tmp_path / "bench.toml"))
    ended = hil("accept", "--bench", "bench.toml", cwd=tmp_path)
    assert ended.code == 2, ended.out + ended.err
    assert "bench.qualified.json: this bench cannot tell blue and green apart" in ended.out + ended.err
    assert "Aim again, nearer" in ended.out + ended.err
    assert list(ended.reports.glob("*")) == []
