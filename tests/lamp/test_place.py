"""Whether a camera was moved, held against pictures of the virtual bench's table moved by known shifts (OpenCV)."""

import cv2
import numpy as np
import pytest

from hil.lamp import NotTold
from hil.lamp.light import Crops
from hil.lamp.place import Place, place_of
from hil.virtual.scene.picture import Picture, as_jpeg

DARK, GREEN, WHITE = (0.0, 0.0, 0.0), (0.0, 1.0, 0.0), (1.0, 1.0, 1.0)
SEEDS = range(6)


def through_jpeg(picture: Crops) -> Crops:
    decoded = cv2.imdecode(np.frombuffer(as_jpeg(picture), np.uint8), cv2.IMREAD_COLOR)
    assert decoded is not None
    return decoded.astype(np.uint8)


def moved(picture: Crops, across: float, down: float) -> Crops:
    height, width = picture.shape[:2]
    return cv2.warpAffine(picture, np.array([[1.0, 0.0, across], [0.0, 1.0, down]]), (width, height)).astype(np.uint8)


def learned(table: Picture) -> Place:
    place = place_of(through_jpeg(table.render(DARK, DARK, 1)), table.regions["unit"], list(table.regions.values()))
    assert isinstance(place, Place)
    return place


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("lamps", [(DARK, DARK), (GREEN, WHITE), (WHITE, DARK)])
@pytest.mark.parametrize("room", [0.5, 1.0, 1.7])
def test_a_camera_that_stands_still_stands_still_whatever_shines(
    seed: int, lamps: tuple[tuple[float, float, float], tuple[float, float, float]], room: float
) -> None:
    table = Picture(seed)
    seen = np.clip(table.render(*lamps, 77).astype(float) * room, 0, 255).astype(np.uint8)
    shift_px = learned(table).shift_px(through_jpeg(seen))
    assert not isinstance(shift_px, NotTold)
    assert shift_px < 0.3


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("by", [(1.5, 0.0), (-1.5, 1.5), (0.0, 3.5), (8.0, -6.0), (-20.0, 15.0), (30.0, 25.0)])
def test_a_shift_is_told_to_a_part_of_a_pixel(seed: int, by: tuple[float, float]) -> None:
    table = Picture(seed)
    place = learned(table)
    shift_px = place.shift_px(through_jpeg(moved(table.render(GREEN, WHITE, 9), *by)))
    assert shift_px == pytest.approx(np.hypot(*by), abs=0.3)
    assert shift_px > place.most_px


def test_less_than_a_pixel_is_no_shift() -> None:
    table = Picture(2)
    place = learned(table)
    shift_px = place.shift_px(through_jpeg(moved(table.render(WHITE, DARK, 9), 0.5, -0.4)))
    assert not isinstance(shift_px, NotTold)
    assert shift_px <= place.most_px


@pytest.mark.parametrize("what", ["a covered lens", "a hand", "all white", "another bench", "turned"])
def test_where_nothing_is_alike_nothing_is_told(what: str) -> None:
    table = Picture(3)
    seen = table.render(DARK, DARK, 9).copy()
    if what == "a covered lens":
        seen = table.black(9)
    elif what == "a hand":
        noise = np.random.default_rng(5).integers(60, 220, seen.shape).astype(np.uint8)
        seen = cv2.GaussianBlur(noise, (0, 0), 4.0).astype(np.uint8)
    elif what == "all white":
        seen[:] = 255
    elif what == "another bench":
        seen = Picture(4).render(DARK, DARK, 9)[::-1]
    else:
        height, width = seen.shape[:2]
        seen = cv2.warpAffine(seen, cv2.getRotationMatrix2D((width / 2, height / 2), 25.0, 1.0), (width, height))
    assert isinstance(learned(table).shift_px(np.ascontiguousarray(seen, dtype=np.uint8)), NotTold)


def test_a_torn_picture_is_not_taken_for_a_move_of_all_of_it() -> None:
    """Its lower half slipped to the side, as a JPEG that lost a block is decoded."""
    table = Picture(1)
    place = learned(table)
    seen = table.render(GREEN, DARK, 9).copy()
    row = place.window[1] + place.window[3] // 2
    seen[row:] = np.roll(seen[row:], 90, axis=1)
    shift_px = place.shift_px(seen)
    assert isinstance(shift_px, NotTold) or shift_px < 0.3


def test_where_nothing_has_an_outline_no_place_is_known() -> None:
    flat = np.full((240, 320, 3), 90, np.uint8)
    told = place_of(flat, (100, 100, 40, 40), [(100, 100, 40, 40)])
    assert isinstance(told, NotTold)
    assert "outline" in told.reason


def test_a_picture_that_is_hardly_larger_than_the_lamp_tells_of_no_place() -> None:
    noise = np.random.default_rng(2).integers(0, 255, (120, 160, 3)).astype(np.uint8)
    told = place_of(noise, (30, 30, 60, 60), [(30, 30, 60, 60)])
    assert isinstance(told, NotTold)
    assert "160 × 120" in told.reason


def test_a_lamp_at_the_picture_s_edge_has_a_place_too() -> None:
    table = Picture(5)
    picture = table.render(DARK, DARK, 1)
    region = (0, 0, 40, 40)
    place = place_of(picture, region, [region])
    assert isinstance(place, Place)
    assert place.shift_px(moved(picture, 5.0, 0.0)) == pytest.approx(5.0, abs=0.3)
