"""Whether a camera was moved, held against pictures of the virtual bench's table moved by known shifts (OpenCV)."""

import warnings
from functools import cache

import cv2
import numpy as np
import pytest

from hil.lamp import NotTold
from hil.lamp.doubt import Floats
from hil.lamp.light import Crops
from hil.lamp.place import Place, place_in_dim_light, place_of
from hil.virtual.scene.picture import Picture, as_jpeg

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

DARK, GREEN, WHITE = (0.0, 0.0, 0.0), (0.0, 1.0, 0.0), (1.0, 1.0, 1.0)
SEEDS = range(6)


def through_jpeg(picture: Crops) -> Crops:
    decoded = cv2.imdecode(np.frombuffer(as_jpeg(picture), np.uint8), cv2.IMREAD_COLOR)
    assert decoded is not None
    return decoded.astype(np.uint8)


def moved(picture: Crops, across: float, down: float) -> Crops:
    height, width = picture.shape[:2]
    return cv2.warpAffine(picture, np.array([[1.0, 0.0, across], [0.0, 1.0, down]]), (width, height)).astype(np.uint8)


@cache
def table_of(seed: int) -> Picture:
    return Picture(seed)


@cache
def learned(table: Picture) -> Place:
    place = place_of(through_jpeg(table.render(DARK, DARK, 1)), table.regions["unit"], list(table.regions.values()))
    assert isinstance(place, Place)
    return place


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("lamps", [(DARK, DARK), (GREEN, WHITE), (WHITE, DARK)])
@pytest.mark.parametrize("room", [0.8, 1.0, 1.2])
def test_a_camera_that_stands_still_stands_still_whatever_shines(
    seed: int, lamps: tuple[tuple[float, float, float], tuple[float, float, float]], room: float
) -> None:
    table = table_of(seed)
    seen = np.clip(table.render(*lamps, 77).astype(float) * room, 0, 255).astype(np.uint8)
    shift_px = learned(table).shift_px(through_jpeg(seen))
    assert not isinstance(shift_px, NotTold)
    assert shift_px < 0.3


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("by", [(1.5, 0.0), (-1.5, 1.5), (0.0, 3.5), (8.0, -6.0), (-20.0, 15.0), (30.0, 25.0)])
def test_a_shift_is_told_to_a_part_of_a_pixel(seed: int, by: tuple[float, float]) -> None:
    table = table_of(seed)
    place = learned(table)
    shift_px = place.shift_px(through_jpeg(moved(table.render(GREEN, WHITE, 9), *by)))
    assert shift_px == pytest.approx(np.hypot(*by), abs=0.3)
    assert shift_px > place.most_px


def test_less_than_a_pixel_is_no_shift() -> None:
    table = table_of(2)
    place = learned(table)
    shift_px = place.shift_px(through_jpeg(moved(table.render(WHITE, DARK, 9), 0.5, -0.4)))
    assert not isinstance(shift_px, NotTold)
    assert shift_px <= place.most_px


@pytest.mark.parametrize("what", ["a covered lens", "a hand", "all white", "another bench", "turned"])
def test_where_nothing_is_alike_nothing_is_told(what: str) -> None:
    table = table_of(3)
    seen = table.render(DARK, DARK, 9).copy()
    if what == "a covered lens":
        seen = table.black(9)
    elif what == "a hand":
        noise = np.random.default_rng(5).integers(60, 220, seen.shape).astype(np.uint8)
        seen = cv2.GaussianBlur(noise, (0, 0), 4.0).astype(np.uint8)
    elif what == "all white":
        seen[:] = 255
    elif what == "another bench":
        seen = table_of(4).render(DARK, DARK, 9)[::-1]
    else:
        height, width = seen.shape[:2]
        seen = cv2.warpAffine(seen, cv2.getRotationMatrix2D((width / 2, height / 2), 25.0, 1.0), (width, height))
    assert isinstance(learned(table).shift_px(np.ascontiguousarray(seen, dtype=np.uint8)), NotTold)


def lit_otherwise(picture: Crops, times: Floats) -> Crops:
    """The picture with so many times its light, shape (h, w) or (h, w, 3); decoded and encoded by colour-science (sRGB)."""
    linear = colour.models.eotf_sRGB(picture / 255.0) * np.broadcast_to(np.atleast_3d(times), picture.shape)
    return np.round(255.0 * colour.models.eotf_inverse_sRGB(np.clip(linear, 0.0, 1.0))).astype(np.uint8)


def light_of(name: str) -> Floats:
    """How many times as bright each part of the picture is, by another light; some throw shadows."""
    down, across = np.mgrid[0:480, 0:640]
    shadows = np.ones((480, 640), np.uint8)
    for corner in np.random.default_rng(8).integers(0, 480, (12, 2)).tolist():
        cv2.rectangle(shadows, corner, (corner[0] + 60, corner[1] + 25), 0, cv2.FILLED)
    even = np.ones((480, 640))
    lights = {
        "half": 0.5 * even,
        "double": 2.0 * even,
        "a quarter": 0.25 * even,
        "from the window": 0.3 + 1.4 * across / 640.0,
        "a warm lamp": np.stack([0.5 * even, even, 1.6 * even], axis=2),
        "a desk lamp": 0.3 + 3.0 * np.exp(-((across - 200) ** 2 + (down - 150) ** 2) / 2.0 / 120.0**2),
        "with shadows": cv2.GaussianBlur(0.3 + 0.7 * shadows, (0, 0), 2.0),
    }
    return np.asarray(lights[name], dtype=np.float64)


LIGHTS = ("half", "double", "a quarter", "from the window", "a warm lamp", "a desk lamp", "with shadows")


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("light", LIGHTS)
def test_another_day_s_light_is_no_shift_and_hides_none(seed: int, light: str) -> None:
    table = Picture(seed)
    place = learned(table)
    seen = lit_otherwise(table.render(GREEN, DARK, 9), light_of(light))
    for by in ((0.0, 0.0), (2.0, 0.0), (-1.5, 1.5), (6.0, -3.0)):
        shift_px = place.shift_since_px(through_jpeg(moved(seen, *by)))
        assert shift_px == pytest.approx(np.hypot(*by), abs=0.4)
        assert (shift_px > place.most_px) == (by != (0.0, 0.0))


def test_between_two_days_a_place_may_be_anywhere_in_the_picture() -> None:
    table = Picture(3)
    shift_px = learned(table).shift_since_px(through_jpeg(moved(table.render(DARK, WHITE, 9), 80.0, 60.0)))
    assert shift_px == pytest.approx(100.0, abs=0.4)


@pytest.mark.parametrize("what", ["a covered lens", "all white", "another bench"])
def test_between_two_days_nothing_is_told_where_nothing_is_alike(what: str) -> None:
    table = Picture(3)
    pictures = {
        "a covered lens": table.black(9),
        "all white": np.full((480, 640, 3), 255, np.uint8),
        "another bench": Picture(4).render(DARK, DARK, 9)[::-1].copy(),
    }
    assert isinstance(learned(table).shift_since_px(through_jpeg(pictures[what])), NotTold)


@pytest.mark.parametrize("times", [0.3, 2.5, 6.0])
def test_a_room_light_that_goes_on_or_off_is_told_as_such(times: float) -> None:
    table = table_of(3)
    told = learned(table).shift_px(
        through_jpeg(lit_otherwise(table.render(GREEN, DARK, 9), np.full((480, 640), times)))
    )
    assert isinstance(told, NotTold)
    assert "times what it was" in told.reason


@pytest.mark.parametrize("seed", SEEDS)
def test_a_torch_over_the_board_is_told_as_such(seed: int) -> None:
    table = table_of(seed)
    x, y, width, height = table.regions["unit"]
    down, across = np.mgrid[0:480, 0:640]
    spot = np.exp(-((across - x - width / 2) ** 2 + (down - y - height / 2) ** 2) / 2.0 / 100.0**2)
    told = learned(table).shift_px(through_jpeg(lit_otherwise(table.render(DARK, DARK, 9), 1.0 + 5.0 * spot)))
    assert isinstance(told, NotTold)


def test_a_film_on_a_screen_beside_the_board_is_told_where_it_counts() -> None:
    table, chance = table_of(2), np.random.default_rng(4)
    place = learned(table)
    for scene in range(20):
        tint = 1.0 + chance.uniform(0.0, 1.0, 3) * chance.choice([0.1, 4.0])
        strong = tint.min() > 2.0
        told = place.shift_px(through_jpeg(lit_otherwise(table.render(GREEN, DARK, scene), tint[None, None, :])))
        assert isinstance(told, NotTold) or not strong
        assert not isinstance(told, NotTold) or tint.max() > 1.5


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("width_px", [60, 90])
@pytest.mark.parametrize("degrees", [20, 110, 200, 290])
def test_a_finger_on_the_lamp_is_told_as_such(seed: int, width_px: int, degrees: int) -> None:
    table = table_of(seed)
    x, y, width, height = table.regions["unit"]
    down, across = np.mgrid[0:480, 0:640]
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    along = (across - x - width / 2) * cos + (down - y - height / 2) * sin
    beside = (down - y - height / 2) * cos - (across - x - width / 2) * sin
    seen = table.render(WHITE, DARK, 9).copy()
    seen[(np.abs(beside) < width_px / 2) & (along > -width_px / 2)] = (110, 130, 170)
    told = learned(table).shift_px(through_jpeg(cv2.GaussianBlur(seen, (0, 0), 1.0).astype(np.uint8)))
    assert isinstance(told, NotTold)


def test_in_a_dark_room_no_place_is_known() -> None:
    """There the lamp itself lights what lies around it."""
    table = table_of(3)
    dark = lit_otherwise(table.render(DARK, DARK, 1), np.full((480, 640), 0.05))
    told = place_of(dark, table.regions["unit"], list(table.regions.values()))
    assert isinstance(told, NotTold)
    assert "dark" in told.reason


def test_a_torn_picture_is_not_taken_for_a_move_of_all_of_it() -> None:
    """Its lower half slipped to the side, as a JPEG that lost a block is decoded."""
    table = table_of(1)
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
    table = table_of(5)
    picture = table.render(DARK, DARK, 1)
    region = (0, 0, 40, 40)
    place = place_of(picture, region, [region])
    assert isinstance(place, Place)
    assert place.shift_px(moved(picture, 5.0, 0.0)) == pytest.approx(5.0, abs=0.3)


def test_in_dim_light_the_table_s_outlines_are_those_of_a_longer_exposure() -> None:
    dim, usual = Picture(3, exposure_s=0.001), Picture(3)
    regions = list(dim.regions.values())
    lit = [through_jpeg(dim.render(GREEN, DARK, at)) for at in range(3)]
    dark, longer = through_jpeg(dim.render(DARK, DARK, 5)), through_jpeg(usual.render(DARK, DARK, 6))
    assert isinstance(place_of(dark, regions[0], regions), NotTold)
    place = place_in_dim_light(dark, lit, regions[0], regions, longer)
    assert isinstance(place, Place)
    shift_px = place.shift_px(moved(lit[1], 4.0, 0.0))
    assert shift_px == pytest.approx(4.0, abs=0.5)


@pytest.mark.parametrize("shape", [(1, 640, 1), (480, 640, 1)])
def test_a_sensor_s_own_pattern_is_no_place(shape: tuple[int, int, int]) -> None:
    """Columns, or single pixels, that are brighter than others wherever the camera looks: next to no light shows them alone."""
    pattern = np.random.default_rng(2).normal(0.0, 4.0, shape)

    def of(seed: int, share: float) -> Crops:
        noise = np.random.default_rng(seed).normal(0.0, 1.0, (480, 640, 1))
        seen = table_of(3).render(DARK, DARK, seed).astype(float) * share
        return np.clip(6.0 + seen + pattern + noise, 0, 255).astype(np.uint8)

    regions = list(table_of(3).regions.values())
    dark, lit, longer = of(1, 0.01), [of(2, 0.01), of(3, 0.01)], of(4, 1.0)
    assert isinstance(place_in_dim_light(dark, lit, regions[0], regions), Place)
    assert isinstance(place_in_dim_light(dark, lit, regions[0], regions, longer), NotTold)
