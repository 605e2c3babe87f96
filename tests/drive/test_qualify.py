"""The lamp camera is qualified from runs: hand-made ones, whose colours and stages the test knows.

The statistics themselves are held against published studies in `tests/lamp`; here, that the right readings go into them.
"""

from pathlib import Path

import numpy as np
import pytest
from support.lamp_runs import CONNECTED_S, END_S, ON_S, SETUP_S, recorded
from support.records import Plan, flashing

from hil.core.bench_file import BenchFile
from hil.core.errors import InputError
from hil.core.run_folder import RunFolder
from hil.drive.bench.qualify import finding, qualify_lamp
from hil.evidence.lamp_colours import ColourSeen, LampColours
from hil.lamp.agreement import CohenKappa
from hil.lamp.gauge import GaugeStudy


def test_alike_runs_qualify(tmp_path: Path) -> None:
    found = qualify_lamp([recorded(tmp_path / str(run)) for run in range(3)])
    assert (found.runs, found.colours, found.unseen) == (3, ("white", "green", "blue"), ("red",))
    assert found.reasons == ()
    assert all(isinstance(study, GaugeStudy) and (study.distinct_categories or 99) >= 5 for study in found.studies)
    assert isinstance(found.stages, CohenKappa)
    assert (found.stages.kappa, found.stages.items) == (1.0, 6)


def test_what_differs_between_runs_is_reproducibility(tmp_path: Path) -> None:
    """Another balance in one of three runs: what single frames scatter by stays as it was."""
    alike = qualify_lamp([recorded(tmp_path / f"alike {run}") for run in range(3)])
    tinted = qualify_lamp([recorded(tmp_path / f"tinted {run}", tint=1.0 - 0.12 * run) for run in range(3)])
    for before, after in zip(alike.studies, tinted.studies, strict=True):
        assert isinstance(before, GaugeStudy)
        assert isinstance(after, GaugeStudy)
        assert after.reproducibility.standard_deviation > 5.0 * before.reproducibility.standard_deviation
        assert after.repeatability.standard_deviation < 3.0 * before.repeatability.standard_deviation


def test_an_instrument_that_varies_by_what_parts_two_colours_does_not_qualify(tmp_path: Path) -> None:
    runs = [recorded(tmp_path / str(run), tint=tint) for run, tint in enumerate((1.0, 0.8, 0.6))]
    reasons = qualify_lamp(runs).reasons
    assert any("the instrument's own variation takes" in reason for reason in reasons)
    assert any("distinct categories; 5 are wanted" in reason for reason in reasons)


def test_a_lamp_that_shows_another_stage_than_the_witnesses_confirm_does_not_qualify(tmp_path: Path) -> None:
    """It is the unit that may be wrong: but an instrument is qualified before good units, and says what disagrees."""
    swapped: Plan = [(ON_S + 0.3, "white"), (SETUP_S, "green"), (CONNECTED_S, "blue")]
    found = qualify_lamp([recorded(tmp_path / str(run), swapped) for run in range(2)])
    assert isinstance(found.stages, CohenKappa)
    assert found.stages.agreed == 0.0
    assert any(reason.startswith("stages: kappa") for reason in found.reasons)


def test_stages_of_one_colour_are_told_by_their_flash(tmp_path: Path) -> None:
    plan: Plan = [(ON_S + 0.3, "blue"), *flashing("white", 0.6, SETUP_S, CONNECTED_S), (CONNECTED_S, "green")]
    legs = (("first", ON_S - 1.0, CONNECTED_S - 1.0, "joining"), ("then", CONNECTED_S, END_S, "connected"))
    found = qualify_lamp([recorded(tmp_path / str(run), plan, legs=legs) for run in range(2)])
    assert isinstance(found.stages, CohenKappa)
    assert found.stages.kappa == 1.0


def test_rates_that_cannot_be_told_apart_are_named(tmp_path: Path) -> None:
    runs = [recorded(tmp_path / str(run)) for run in range(2)]
    for run in runs:
        file = RunFolder(run).product_file
        text = file.read_text(encoding="utf-8")
        file.write_text(text.replace("flash_hz = 0.6", "flash_hz = 1.7"), encoding="utf-8")
    found = qualify_lamp(runs)
    assert "joining and updating flash white at rates that cannot be told apart" in found.reasons
    (pair,) = found.alike
    assert {(look.colour, look.flash_hz) for look in (pair.one, pair.other)} == {("white", 1.7), ("white", 2.0)}


def test_colours_that_lie_nearer_than_their_doubts_are_a_pair_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two colours a hundredth apart, each scattering by more; in the other run they are told apart well."""

    def colour_of(word: str, u: float, sd: float) -> ColourSeen:
        return ColourSeen(word, 50, (u, 0.45), np.eye(2) * sd**2, 0.0)

    runs = [recorded(tmp_path / str(run)) for run in range(3)]
    seen = [
        LampColours((colour_of("white", 0.20, 0.001), colour_of("blue", 0.21, 0.001)), 100, 0),
        LampColours((colour_of("white", 0.20, 0.005), colour_of("blue", 0.21, 0.005)), 100, 0),
        LampColours((colour_of("white", 0.20, 0.008), colour_of("blue", 0.213, 0.008)), 100, 0),
    ]
    told = iter(seen)
    monkeypatch.setattr("hil.drive.bench.qualify.colours_seen", lambda *_: next(told))
    found = qualify_lamp(runs)
    assert [(pair.one.colour, pair.other.colour, pair.because) for pair in found.alike] == [
        ("white", "blue", "0.013 in u′v′")
    ]
    assert "white and blue cannot be told apart: 0.013 in u′v′" in found.reasons


def test_what_accept_must_know_names_day_runs_and_how_the_camera_was_aimed(tmp_path: Path) -> None:
    runs = [recorded(tmp_path / str(run)) for run in range(2)]
    camera = {"unit_region": [1, 2, 30, 30], "bench_region": [5, 6, 30, 30]}
    bench = BenchFile.model_validate({"name": "bench 3", "kind": "desk", "slot": "2", "lamp_camera": camera})
    kept = finding(qualify_lamp(runs), runs, bench, "2026-01-02")
    assert (kept.day, kept.runs, kept.qualified, kept.alike) == ("2026-01-02", ("0", "1"), True, ())
    assert kept.regions == ((1, 2, 30, 30), (5, 6, 30, 30))
    other = bench.model_copy(update={"slot": "1"})
    with pytest.raises(InputError, match="was driven on 'bench 3', slot 2; this is 'bench 3', slot 1"):
        finding(qualify_lamp(runs), runs, other, "2026-01-02")


def test_wrong_input_says_what_to_do(tmp_path: Path) -> None:
    run = recorded(tmp_path / "run")
    with pytest.raises(InputError, match="a spread needs 2"):
        qualify_lamp([run])
    with pytest.raises(InputError, match="not the record of a run"):
        qualify_lamp([run, tmp_path])
    with pytest.raises(InputError, match="1 colour was seen often enough"):
        qualify_lamp([run, recorded(tmp_path / "green", [(ON_S + 0.3, "green")])])
    with pytest.raises(InputError, match="no leg was driven"):
        qualify_lamp([run, recorded(tmp_path / "none", legs=())])
    other = recorded(tmp_path / "other")
    file = RunFolder(other).product_file
    file.write_text(
        file.read_text(encoding="utf-8").replace('name = "Mossgate MV-2"', 'name = "Another"'), encoding="utf-8"
    )
    with pytest.raises(InputError, match="runs of Another, Mossgate MV-2"):
        qualify_lamp([run, other])
