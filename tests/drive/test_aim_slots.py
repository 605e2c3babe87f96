"""Aiming slots before one camera: what is made of several lamps together, by hand-made findings; the drive is `tests/cli`'s."""

from dataclasses import replace

import numpy as np
import pytest

from hil.cli.aim_picture import drawn_aim
from hil.core.bench_file import BenchFile, BenchLampPlace, LampCamera
from hil.core.errors import InputError
from hil.core.frames import Crops
from hil.drive.bench.aim import aim_slots
from hil.drive.bench.aims import Aim, Aims
from hil.drive.bench.exposing import Cut
from hil.drive.bench.found import Found
from hil.lamp.aim import Aimed, NotAimed, Region, Turn
from hil.lamp.doubt import NotTold

OWN = Aimed((280, 20, 24, 24), (292.0, 32.0), 1.0, 0.2)


def table(seed: int = 1) -> Crops:
    """A few dark pictures of one table, with noise of their own."""
    rng, drawn = np.random.default_rng(1), np.full((240, 320, 3), 30.0)
    for _ in range(40):
        x, y = rng.integers(0, 290), rng.integers(0, 210)
        drawn[y : y + 20, x : x + 25] = rng.uniform(10, 120, 3)
    noise = np.random.default_rng(seed).normal(0.0, 2.0, (4, 240, 320, 3))
    return np.clip(drawn + noise, 0, 255).astype(np.uint8)


def slot(name: str, region: Region, own: Aimed | NotAimed = OWN) -> Aim:
    x, y, width, height = region
    dark = table(int(name))
    return Aim(name, Aimed(region, (x + width / 2, y + height / 2), 1.0, 0.2), own, "cam", dark[0], dark, {})


def test_slots_share_the_bench_s_own_lamp_and_have_names() -> None:
    aims = Aims((slot("1", (10, 10, 40, 40)), slot("2", (100, 10, 40, 40))))
    assert list(aims.lamps) == ["slot 1's lamp", "slot 2's lamp", "the bench's own lamp"]
    assert aims.troubles == []
    assert list(Aims((slot("1", (10, 10, 40, 40)),)).lamps) == ["the unit's lamp", "the bench's own lamp"]


def test_lamps_of_the_bench_s_own_in_several_places_are_several() -> None:
    other = replace(OWN, region=(280, 200, 24, 24), centre=(292.0, 212.0))
    aims = Aims((slot("1", (10, 10, 40, 40)), slot("2", (100, 10, 40, 40), other)))
    assert "the bench's own lamp of slot 2" in aims.lamps


def test_a_region_shared_with_another_lamp_s_is_a_warning() -> None:
    aims = Aims((slot("1", (10, 10, 40, 40)), slot("2", (40, 30, 40, 40))))
    assert aims.troubles == ["the regions of slot 1's lamp and slot 2's lamp meet: move one of them away"]
    assert aims.faults == []
    beside = Aims((slot("1", (260, 10, 40, 40)),))
    assert "the regions of the unit's lamp and the bench's own lamp meet" in beside.troubles[0]


def test_where_nothing_tells_the_camera_s_place_it_is_said_and_what_helps() -> None:
    dark = replace(slot("1", (10, 10, 40, 40)), displaced=NotTold("it is too dark around the lamp"), placed=False)
    said = "slot 1: no run may notice that the camera was moved (it is too dark around the lamp): light it better"
    assert Aims((dark,)).troubles == [said]
    cut = replace(dark, cut=Cut(0.008, 0.004, 0.2, 0.0))
    assert Aims((cut,)).troubles == [f"{said}, or --keep-exposure"]
    assert (dark.dim_light, slot("1", (10, 10, 40, 40)).dim_light) == (False, True)
    assert Aims((replace(dark, placed=True),)).troubles == []  # it is bright enough there to tell it all the same
    assert Aims((replace(dark, bench=NotAimed("nothing goes on and off")),)).troubles == [
        "the bench's own lamp: nothing goes on and off"
    ]


def test_why_nothing_around_the_lamp_tells_the_camera_s_place() -> None:
    unit = Aimed((140, 100, 24, 24), (152.0, 112.0), 1.0, 0.2)

    def why(dark: Crops, own: Aimed | NotAimed = OWN) -> str:
        reason = Found(unit, [Turn(dark, dark)], own).displaced
        return reason.reason if reason is not None else ""

    assert why(table() + 20) == ""
    assert why(np.full((4, 240, 320, 3), 60, np.uint8)) == "nothing around the lamp has an outline"
    assert why(table()) == "it is too dark around the lamp"
    assert why(table(), NotAimed("nothing goes on and off")) == "the lamps were not found"


def test_two_slots_that_switch_one_lamp_are_not_aimed() -> None:
    aims = Aims((slot("1", (10, 10, 40, 40)), slot("2", (12, 10, 40, 40))))
    assert aims.faults == [
        "slot 1's lamp and slot 2's lamp lie in one place: what switches the one switches the other",
    ]


def test_a_camera_that_moved_between_two_slots_is_noticed() -> None:
    second = slot("2", (100, 10, 40, 40))
    moved = replace(second, dark=np.roll(second.dark, 9, axis=2))
    aims = Aims((slot("1", (10, 10, 40, 40)), moved))
    assert aims.faults == ["the camera moved by 9 pixels between slot 1 and slot 2: fix it, and aim again"]


def test_what_was_not_found_is_told_by_its_name() -> None:
    aims = Aims((slot("1", (10, 10, 40, 40)), replace(slot("2", (100, 10, 40, 40)), unit=NotAimed("it is dark"))))
    assert aims.troubles == ["slot 2's lamp: it is dark"]


def test_each_region_is_drawn_with_its_name() -> None:
    aims = Aims((slot("1", (10, 60, 40, 40)), slot("2", (100, 60, 40, 40))))
    drawn, plain = drawn_aim(aims).astype(int), aims.picture.astype(int)
    changed = np.abs(drawn - plain).max(axis=2) > 0
    for x, y in ((10, 60), (100, 60), (280, 20)):
        assert changed[y : y + 20, x].all()  # the left side of the box
        assert changed[max(0, y - 14) : y - 6, x + 10 if x < 280 else 300].any()  # the name above it
    assert not changed[150:].any()


def virtual(slot_name: str, seed: int | None = 7, places: int = 4) -> BenchFile:
    return BenchFile.model_validate(
        {"name": "b", "kind": "virtual", "slot": slot_name, "virtual": {"seed": seed, "places": places}}
    )


def desk(slot_name: str, source: str) -> BenchFile:
    place = BenchLampPlace(port="/dev/ttyUSB1")
    return BenchFile(name="b", kind="desk", slot=slot_name, lamp_camera=LampCamera(source=source), bench_lamp=place)


@pytest.mark.parametrize(
    ("files", "told"),
    [
        ([virtual("1"), virtual("1")], "two of the bench files are of slot 1"),
        ([virtual("1"), virtual("2", seed=8)], "do not name one camera"),
        ([virtual("1", None), virtual("2", None)], "do not name one camera"),
        ([virtual("1"), virtual("2", places=3)], "do not name one camera"),
        ([desk("1", "/dev/video0"), desk("2", "/dev/video2")], "do not name one camera"),
        ([desk("1", "/dev/video0"), virtual("2")], "do not name one camera"),
    ],
)
def test_slots_that_cannot_be_aimed_together_are_refused(files: list[BenchFile], told: str) -> None:
    with pytest.raises(InputError, match=told):
        aim_slots(files)
