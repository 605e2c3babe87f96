"""What a chromaticity diagram shows besides points: the border of all colours, what a camera's channels span, and which part
of that each colour word owns.
"""

import numpy as np

from hil.lamp.colour import SECTORS, colour_up_to, uv_of_rgb, white_from
from hil.lamp.doubt import Floats
from hil.lamp.observer import spectral_locus

STEP_DEG = 3.0


def all_colours() -> Floats:
    """Give the border of all colours in u'v', shape (n, 2): the pure ones, closed by the line of purples."""
    return spectral_locus()


def channels_span() -> Floats:
    """Give the corners of what linear sRGB spans, shape (3, 2)."""
    return uv_of_rgb(np.eye(3))


def outline_of(word: str) -> Floats:
    """Give the border of what a colour word owns for light without doubt, shape (n, 2).

    Raises KeyError: no such word.
    """
    if word == "white":
        hues = np.arange(0.0, 360.0, STEP_DEG)
        return uv_of_rgb(_light_of(hues, white_from(hues)))
    sector = {sector.word: sector for sector in SECTORS}[word]
    hues = np.append(np.arange(sector.from_deg, sector.to_deg, STEP_DEG), sector.to_deg)
    near, far = _light_of(hues, colour_up_to(hues)), _light_of(hues, np.zeros_like(hues))
    return uv_of_rgb(np.concatenate([near, far[::-1]]))


def _light_of(hues_deg: Floats, whiteness: Floats) -> Floats:
    """Give linear light of a hue and a whiteness, largest channel 1, shape (n, 3)."""
    turns = np.stack([hues_deg, hues_deg - 120.0, hues_deg - 240.0], axis=1)
    from_channel = np.abs((turns + 180.0) % 360.0 - 180.0)  # degrees from each channel's own hue
    shares = np.clip(2.0 - from_channel / 60.0, 0.0, 1.0)
    light: Floats = whiteness[:, None] + (1.0 - whiteness[:, None]) * shares
    return light
