"""The aim file: a desk's bench file that leaves out the lamps' places has them from there."""

from pathlib import Path

import pytest

from hil.core.aim_file import AimFile, aim_file_of, read_aim
from hil.core.bench_file import load_bench_file
from hil.core.errors import InputError
from hil.core.kept_file import write_kept

AIM = AimFile(camera="/dev/video0", picture=(640, 480), unit_region=(10, 20, 40, 40), bench_region=(300, 20, 24, 24))
DESK = 'name = "desk 1"\nkind = "desk"\n'


def test_it_is_read_as_written_and_counts_where_the_bench_file_leaves_the_places_out(tmp_path: Path) -> None:
    bench = tmp_path / "bench.toml"
    bench.write_text(DESK, encoding="utf-8")
    assert load_bench_file(bench).lamp_camera.unit_region is None
    write_kept(AIM, aim_file_of(bench))
    assert aim_file_of(bench).name == "bench.aim.json"
    assert read_aim(aim_file_of(bench)) == AIM
    camera = load_bench_file(bench).lamp_camera
    assert (camera.unit_region, camera.bench_region) == (AIM.unit_region, AIM.bench_region)


def test_of_virtual_benches_it_counts_for_one_whose_units_stay_where_they_lie(tmp_path: Path) -> None:
    bench = tmp_path / "bench.toml"
    write_kept(AIM, aim_file_of(bench))
    virtual = 'name = "b"\nkind = "virtual"\n[virtual]\n'
    bench.write_text(virtual, encoding="utf-8")
    assert load_bench_file(bench).lamp_camera.unit_region is None
    bench.write_text(virtual + "seed = 7\n", encoding="utf-8")
    assert load_bench_file(bench).lamp_camera.unit_region == AIM.unit_region


def test_the_camera_s_curve_counts_wherever_the_places_are_said(tmp_path: Path) -> None:
    bench, curve = tmp_path / "bench.toml", tuple(code / 255.0 for code in range(256))
    bench.write_text(
        DESK + "[lamp_camera]\nunit_region = [1, 2, 30, 30]\nbench_region = [5, 6, 30, 30]\n", encoding="utf-8"
    )
    write_kept(AIM.model_copy(update={"curve": curve}), aim_file_of(bench))
    camera = load_bench_file(bench).lamp_camera
    assert (camera.unit_region, camera.curve) == ((1, 2, 30, 30), curve)


def test_a_camera_is_set_as_it_was_aimed_but_for_what_the_bench_file_says(tmp_path: Path) -> None:
    bench = tmp_path / "bench.toml"
    write_kept(AIM.model_copy(update={"settings": {"exposure": 156, "gain": 0}}), aim_file_of(bench))
    bench.write_text(DESK, encoding="utf-8")
    assert load_bench_file(bench).lamp_camera.settings == {"exposure": 156, "gain": 0}
    bench.write_text(DESK + "[lamp_camera]\nsource = 0\nsettings = { exposure = 78 }\n", encoding="utf-8")
    assert load_bench_file(bench).lamp_camera.settings == {"exposure": 78, "gain": 0}


@pytest.mark.parametrize("source", ["", 'source = "http://192.0.2.7/stream"\n'])
def test_settings_of_what_is_no_device_are_refused(tmp_path: Path, source: str) -> None:
    bench = tmp_path / "bench.toml"
    bench.write_text(DESK + f"[lamp_camera]\n{source}settings = {{ gain = 1 }}\n", encoding="utf-8")
    with pytest.raises(InputError, match="settings: only a device of this machine"):
        load_bench_file(bench)


@pytest.mark.parametrize("curve", [(0.0, 1.0), tuple(1 - code / 255 for code in range(256)), (0.0,) * 256])
def test_a_curve_that_is_none_is_refused(curve: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="curve"):
        AimFile.model_validate({**AIM.model_dump(), "curve": curve})


def test_what_the_bench_file_says_comes_first(tmp_path: Path) -> None:
    bench = tmp_path / "bench.toml"
    bench.write_text(
        DESK + "[lamp_camera]\nunit_region = [1, 2, 30, 30]\nbench_region = [5, 6, 30, 30]\n", encoding="utf-8"
    )
    write_kept(AIM, aim_file_of(bench))
    assert load_bench_file(bench).lamp_camera.unit_region == (1, 2, 30, 30)


@pytest.mark.parametrize("text", ["", "{}", '{"camera": "x"}', "not json", "[]"])
def test_one_that_cannot_be_read_is_wrong_input(tmp_path: Path, text: str) -> None:
    bench = tmp_path / "bench.toml"
    bench.write_text(DESK, encoding="utf-8")
    aim_file_of(bench).write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=r"bench\.aim\.json: this aim file cannot be read.*hil bench aim"):
        load_bench_file(bench)
