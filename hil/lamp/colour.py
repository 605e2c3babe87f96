"""From linear light to a colour word, or to "unrecognised".

Theory: linear sRGB → XYZ (IEC 61966-2-1) → CIE 1976 u'v'. A colour is a direction (hue) and a distance from
white. A word owns a sector of directions from some distance outwards; between the sectors, and between
white and the sectors, lie reject zones that belong to no word. A point also has to clear the border by its own
doubt. So a doubtful colour is never given the nearest word.

Where the sectors come from: the direction of the light of a common addressable lamp at its dominant
wavelengths (data sheet of the WS2812B, version 5: red 620-630, green 515-525, blue 465-475 nm; amber 590 nm;
yellow as red and green together) and the direction of the display primary it is cut down to by a camera
with sRGB output, then widened for cameras whose channels leak into each other. `REFERENCE_UV` has those points,
and a test holds each inside its sector. The widths of sectors and reject zones: common practice, no source.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hil.lamp.doubt import NORMAL_95, Floats

OFF = "off"
UNRECOGNISED = "unrecognised"
COLOURS = ("white", "red", "amber", "green", "blue")
SAME_COLOUR = {"yellow": "amber"}  # two words for one meaning of IEC 60073; cameras do not part them safely

# IEC 61966-2-1, derived from the primaries to seven places.
RGB_TO_XYZ = np.array(
    [[0.4123908, 0.3575843, 0.1804808], [0.2126390, 0.7151687, 0.0721923], [0.0193308, 0.1191948, 0.9505322]]
)
D65_UV = (0.197830, 0.468320)  # CIE 15; the white of a camera that is balanced for daylight


@dataclass(frozen=True, slots=True)
class Sector:
    """A word's directions, in degrees anticlockwise from +u' about white, and its least distances in u'v'.

    least: (direction, least distance) rising from the sector's one border to the other, straight between.
    """

    word: str
    least: tuple[tuple[float, float], ...]

    @property
    def from_deg(self) -> float:
        """Give the first border."""
        return self.least[0][0]

    @property
    def to_deg(self) -> float:
        """Give the last border."""
        return self.least[-1][0]


SECTORS = (
    Sector("red", ((-15.0, 0.100), (20.0, 0.100))),
    # At 42 to 51 degrees lies warm white (4000 to 2700 K, at 0.04 to 0.09), which must not read as amber.
    Sector("amber", ((25.0, 0.089), (50.0, 0.089), (80.0, 0.056), (95.0, 0.056))),
    Sector("green", ((108.0, 0.065), (165.0, 0.065))),
    # Beyond the bluest white: 0.098 and 0.110 by the old and the version 5 data sheet's intensities, unbalanced.
    Sector("blue", ((238.0, 0.118), (282.0, 0.118))),
)
WHITE_RADIUS = 0.045
# Addressable lamps' white is bluish, so white reaches further that way; for an unbalanced one hand in `white`.
WHITE_RADIUS_TO_BLUE = 0.075
# Seen on the board around it, that white loses red: then it lies up to 0.045 away at 198 to 250 degrees (200 scenes of
# the virtual bench). A white whose red emitter is dead lies at 194 to 218 degrees, from 0.061 on.
WHITE_BEFORE_BLUE = ((200.0, WHITE_RADIUS), (238.0, 0.060))  # direction, radius

# Spectral chromaticities (CIE 1931, 2 degree) at the data sheet's wavelengths, as u'v'; sRGB primaries likewise.
REFERENCE_UV = {
    "red": ((0.52021, 0.52192), (0.55649, 0.51651), (0.450704, 0.522887)),  # 620, 630 nm; sRGB red
    "amber": ((0.33148, 0.55012), (0.203931, 0.552900)),  # 590 nm; sRGB red and green together
    "green": ((0.01227, 0.57697), (0.03600, 0.58614), (0.125000, 0.562500)),  # 515, 525 nm; sRGB green
    "blue": ((0.16898, 0.11190), (0.11467, 0.20445), (0.175439, 0.157895)),  # 465, 475 nm; sRGB blue
    "white": (D65_UV,),
}


def xyz_of_rgb(rgb_linear: Floats) -> Floats:
    """Give CIE XYZ of linear sRGB light, shape (..., 3); white (1, 1, 1) has Y = 1."""
    xyz: Floats = np.asarray(rgb_linear, dtype=np.float64) @ RGB_TO_XYZ.T
    return xyz


def luminance_of(rgb_linear: Floats) -> Floats:
    """Give the luminance Y of linear sRGB light, shape (..., 3) → (...)."""
    luminance: Floats = np.asarray(rgb_linear, dtype=np.float64) @ RGB_TO_XYZ[1]
    return luminance


def uv_of_xyz(xyz: Floats) -> Floats:
    """Give CIE 1976 u'v' (ISO/CIE 11664-5), shape (..., 3) → (..., 2); no light gives not-a-number."""
    x, y, z = np.moveaxis(np.asarray(xyz, dtype=np.float64), -1, 0)
    whole = x + 15.0 * y + 3.0 * z
    whole = np.where(whole > 0.0, whole, np.nan)
    return np.stack([4.0 * x / whole, 9.0 * y / whole], axis=-1)


def uv_of_rgb(rgb_linear: Floats) -> Floats:
    """Give u'v' of linear sRGB light, shape (..., 3) → (..., 2)."""
    return uv_of_xyz(xyz_of_rgb(rgb_linear))


def uv_spread(rgb_linear: Floats, rgb_covariance: Floats) -> Floats:
    """Carry a covariance of linear RGB, shape (n, 3, 3), to u'v', shape (n, 2, 2), to first order."""
    xyz = xyz_of_rgb(rgb_linear)
    whole = xyz @ np.array([1.0, 15.0, 3.0])
    uv = uv_of_xyz(xyz)
    by_xyz = (np.array([[4.0, 0.0, 0.0], [0.0, 9.0, 0.0]]) - uv[:, :, None] * np.array([1.0, 15.0, 3.0])) / whole[
        :, None, None
    ]
    by_rgb = by_xyz @ RGB_TO_XYZ
    spread: Floats = by_rgb @ rgb_covariance @ np.swapaxes(by_rgb, 1, 2)
    return spread


def colour_word(
    uv: Sequence[float] | Floats, doubt: float | Floats = 0.0, *, white: tuple[float, float] = D65_UV
) -> str:
    """Name a colour, or say "unrecognised".

    Args:
        uv: u'v' of the lamp's light.
        doubt: the point's covariance, shape (2, 2), or one 95 % half-width that holds in every direction.
        white: u'v' of what this camera calls white; the measured white of a known white lamp where there is one.

    Raises ValueError: a shape is wrong or a doubt negative.
    """
    point = np.asarray(uv, dtype=np.float64)
    if point.shape != (2,):
        raise ValueError(f"a colour has shape (2,), not {point.shape}.")
    covariance = _covariance_of(doubt)
    if not (np.isfinite(point).all() and np.isfinite(covariance).all()):
        return UNRECOGNISED
    away = point - np.asarray(white)
    distance, angle = float(np.hypot(*away)), math.atan2(away[1], away[0])
    outwards = np.array([math.cos(angle), math.sin(angle)])
    radial = NORMAL_95 * math.sqrt(max(0.0, float(outwards @ covariance @ outwards)))
    sideways = np.array([-outwards[1], outwards[0]])
    lateral = NORMAL_95 * math.sqrt(max(0.0, float(sideways @ covariance @ sideways)))
    return _word_at(distance, math.degrees(angle), radial, lateral)


def _covariance_of(doubt: float | Floats) -> Floats:
    if isinstance(doubt, np.ndarray) and doubt.shape == (2, 2):
        return doubt
    if isinstance(doubt, np.ndarray) and doubt.size != 1:
        raise ValueError(f"a doubt is one half-width or a covariance of shape (2, 2), not {doubt.shape}.")
    if float(doubt) < 0.0:
        raise ValueError(f"a doubt cannot be negative: {float(doubt)}.")
    return np.eye(2) * (float(doubt) / NORMAL_95) ** 2


def _word_at(distance: float, angle_deg: float, radial: float, lateral: float) -> str:
    towards = _sector_at(angle_deg)
    if distance + radial < white_radius(angle_deg):
        return "white"
    if towards is None:
        return UNRECOGNISED
    inside = min(_degrees_inside(towards, angle_deg), 90.0)
    clear_of_white = distance - radial > least_distance(towards, angle_deg)
    clear_of_neighbours = distance * math.sin(math.radians(inside)) > lateral
    return towards.word if clear_of_white and clear_of_neighbours else UNRECOGNISED


def white_radius(angle_deg: float) -> float:
    """Give how far white reaches in a direction, in degrees anticlockwise from +u' about white."""
    angle_deg, towards = angle_deg % 360.0, _sector_at(angle_deg)
    if towards is not None and towards.word == "blue":
        return WHITE_RADIUS_TO_BLUE
    (from_deg, least), (to_deg, most) = WHITE_BEFORE_BLUE
    share = (angle_deg - from_deg) / (to_deg - from_deg)
    return least + share * (most - least) if 0.0 < share <= 1.0 else WHITE_RADIUS


def _sector_at(angle_deg: float) -> Sector | None:
    return next((sector for sector in SECTORS if _degrees_inside(sector, angle_deg) > 0.0), None)


def _degrees_inside(sector: Sector, angle_deg: float) -> float:
    """Give how far inside the sector's nearer border a direction lies; negative outside."""
    middle, half = (sector.from_deg + sector.to_deg) / 2, (sector.to_deg - sector.from_deg) / 2
    return half - abs((angle_deg - middle + 180.0) % 360.0 - 180.0)


def least_distance(sector: Sector, angle_deg: float) -> float:
    """Give how far from white a sector begins in a direction inside it."""
    degrees, distances = zip(*sector.least, strict=True)
    return float(np.interp((angle_deg - degrees[0]) % 360.0 + degrees[0], degrees, distances))
