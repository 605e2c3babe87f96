"""`hil bench aim` on the virtual bench: what it finds, of one slot and of several, the camera's curve, and what it refuses."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from support.bench_file import BENCH
from support.by_day import on_day
from support.runs import hil

from hil.core.bench_file import load_bench_file
from hil.virtual.scene.picture import Picture


def test_the_camera_is_aimed_at_both_lamps(tmp_path: Path) -> None:
    """Held against the places that the scene's generator states for this seed, and its picture by the exposure that was kept."""
    (tmp_path / "bench.toml").write_text(BENCH, encoding="utf-8")
    ended = hil("bench", "aim", "--bench", "bench.toml", "--into", "here.aim.json", cwd=tmp_path)
    assert ended.code == 0, ended.out + ended.err
    told = json.loads((tmp_path / "here.aim.json").read_text(encoding="utf-8"))
    for name, (x, y, width, height) in Picture(7).regions.items():
        left, top, wide, high = told[f"{name}_region"]
        assert left <= x + width / 2 <= left + wide
        assert top <= y + height / 2 <= top + high
        assert f"{name}_region = [{left}, {top}, {wide}, {high}]" in ended.out
    drawn = cv2.imread(str(tmp_path / "here.aim.png"))
    assert drawn is not None
    assert drawn.shape[:2] == tuple(reversed(told["picture"]))
    dark = cv2.imread(str(tmp_path / told["dark_picture"]))
    assert dark is not None
    exposure_s = 1e-4 * told["settings"]["exposure"]
    shown = Picture(7, exposure_s=exposure_s).render((0, 0, 0), (0, 0, 0), 1)
    assert np.abs(dark.astype(int) - shown).mean() < 6.0  # its noise and JPEG
    assert f"The camera's exposure: {1e3 * exposure_s:.1f} ms in place of 8.0 ms" in ended.out
    assert exposure_s < 0.008
    assert told["dim_light"]


@on_day(0)
def test_the_camera_s_curve_is_measured_and_kept(tmp_path: Path) -> None:
    """Held against the power by which the virtual camera was told to encode."""
    (tmp_path / "bench.toml").write_text(BENCH.replace("seed = 7", "seed = 7\ncamera_gamma = 1.6"), encoding="utf-8")
    ended = hil("bench", "aim", "--bench", "bench.toml", "--linearity", "--keep-exposure", cwd=tmp_path)
    assert ended.code == 0, ended.out + ended.err
    assert "The camera's curve, from code" in ended.out
    assert "exposure" not in ended.out
    camera = load_bench_file(tmp_path / "bench.toml").lamp_camera
    curve = camera.curve
    assert camera.settings == {}
    assert camera.dim_light
    assert curve is not None
    codes = np.arange(32, 200)
    ratio = np.array(curve)[codes] / (codes / 255.0) ** 1.6
    off = np.abs(ratio / np.median(ratio) - 1.0)
    assert off[codes < 180].max() < 0.06  # seen in four measurements: up to 0.03
    assert off.max() < 0.12  # few exposures show the brightest codes; seen: up to 0.056


def test_a_camera_that_takes_no_exposures_is_told_so(tmp_path: Path) -> None:
    (tmp_path / "bench.toml").write_text(BENCH + '[lamp_camera]\nsource = "black.png"\n', encoding="utf-8")
    cv2.imwrite(str(tmp_path / "black.png"), np.zeros((480, 640, 3), np.uint8))
    ended = hil("bench", "aim", "--bench", "bench.toml", "--linearity", cwd=tmp_path)
    assert ended.code == 2, ended.out + ended.err
    assert "nobody here can set its exposure" in ended.err


@on_day(1)
def test_slots_before_one_camera_are_aimed_one_after_the_other(tmp_path: Path) -> None:
    """Two of four: held against the places that the scene's generator states; the run's bench file then has them."""
    files = [tmp_path / f"slot{place}.toml" for place in (2, 4)]
    for place, file in zip((2, 4), files, strict=True):
        more = f'slot = "{place}"\n[virtual]\nspeed = 4.0\nseed = 7\nplaces = 4\n[air_monitor]\nchannels = [1, 6]\n'
        file.write_text('name = "table"\nkind = "virtual"\n' + more, encoding="utf-8")
    ended = hil("bench", "aim", "--bench", "slot2.toml", "--bench", "slot4.toml", cwd=tmp_path)
    assert ended.code == 0, ended.out + ended.err
    for place, file in zip((2, 4), files, strict=True):
        camera = load_bench_file(file).lamp_camera
        stated = Picture(7, 960, 720, places=4, place=place).regions
        for name, region in (("unit", camera.unit_region), ("bench", camera.bench_region)):
            x, y, width, height = stated[name]
            assert region is not None
            left, top, wide, high = region
            assert (left + wide / 2, top + high / 2) == pytest.approx((x + width / 2, y + height / 2), abs=8.0)
    assert cv2.imread(str(tmp_path / "slot2.aim.png")) is not None
    assert not (tmp_path / "slot4.aim.png").exists()


def test_slots_that_have_one_file_for_all_are_refused(tmp_path: Path) -> None:
    ended = hil("bench", "aim", "--bench", "virtual", "--bench", "virtual", "--into", "x.json", cwd=tmp_path)
    assert (ended.code, "is one file for several slots" in ended.err) == (2, True)
    ended = hil("bench", "aim", "--bench", "virtual", "--bench", "virtual", cwd=tmp_path)
    assert (ended.code, "two of the bench files are of slot 1" in ended.err) == (2, True)


def test_a_bench_whose_own_lamp_is_not_in_the_picture_is_not_aimed(tmp_path: Path) -> None:
    (tmp_path / "bench.toml").write_text(BENCH + '[lamp_camera]\nsource = "black.png"\n', encoding="utf-8")
    cv2.imwrite(str(tmp_path / "black.png"), np.zeros((480, 640, 3), np.uint8))
    ended = hil("bench", "aim", "--bench", "bench.toml", cwd=tmp_path)
    assert ended.code == 3, ended.out + ended.err
    assert not (tmp_path / "bench.aim.json").exists()
