"""The virtual bench's pictures, drawn by a lamp's data sheet and a measured camera, as a run reads them."""

import cv2
import numpy as np
import pytest

from hil.lamp import colour_words, dark_reference, read_light
from hil.lamp.light import Crops
from hil.virtual.scene.picture import DARK, Picture, as_jpeg

DRIVES = {"white": (0.6, 0.6, 0.6), "red": (0.85, 0.0, 0.0), "green": (0.0, 0.7, 0.0), "blue": (0.0, 0.0, 0.85)}


@pytest.mark.parametrize("seed", range(8))
def test_every_frame_of_each_colour_has_its_word(seed: int) -> None:
    picture = Picture(seed)
    x, y, width, height = picture.regions["unit"]

    def frames(drive: tuple[float, float, float], first: int) -> Crops:
        taken = [as_jpeg(picture.render(drive, DARK, frame)) for frame in range(first, first + 6)]
        decoded = [cv2.imdecode(np.frombuffer(one, np.uint8), cv2.IMREAD_COLOR) for one in taken]
        return np.stack([one[y : y + height, x : x + width] for one in decoded if one is not None]).astype(np.uint8)

    dark = dark_reference(frames(DARK, 0))
    for word, drive in DRIVES.items():
        assert set(colour_words(read_light(frames(drive, 20), dark))) == {word}
