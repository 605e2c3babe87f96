"""One photograph of a lit lamp: drawn desks, whose lamp is known, and pictures made here.

The desks (`hil.virtual.desk`) are drawn from data sheets and measured cameras, apart from the reader.
"""

from collections import Counter
from types import SimpleNamespace

import numpy as np
import pytest

from hil.lamp import OFF, UNRECOGNISED
from hil.lamp.light import SRGB_DECODE
from hil.lamp.still import Picture, find_bright, read_still
from hil.virtual.desk.desk import draw_desk

LIT = ("white", "red", "amber", "green", "blue")
EACH = 8


def test_lit_lamps_of_drawn_desks_are_rarely_given_a_wrong_word() -> None:
    """40 desks of any camera, board and room; what is not told is no error, and less than a fifth of them."""
    found = Counter[str]()
    for seed in range(EACH * len(LIT)):
        word = LIT[seed % len(LIT)]
        desk = draw_desk(70_000 + seed, word)
        told = read_still(desk.picture(1.0, 30), desk.region).word
        found["right" if told == word else "untold" if told == UNRECOGNISED else "wrong"] += 1
    assert found["wrong"] <= 1, found
    assert found["untold"] <= 0.2 * found.total(), found


@pytest.mark.parametrize("word", ["white", "red", "green", "blue"])
def test_a_lamp_is_found_and_read_in_a_larger_picture(lab: SimpleNamespace, word: str) -> None:
    camera = lab.Camera(leak="none", ambient=0.02, size=60)
    picture = np.full((240, 320, 3), 40, np.uint8)
    picture[100:160, 200:260] = camera.of(word)[0]
    x, y, width, height = find_bright(picture)
    assert 200 <= x < x + width <= 260
    assert 100 <= y < y + height <= 160
    assert read_still(picture).word == word


def test_a_lamp_blown_out_but_for_a_channel_keeps_its_colour() -> None:
    """A face of one colour without any glow: red at its end, the others far from it."""
    picture = np.full((120, 120, 3), 20, np.uint8)
    picture[40:80, 40:80] = (40, 50, 255)
    assert read_still(picture, (40, 40, 40, 40)).word == "red"


def before_the_sky(ring: tuple[int, int, int]) -> Picture:
    """A signal whose core is blown out, with a ring, before a pinkish sky: the core less the sky is green."""
    y, x = np.mgrid[:60, :60]
    away = np.hypot(x - 30, y - 30)
    picture = np.full((60, 60, 3), (226, 217, 231), np.uint8)
    picture[away < 13] = ring
    picture[away < 11] = (229, 229, 231)
    return picture


def test_a_lamp_hardly_brighter_than_the_sky_behind_it_is_told_by_its_ring_alone() -> None:
    assert read_still(before_the_sky((130, 70, 230)), (16, 16, 28, 28)).word == "red"
    assert read_still(before_the_sky((90, 140, 130)), (16, 16, 28, 28)).word == UNRECOGNISED  # greenish grey


def test_a_core_nearly_blown_out_is_not_told_white() -> None:
    """As of a picture that was scaled or toned down; one at the end of the codes is, and one far below it."""
    y, x = np.mgrid[:120, :120]
    shape = np.exp(-((np.hypot(x - 60, y - 60) / 20.0) ** 4))[..., None] * np.ones(3)
    words = [
        read_still(np.clip(20 + code * shape, 0, 255).astype(np.uint8), (35, 35, 50, 50)).word
        for code in (420, 220, 180)
    ]
    assert words == ["white", UNRECOGNISED, "white"]


def test_the_spot_of_a_lamp_is_found_beside_a_bright_sky() -> None:
    picture = np.full((240, 320, 3), 30, np.uint8)
    picture[:90] = 245
    picture[150:170, 200:220] = (60, 40, 250)
    x, y, width, height = find_bright(picture)
    assert 195 <= x < x + width <= 225
    assert 145 <= y < y + height <= 175


def lamp_with_glow(core: tuple[int, int, int], glow: tuple[int, int, int]) -> Picture:
    """A pale core, 16 pixels wide, in a glow that fades over as many."""
    y, x = np.mgrid[:120, :120]
    away = np.hypot(x - 60, y - 60)[..., None]
    fading = 20 + np.array(glow) * np.clip(1.0 - (away - 8.0) / 10.0, 0.0, 1.0)
    return np.where(away < 8.0, np.array(core), fading).astype(np.uint8)


PALE = {"green": ((190, 210, 185), (30, 220, 20)), "red": ((180, 175, 210), (20, 10, 230))}


@pytest.mark.parametrize("word", PALE)
@pytest.mark.parametrize("side", [8, 12, 16, 30])
def test_however_a_region_is_drawn_about_a_pale_core_its_glow_tells_the_colour(word: str, side: int) -> None:
    region = (60 - side // 2, 60 - side // 2, side, side)
    assert read_still(lamp_with_glow(*PALE[word]), region).word == word


def test_white_is_told_however_its_region_is_drawn_but_of_what_the_picture_s_edge_cuts() -> None:
    """As the sky is."""
    picture = lamp_with_glow((255, 255, 255), (200, 200, 200))
    told = [read_still(picture, (60 - at, 60 - at, 2 * at, 2 * at)).word for at in (4, 6, 10, 20)]
    assert told == ["white"] * 4
    assert read_still(picture).word == "white"
    cut_off = np.ascontiguousarray(picture[:, 62:])
    assert [read_still(cut_off, region).word for region in (None, (0, 50, 20, 20))] == [UNRECOGNISED] * 2


def test_a_camera_of_another_curve_is_read_by_its_own() -> None:
    """Codes in proportion to the light: amber, of which the curve of sRGB takes most of the green."""
    picture = np.zeros((120, 120, 3), np.uint8)
    picture[40:80, 40:80] = (2, 45, 200)
    own = (np.arange(256) / 255.0).astype(np.float32)
    assert [read_still(picture, curve=curve).word for curve in (own, SRGB_DECODE)] == ["amber", UNRECOGNISED]


def test_nothing_lit_is_off(lab: SimpleNamespace) -> None:
    picture = np.random.default_rng(3).integers(38, 44, (100, 100, 3), dtype=np.uint8)
    assert read_still(picture).word == OFF
    assert np.isnan(read_still(picture).uv).all()


@pytest.mark.parametrize("code", [0, 7, 128, 255])
def test_a_picture_of_one_colour_shows_no_lamp(code: int) -> None:
    for shape in ((8, 8, 3), (100, 140, 3)):
        assert read_still(np.full(shape, code, np.uint8)).word == OFF


@pytest.mark.parametrize(("x", "y"), [(0, 0), (117, 0), (0, 87), (117, 87), (60, 87)])
def test_a_tiny_lamp_at_the_edge_is_found_inside_the_picture(x: int, y: int) -> None:
    picture = np.zeros((90, 120, 3), np.uint8)
    picture[y : y + 3, x : x + 3] = (0, 200, 0)
    left, top, width, height = find_bright(picture)
    assert 0 <= left <= x < left + width <= 120
    assert 0 <= top <= y < top + height <= 90
    assert read_still(picture).word in ("green", UNRECOGNISED)


@pytest.mark.parametrize(
    ("picture", "region"),
    [
        (np.zeros((50, 50), np.uint8), None),
        (np.zeros((50, 50, 3), np.uint16), None),
        (np.zeros((4, 4, 3), np.uint8), None),
        (np.zeros((50, 50, 3), np.uint8), (40, 40, 20, 20)),
        (np.zeros((50, 50, 3), np.uint8), (-1, 0, 20, 20)),
    ],
)
def test_what_is_no_such_picture_is_refused(
    picture: "np.ndarray[tuple[int, ...], np.dtype[np.uint8]]", region: tuple[int, int, int, int] | None
) -> None:
    with pytest.raises(ValueError, match="picture"):
        read_still(picture, region)
