"""Which desks are left out: those where a careful person could not name the lamp's colour by looking at the lit picture.

All bounds are our own figures, kept wide. They look at light alone, before noise: the colour in which the camera would show the
lamp's light where nothing is overexposed; how bright and how large the coloured part is; how far the lamp floods the picture;
how strong room and neighbours are where the lamp is. "Off" is held to the same bounds as if all of its lamp were lit, so that
dark lamps are seen in the same conditions as lit ones.
"""

import colorsys
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hil.virtual.desk.camera import Camera, encoded
from hil.virtual.desk.spectra import Floats

Picture = NDArray[np.float32]

#: Hue of the shown colour, in degrees; sRGB's red is 0, orange (#FFA500) 39, yellow 60, green 120, blue 240.
_HUES = {
    "red": (-30.0, 12.0),
    "amber": (24.0, 64.0),
    None: (68.0, 110.0),
    "green": (85.0, 163.0),
    "blue": (195.0, 268.0),
}
# Saturation (HSV) of a colour. Amber mixed with a green emitter is pale: cameras see some of that green as blue.
_LEAST_COLOURED, _LEAST_COLOURED_AMBER = 0.75, 0.65
# And of what is still called white: a cold or a warm white may be more coloured than a greenish or a pink one.
_MOST_COLOURED_WHITE, _MOST_TINTED_WHITE = 0.5, 0.3
_COLD, _WARM = (190.0, 265.0), (15.0, 65.0)

_VISIBLE = 0.06  # filling that is seen in a picture beside the dark lamp
_PLAIN = 0.10  # and filling that is seen at once
_LEAST_COLOURED_PX = 20.0  # where the lamp shows its colour: not overexposed, and as bright as the room
_LEAST_COLOURED_SHARE = 0.3  # of as many pixels as are overexposed
_LEAST_BRIGHT = 0.10  # filling at the lamp's middle
_LEAST_AGAINST_ROOM = 0.5
_MOST_FLOODED = 0.25  # share of the picture that is overexposed by the lamp
_MOST_NEIGHBOURS = 0.3  # of the lamp's own light where it shows its colour


@dataclass(frozen=True, slots=True)
class Seen:
    """What the lamp does in the picture: `full` (h, w) and `ambient` (h, w) are the balanced fillings of the strongest channel,
    `neighbours` as well; `visible` (h, w) says where the lamp is seen."""

    full: Picture
    ambient: Picture
    neighbours: Picture
    visible: NDArray[np.bool_]


def shown_colour(camera: Camera, light: Floats) -> tuple[float, float]:
    """Give the hue in degrees (-180 to 180) and the HSV saturation in which a camera shows light that is not overexposed."""
    linear = np.maximum(camera.matrix @ (camera.gains * camera.answers(light)), 0.0)
    red, green, blue = encoded(linear / linear.max())
    hue, saturation, _ = colorsys.rgb_to_hsv(float(red), float(green), float(blue))
    return (hue * 360 + 180) % 360 - 180, saturation


def has_its_colour(word: str | None, hue_deg: float, saturation: float) -> bool:
    """Say whether a shown colour may be called by its word."""
    if word == "off":
        return True
    if word == "white":
        usual = any(low <= hue_deg % 360 <= high for low, high in (_COLD, _WARM))
        return saturation <= (_MOST_COLOURED_WHITE if usual else _MOST_TINTED_WHITE)
    low, high = _HUES[word]
    turned = hue_deg + 360 if hue_deg < low else hue_deg
    least = _LEAST_COLOURED_AMBER if word == "amber" else _LEAST_COLOURED
    return low <= turned <= high and saturation >= least


def look(ambient: Picture, lamp: Picture, neighbours: Picture, gains: Floats) -> Seen:
    """Look at layers of filling, each (h, w, 3)."""
    full, room, others = [(layer * gains.astype(np.float32)).max(axis=2) for layer in (lamp, ambient, neighbours)]
    visible = (full >= _VISIBLE) & (full >= 0.2 * np.minimum(room, 1.0))
    return Seen(full, room, others, visible)


def can_be_named(seen: Seen, middle: tuple[slice, slice]) -> bool:
    """Say whether the lamp is bright, large and free enough; `middle` is the few pixels at its centre."""
    bright = float(seen.full[middle].mean())
    room = float(seen.ambient[middle].mean())
    flooded = seen.full >= 1.0
    coloured = seen.visible & (seen.full + seen.ambient < 1.0) & (seen.full >= seen.ambient)
    return (
        bright >= max(_LEAST_BRIGHT, _LEAST_AGAINST_ROOM * room)
        and float(coloured.sum()) >= max(_LEAST_COLOURED_PX, _LEAST_COLOURED_SHARE * float(flooded.sum()))
        and float(flooded.mean()) <= _MOST_FLOODED
        and float(seen.neighbours[coloured].mean()) <= _MOST_NEIGHBOURS * float(seen.full[coloured].mean())
    )


def glow_radius_px(seen: Seen) -> float:
    """Give the radius of a disc as large as the glow a user would draw a box around."""
    return math.sqrt(float((seen.visible & (seen.full >= _PLAIN)).sum()) / math.pi)
