"""The colour word of the live panel, of crops made here."""

import numpy as np

from hil.cli.lamp_word import DARK_FRAMES, LampWord
from hil.core.frames import Crops
from hil.lamp.light import SRGB_DECODE


def crop(middle: tuple[int, int, int]) -> Crops:
    """Give a crop whose middle has a colour, blue first."""
    made = np.full((30, 30, 3), 2, np.uint8)
    made[10:20, 10:20] = middle
    return made


def test_the_word_goes_by_the_camera_s_own_curve() -> None:
    """Codes in proportion to the light: amber, of which the curve of sRGB takes most of the green."""
    straight = (np.arange(256) / 255.0).astype(np.float32)
    told = []
    for curve in (straight, SRGB_DECODE):
        lamp = LampWord(curve)
        assert lamp.now() == "not seen yet"
        for _ in range(DARK_FRAMES):
            lamp.see(crop((2, 2, 2)))
        assert lamp.now() == "dark"
        lamp.see(crop((2, 54, 200)))
        told.append(lamp.now())
    assert told == ["amber", "unrecognised"]
