"""A camera learns colours from runs of golden units: by what their console told, not by what they looked like."""

from pathlib import Path

import numpy as np
import pytest
from support.lamp_runs import CONNECTED_S, END_S, ON_S, PLAN, SETUP_S, TOLD, recorded
from support.records import Plan, line

from hil.core.bench_file import load_bench_file
from hil.core.colours_file import colours_file_of, read_colours
from hil.core.errors import InputError
from hil.core.kept_file import write_kept
from hil.core.moments import Moment
from hil.core.product import load_product
from hil.core.run_folder import RunFolder
from hil.drive.bench.learn import colours_for, learn_colours
from hil.drive.recorded import read_record
from hil.evidence.lamp import LampView
from hil.evidence.window import Window
from hil.virtual import DEMO_BENCH, DEMO_PRODUCT

DRAWN_ANEW = load_bench_file(DEMO_BENCH)
BENCH = DRAWN_ANEW.model_copy(update={"virtual": DRAWN_ANEW.virtual.model_copy(update={"seed": 7})})


def stages_of(run: Path) -> list[str]:
    folder = RunFolder(run)
    record = read_record(folder, folder.read_info(), load_product(folder.product_file))
    return [span.stage for span in LampView(Window("first", ON_S, END_S, record)).stages]


def test_colours_are_learnt_by_the_stage_told(tmp_path: Path) -> None:
    swapped: Plan = [(ON_S + 0.3, "white"), (SETUP_S, "green"), (CONNECTED_S, "blue")]
    as_told, otherwise = (
        learn_colours([recorded(tmp_path / name, plan)], BENCH) for name, plan in (("a", PLAN), ("b", swapped))
    )
    assert set(as_told.colours) == set(otherwise.colours) == {"white", "blue", "green"}
    assert np.allclose(as_told.colours["green"].share, otherwise.colours["blue"].share, atol=0.01)
    assert np.allclose(as_told.colours["blue"].share, otherwise.colours["green"].share, atol=0.01)
    assert as_told.colours["white"].frames > 100


def test_a_run_is_read_by_what_its_camera_had_learnt(tmp_path: Path) -> None:
    """A camera that sees so little green that its white is no white: unread before, told after."""
    unread = recorded(tmp_path / "run", tint=0.45)
    assert "starting" not in stages_of(unread)
    write_kept(learn_colours([unread], BENCH), RunFolder(unread).colours_file)
    assert stages_of(unread) == ["dark", "starting", "setup", "connected"]


def test_colours_that_this_camera_does_not_part_are_refused(tmp_path: Path) -> None:
    alike: Plan = [(ON_S + 0.3, "white"), (SETUP_S, "green"), (CONNECTED_S, "green")]
    with pytest.raises(InputError, match=r"green and blue lie 0\.\d times|blue and green lie 0\.\d times"):
        learn_colours([recorded(tmp_path / "run", alike)], BENCH)


def test_what_was_learnt_counts_for_its_product_and_its_camera(tmp_path: Path) -> None:
    learnt = learn_colours([recorded(tmp_path / "run")], BENCH)
    product, bench_path = load_product(DEMO_PRODUCT), tmp_path / "bench.toml"
    assert colours_for(BENCH, bench_path, product) is None
    write_kept(learnt, colours_file_of(bench_path))
    assert colours_for(BENCH, bench_path, product) == learnt
    assert colours_for(BENCH, bench_path, product.model_copy(update={"name": "Another"})) is None
    assert colours_for(DRAWN_ANEW, bench_path, product) is None
    another = BENCH.model_copy(update={"lamp_camera": BENCH.lamp_camera.model_copy(update={"source": "/dev/video7"})})
    with pytest.raises(InputError, match="the bench has /dev/video7"):
        colours_for(another, bench_path, product)
    set_otherwise = BENCH.lamp_camera.model_copy(update={"settings": {"gain": 30, "white_balance": 4600}})
    with pytest.raises(InputError, match=r"learnt with none of .* held; the bench has gain 30, white balance 4600"):
        colours_for(BENCH.model_copy(update={"lamp_camera": set_otherwise}), bench_path, product)


def test_wrong_input_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="whose console tells its stages"):
        learn_colours([recorded(tmp_path / "silent", told=())], BENCH)
    with pytest.raises(InputError, match="not the record of a run"):
        learn_colours([tmp_path], BENCH)
    with pytest.raises(InputError, match="no leg was driven"):
        learn_colours([recorded(tmp_path / "none", legs=())], BENCH)
    other = recorded(tmp_path / "other")
    file = RunFolder(other).product_file
    file.write_text(
        file.read_text(encoding="utf-8").replace('name = "Mossgate MV-2"', 'name = "Another"'), encoding="utf-8"
    )
    with pytest.raises(InputError, match="runs of Another, Mossgate MV-2"):
        learn_colours([recorded(tmp_path / "one"), other], BENCH)
    broken = tmp_path / "broken.colours.json"
    broken.write_text("{}", encoding="utf-8")
    with pytest.raises(InputError, match="colours file cannot be read"):
        read_colours(broken)


def test_a_run_whose_camera_was_set_otherwise_teaches_nothing(tmp_path: Path) -> None:
    """As one that was driven before the camera was aimed anew, which cut its exposure."""
    aimed = BENCH.lamp_camera.model_copy(update={"settings": {"exposure": 25, "gain": 4}})
    bench = BENCH.model_copy(update={"lamp_camera": aimed})

    def run(name: str, exposure: str) -> Path:
        booked = Moment(ON_S, 0.0, "camera", "settings", {"exposure": exposure, "focus": "cannot be locked"})
        return recorded(tmp_path / name, told=[booked, *TOLD])

    as_now = run("as now", "locked at 25")
    assert learn_colours([as_now], bench).settings == {"exposure": 25, "gain": 4}
    for told in ("locked at 80", "cannot be locked"):
        with pytest.raises(InputError, match=f"its camera's exposure was {told}; that of this bench is locked at 25"):
            learn_colours([as_now, run(told, told)], bench)


def test_what_comes_before_the_lamp_follows_teaches_nothing(tmp_path: Path) -> None:
    """The console tells a stage a little before or after the lamp shows it; and a restart ends what was told."""
    early = [line(time_s - 0.3, text) for time_s, text in ((ON_S + 0.3, "stage: starting"), (SETUP_S, "stage: setup"))]
    late = [*early, line(CONNECTED_S + 0.3, "stage: connected")]
    on_time = learn_colours([recorded(tmp_path / "on time")], BENCH)
    off_time = learn_colours([recorded(tmp_path / "off time", told=late)], BENCH)
    for word, seen in on_time.colours.items():
        assert np.allclose(seen.share, off_time.colours[word].share, atol=0.01)
        assert np.allclose(seen.spread, off_time.colours[word].spread, atol=1e-3)
