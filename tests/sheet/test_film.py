"""Film strips: their pixels are read back by Pillow, a reader that had no part in writing them."""

import base64
import io
import re

import numpy as np
import pytest
from PIL import Image

from hil.core.frames import LampFrames
from hil.sheet.film import MOST_TILES, TILE_PIXELS, film_strip, pick_frames, still

GREEN, BLUE = (40, 225, 30), (250, 60, 20)  # blue, green, red


def frames_of(colours: list[tuple[int, int, int]], side: int = 16) -> LampFrames:
    """Flat crops, one each 0.1 s."""
    crops = np.array(colours, dtype=np.uint8)[:, None, None, :] * np.ones((1, side, side, 1), np.uint8)
    return LampFrames(np.arange(len(colours)) / 10.0, crops, crops)


def picture_in(svg: str) -> np.ndarray:
    """The PNG an SVG carries, as red, green, blue."""
    data = re.search(r"data:image/png;base64,([^\"]+)", svg)
    assert data
    return np.asarray(Image.open(io.BytesIO(base64.b64decode(data[1]))).convert("RGB"))


def test_the_first_frame_of_a_new_colour_is_picked_however_short() -> None:
    colours = [GREEN] * 500
    colours[217] = BLUE
    assert 217 in pick_frames(frames_of(colours))


def test_a_strip_never_outgrows_its_row_and_is_in_order_of_time() -> None:
    rainbow = [(i % 256, (i * 7) % 256, (i * 31) % 256) for i in range(600)]
    picked = pick_frames(frames_of(rainbow))
    assert len(picked) <= MOST_TILES
    assert picked == sorted(picked)
    assert picked[0] == 0
    assert picked[-1] == 599


def test_the_pixels_of_a_strip_are_those_of_the_camera() -> None:
    svg = film_strip(frames_of([GREEN, BLUE]), 0.0)
    picture = picture_in(svg)
    assert picture.shape == (TILE_PIXELS, 2 * TILE_PIXELS, 3)
    assert (picture[:, :TILE_PIXELS] == GREEN[::-1]).all()
    assert (picture[:, TILE_PIXELS:] == BLUE[::-1]).all()


def test_a_still_is_the_frame_nearest_to_the_moment() -> None:
    found = still(frames_of([GREEN] * 5 + [BLUE] + [GREEN] * 5), 0.52)
    assert found is not None
    picture, time_s = found
    assert time_s == pytest.approx(0.5)
    assert (picture_in(picture) == BLUE[::-1]).all()


def test_no_frames_give_no_picture() -> None:
    nothing = frames_of([GREEN]).within(5.0, 6.0)
    assert film_strip(nothing, 0.0) == ""
    assert still(nothing, 0.0) is None
