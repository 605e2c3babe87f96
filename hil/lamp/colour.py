"""From linear light to a colour word, or to "unrecognised".

Two things are asked of the three channels. Their smallest over their largest, the *whiteness*: light of one narrow emitter
lies outside what a camera's channels span, or at its border, so that after the camera's own colour matrix the smallest
channel has next to nothing; white light, whatever white the camera is balanced for, keeps a good part of all three. And the
*hue*, the direction between the channels: of a colour each word owns a sector. Between white and the colours, and between
the sectors, lie reject zones that belong to no word, and a point has to clear each border by its own doubt: so a doubtful
colour is never given the nearest word.

Why not by distance in u'v', which is even to the eye: there the whites of cameras that are balanced for another light
reach as far out as a camera's own blue does, since green weighs so much in it. Chromaticities are reported in u'v' all the
same (linear sRGB → XYZ, IEC 61966-2-1 → CIE 1976 u'v').

Where the sectors come from: the hue of the light of a common addressable lamp at its dominant wavelengths (data sheet of the
WS2812B, version 5: red 620-630, green 515-525, blue 465-475 nm; amber 590 nm; yellow as red and green together), and of the
yellow-green of 565 to 570 nm that older board lamps call green. In photographs (`tests/lamp/photographs`) red lamps lie at 355 to
4 degrees and amber ones from 12 on. Widths of sectors and reject zones, and the bounds of whiteness: common practice, no source.
White of 2700 K has a whiteness of 0.09 before a camera balanced for daylight (Planck's law, as sRGB), and amber has that before
one whose channels leak: between the two nothing is told.
"""

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
    """A word's hues: degrees from red (0) by green (120) to blue (240), on linear light."""

    word: str
    from_deg: float
    to_deg: float


# The green of signal lamps is bluish, and cameras show it as turquoise; of an addressable lamp's green and blue together they
# show 185 to 240 degrees, and of its blue alone, as broad as that of data sheets is, 219 and more.
SECTORS = (
    Sector("red", -30.0, 2.5),
    Sector("amber", 4.5, 56.0),
    Sector("green", 80.0, 178.0),
    Sector("blue", 212.0, 262.0),
)
# Up to which whiteness light of a hue is a colour, and from which on it is white: hue in degrees, colour, white; straight
# between. White light of lamps and rooms lies between amber and blue, whatever the camera is balanced for: there the two are
# near each other. Away from it a camera whose channels leak, or a lamp on a bright board, may leave a colour more of white.
BOUNDS = np.array(
    [
        (-75.0, 0.10, 0.25),
        (-15.0, 0.10, 0.25),
        (-10.0, 0.17, 0.50),
        (4.0, 0.17, 0.50),
        (15.0, 0.088, 0.25),
        (44.0, 0.088, 0.25),
        (50.0, 0.15, 0.30),
        (75.0, 0.25, 0.40),
        (170.0, 0.25, 0.40),
        (200.0, 0.06, 0.09),
        (268.0, 0.06, 0.09),
    ]
)


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


def hue_of(rgb_linear: Floats) -> Floats:
    """Give the hue in degrees, 0 to 360, of linear light, shape (..., 3): the angle of the hexagon between the channels."""
    light = np.maximum(np.asarray(rgb_linear, dtype=np.float64), 0.0)
    least, most = light.min(axis=-1), light.max(axis=-1)
    span = np.where(most > least, most - least, np.nan)
    red, green, blue = np.moveaxis(light, -1, 0)
    by_channel = np.stack([(green - blue) / span, 2.0 + (blue - red) / span, 4.0 + (red - green) / span])
    hue: Floats = 60.0 * np.take_along_axis(by_channel, light.argmax(axis=-1)[None], axis=0)[0] % 360.0
    return hue


def words_of(rgb_linear: Floats, rgb_covariance: Floats, sectors: Sequence[Sector] = SECTORS) -> list[str]:
    """Name colours, or say "unrecognised".

    Args:
        rgb_linear: the lamp's light, shape (n, 3), linear, any scale; a channel below zero has none.
        rgb_covariance: its covariance, shape (n, 3, 3), same scale squared.
        sectors: which hues have which word.

    Raises ValueError: a shape is wrong or a variance negative.
    """
    if rgb_linear.ndim != 2 or rgb_linear.shape[1] != 3:
        raise ValueError(f"colours have shape {rgb_linear.shape}: give (n, 3).")
    if rgb_covariance.shape != (len(rgb_linear), 3, 3):
        raise ValueError(f"{len(rgb_linear)} colours and a covariance of shape {rgb_covariance.shape}: give (n, 3, 3).")
    if (np.diagonal(rgb_covariance, axis1=1, axis2=2) < 0.0).any():
        raise ValueError("a variance cannot be negative.")
    order = np.argsort(-rgb_linear, axis=1)
    ranked = np.take_along_axis(rgb_linear, order, axis=1)
    covariance = np.take_along_axis(np.take_along_axis(rgb_covariance, order[:, :, None], 1), order[:, None, :], 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        hue, (most, middle, least) = hue_of(rgb_linear), np.maximum(ranked, 0.0).T
        # A channel below zero: the colour lies outside what the channels span by so much, against what its doubt may make of it.
        whiteness = ranked[:, 2] / most
        whiteness_doubt = _doubt(np.stack([-whiteness / most, np.zeros_like(most), 1.0 / most], axis=1), covariance)
        span, share = most - least, (middle - least) / (most - least)
        hue_doubt = 60.0 * _doubt(np.stack([-share / span, 1.0 / span, (share - 1.0) / span], axis=1), covariance)
        hue_doubt = np.maximum(hue_doubt + 60.0 * np.minimum(ranked[:, 1], 0.0) / span, 0.0)
    hue = np.where(np.isnan(hue), 0.0, hue)  # grey has none, and is white
    white = whiteness - whiteness_doubt > white_from(hue)
    coloured = whiteness + whiteness_doubt < colour_up_to(hue)
    words = np.where(white, "white", UNRECOGNISED).astype(object)
    for sector in sectors:
        words[coloured & (degrees_inside(sector, hue) > hue_doubt)] = sector.word
    words[~(np.isfinite(rgb_linear).all(axis=1) & np.isfinite(rgb_covariance).all(axis=(1, 2)))] = UNRECOGNISED
    return [str(word) for word in words]


def colour_word(rgb_linear: Sequence[float] | Floats, rgb_covariance: Floats | float = 0.0) -> str:
    """Name one colour, shape (3,); its covariance, shape (3, 3), or one variance that all channels have by themselves.

    Raises ValueError: a shape is wrong or a variance negative.
    """
    light, covariance = np.asarray(rgb_linear, dtype=np.float64), np.asarray(rgb_covariance, dtype=np.float64)
    if light.shape != (3,):
        raise ValueError(f"a colour has shape (3,), not {light.shape}.")
    return words_of(light[None], (covariance if covariance.ndim else np.eye(3) * covariance)[None])[0]


def colour_up_to(hue_deg: Floats) -> Floats:
    """Give the whiteness up to which light of a hue is a colour."""
    bound: Floats = np.interp(hue_deg, BOUNDS[:, 0], BOUNDS[:, 1], period=360.0)
    return bound


def white_from(hue_deg: Floats) -> Floats:
    """Give the whiteness from which on light of a hue is white."""
    bound: Floats = np.interp(hue_deg, BOUNDS[:, 0], BOUNDS[:, 2], period=360.0)
    return bound


def degrees_inside(sector: Sector, hue_deg: Floats) -> Floats:
    """Give how far inside the sector's nearer border hues lie; negative outside."""
    middle, half = (sector.from_deg + sector.to_deg) / 2, (sector.to_deg - sector.from_deg) / 2
    return half - np.abs((hue_deg - middle + 180.0) % 360.0 - 180.0)


def _doubt(slopes: Floats, covariance: Floats) -> Floats:
    """Carry covariances, shape (n, 3, 3), to half-widths at 95 %, to first order; slopes of shape (n, 3)."""
    variance: Floats = np.einsum("ni,nij,nj->n", slopes, covariance, slopes)
    doubt: Floats = NORMAL_95 * np.sqrt(np.maximum(variance, 0.0))
    return doubt
