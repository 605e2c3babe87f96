"""Holds `hil.virtual.desk` to what it says of itself: the same bytes again, every word, a region that holds the glow.

Linear light before the curve: twice the drive adds twice the light (pulse-width modulation). Hues of red, orange, yellow,
green, blue: CSS Color Module Level 4, named colours.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from hil.virtual.desk import WORDS, Desk, DeskRange, draw_desk
from hil.virtual.desk.conditions import draw_conditions
from hil.virtual.desk.desk import draw_bench
from hil.virtual.desk.naming import has_its_colour
from hil.virtual.desk.ranges import LAMP_KINDS

SEEDS = range(4)
STILL = DeskRange(ripple=(0, 0), ambient_change=(0, 0), cloudy=0.0, neighbours=(0, 0), banded=0.0)


@pytest.fixture(scope="module")
def desks() -> dict[tuple[int, str | None], Desk]:
    return {(seed, word): draw_desk(seed, word) for seed in SEEDS for word in (*WORDS, None)}


def test_every_word_is_drawn_and_told(desks: dict[tuple[int, str | None], Desk]) -> None:
    for (_, word), desk in desks.items():
        assert desk.word == word
        assert {"lamp", "exposure_stops", "ambient_lux", "lamp_px", "gain"} <= set(desk.said)
        picture = desk.picture(1.0, 0)
        height, width = picture.shape[:2]
        assert picture.dtype == np.uint8
        assert 96 <= height == width <= 240
        x, y, wide, high = desk.region
        assert x >= 0 <= y
        assert x + wide <= width
        assert y + high <= height
        assert x < desk.centre[0] < x + wide
        assert y < desk.centre[1] < y + high


def test_the_same_again_gives_the_same_bytes(desks: dict[tuple[int, str | None], Desk]) -> None:
    for word in ("amber", "off"):
        again = draw_desk(2, word)
        assert again.said == desks[2, word].said
        for lit, frame in ((1.0, 7), (0.25, 3), (0.0, 0)):
            assert again.picture(lit, frame).tobytes() == desks[2, word].picture(lit, frame).tobytes()
        assert again.picture(0.0, 1).tobytes() != again.picture(0.0, 2).tobytes()


def test_a_lit_lamp_brightens_its_region_most(desks: dict[tuple[int, str | None], Desk]) -> None:
    for seed in SEEDS:
        for word in ("white", "red", "amber", "green", "blue", None):
            desk = draw_desk(seed, word, STILL)
            more = desk.picture(1.0, 0).astype(int) - desk.picture(0.0, 0).astype(int)
            x, y, wide, high = desk.region
            inside = np.zeros(more.shape[:2], bool)
            inside[y : y + high, x : x + wide] = True
            assert more[inside].max() > 30
            assert more[inside].mean() > 1.5 * more[~inside].mean()


def test_a_lamp_that_is_off_adds_no_light() -> None:
    desk = draw_desk(1, "off", STILL)
    assert desk.filling(1.0, 5).tobytes() == desk.filling(0.0, 5).tobytes()


def test_light_is_linear_in_the_drive() -> None:
    desk = draw_desk(1, "green", STILL)
    dark, half, whole = (desk.filling(lit, 5) for lit in (0.0, 0.5, 1.0))
    assert whole - dark == pytest.approx(2 * (half - dark), rel=1e-3, abs=1e-4)


def test_the_room_changes_between_unlit_and_lit_pictures() -> None:
    over = replace(STILL, ambient_change=(0.1, 0.1), ambient_lux=(300, 300))
    desk = draw_desk(1, "off", over)
    assert desk.filling(1.0, 0) == pytest.approx(1.1 * desk.filling(0.0, 0), rel=1e-4)


def test_half_the_exposure_fills_the_sensor_half() -> None:
    desk = draw_desk(3, "green", STILL)
    short = desk.exposed(desk.exposure_s / 2.0)
    assert short.exposure_s == desk.exposure_s / 2.0
    for lit in (0.0, 1.0):
        assert np.allclose(short.filling(lit, 0), desk.filling(lit, 0) / 2.0, rtol=1e-4)
    with pytest.raises(ValueError, match="does not fit between two pictures"):
        desk.exposed(0.5)


def test_neighbours_blink() -> None:
    over = replace(STILL, neighbours=(3, 3), neighbour_mm=(8, 12))
    for seed in SEEDS:
        desk = draw_desk(seed, "off", over)
        brightness = [float(desk.filling(0.0, frame).mean()) for frame in range(60)]
        assert (np.ptp(brightness) > 0) == (desk.said["blinking_neighbours"] != 0)


def test_bands_show_in_some_and_never_take_the_lamp_away() -> None:
    over = replace(STILL, banded=1.0, lamp_kinds=("addressable, version 5",))
    shown = 0
    for seed in range(6):
        conditions = draw_conditions(seed, 0, "red", over)
        shown += conditions.switching_hz > 0
        assert conditions.switching_hz == 0 or conditions.switching_hz * conditions.settings.exposure_s >= 1
    assert shown


def test_fixed_ranges_fix_conditions() -> None:
    desk = draw_desk(4, "blue", replace(STILL, exposure_stops=(-2, -2), angle_deg=(30, 30), picture_width_px=(640,)))
    assert desk.said["exposure_stops"] == pytest.approx(-2)
    assert desk.said["angle_deg"] == pytest.approx(30)
    assert desk.said["nearest_neighbour_mm"] == math.inf


def test_a_bench_also_shows_colours_of_no_word_and_is_the_same_bench() -> None:
    over = DeskRange(lamp_kinds=LAMP_KINDS[:1])
    plain, more = (draw_bench(5, ("red", "green"), 2, over, strangers) for strangers in ((), ("cyan", "magenta")))
    assert set(more) == {*plain, (1, "cyan"), (1, "magenta")}
    for key, desk in plain.items():
        assert desk.picture(1.0, 3).tobytes() == more[key].picture(1.0, 3).tobytes()
    middle = tuple(round(at) for at in more[1, "magenta"].centre)
    lit, dark = (
        more[1, "magenta"].filling(share, 3)[middle[1] - 2 : middle[1] + 2, middle[0] - 2 : middle[0] + 2]
        for share in (1, 0)
    )
    assert lit.mean() > dark.mean()


def test_named_colours_are_called_by_their_names() -> None:
    hues = {"red": (0.0,), "amber": (38.8, 60.0), "green": (120.0,), "blue": (240.0, -120.0)}
    for word, own in hues.items():
        for hue in own:
            assert [other for other in hues if has_its_colour(other, hue, 1.0)] == [word]
    assert has_its_colour("white", 200.0, 0.1)
    assert not has_its_colour("red", 0.0, 0.1)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="no lamp shows 'purple'"):
        draw_desk(1, "purple")
    with pytest.raises(ValueError, match="in none could 'red' be named"):
        draw_desk(1, "red", DeskRange(lamp_px=(800, 900)))
    with pytest.raises(ValueError, match="angle_deg goes from 9 down to 3"):
        DeskRange(angle_deg=(9, 3))
    with pytest.raises(ValueError, match="lit goes from 0 to 1"):
        draw_desk(1, "red").picture(1.5, 0)


def test_units_of_a_bench_differ_in_their_emitters_alone() -> None:
    desks = draw_bench(3, ("red", "green"), 2, DeskRange(lamp_kinds=LAMP_KINDS[:2]))
    assert set(desks) == {(unit, word) for unit in (0, 1) for word in ("red", "green")}
    golden, other = desks[0, "green"], desks[1, "green"]
    own = {"luminous_intensity_cd", "shown_hue_deg", "shown_saturation"}
    differ = {key for key, value in golden.said.items() if other.said[key] != value}
    assert {"luminous_intensity_cd", "shown_hue_deg"} <= differ <= own
    assert (golden.picture(0.0, 0) == other.picture(0.0, 0)).all()
    assert (golden.picture(1.0, 0) != other.picture(1.0, 0)).any()
