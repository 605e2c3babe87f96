"""Reads the colour of a lit lamp in one photograph, without one of it dark: to try a camera or a lamp before a bench stands.

What the light about the lamp would be without it is taken from the rim of its surroundings, so this is surer of a small lamp in
a picture than of one that fills it. Of a lamp that is blown out almost everywhere, pixels count too in which a channel is not:
their colour is that of the lamp, mixed with white. A run reads its lamp by `read_light`, which knows the dark lamp.
"""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from hil.lamp.colour import OFF, UNRECOGNISED, uv_of_rgb, words_of
from hil.lamp.doubt import Floats
from hil.lamp.light import SATURATED_CODE, SRGB_DECODE, Planes

Picture = npt.NDArray[np.uint8]  # (height, width, 3), blue first
Region = tuple[int, int, int, int]

# All: common practice, no source.
LARGEST_SIDE_PX = 960  # a larger picture is made smaller: a lamp has pixels enough
SURROUNDINGS = 2.0  # times the region's side: what is looked at around it
RIM = 0.12  # of that side
LEAST_GAIN = 0.03  # linear light (full scale 1) by which a lit lamp outshines its surroundings
BRIGHT_SHARE, LAMP_LEAST_PX = 0.5, 4
FEWEST_PIXELS, FEWEST_SHARE = (
    12,
    0.02,
)  # of the lamp's bright part: with fewer that no channel blows out, more are taken
LAMP_OVER_PEAK = 0.1
BRIGHTER_COUNTS = 1.0  # power of its light by which a pixel counts
PURER_COUNTS = 2.0  # power of its saturation: a pixel nearer white has more of other light, or of the blown-out core
DOUBT = 0.004  # of the brightest channel, one standard deviation: what surroundings that are guessed leave in doubt


@dataclass(frozen=True, slots=True)
class StillReading:
    """What a photograph shows: a colour word, "off" or "unrecognised", and where the lamp is.

    rgb_linear, uv: its light and CIE 1976 u'v', not a number where nothing outshines its surroundings.
    """

    word: str
    region: Region
    rgb_linear: Floats
    uv: Floats


def read_still(picture: Picture, region: Region | None = None, curve: Planes = SRGB_DECODE) -> StillReading:
    """Read one photograph; without a region (x, y, width, height) of the lamp, the brightest spot of it is taken.

    The `curve` is that of the camera which took it: light of each code, shape (256,).

    Raises ValueError: not a colour picture of 8 bits, or a region outside it.
    """
    if picture.dtype != np.uint8 or picture.ndim != 3 or picture.shape[2] != 3 or min(picture.shape[:2]) < 8:
        raise ValueError(
            f"a picture of {picture.dtype} and shape {picture.shape}: give uint8, (height, width, 3), blue first."
        )
    place = find_bright(picture, curve) if region is None else _inside(region, picture)
    crop = _with_surroundings(picture, place)
    linear = curve[crop[..., ::-1]]
    light = linear - _rim(linear)
    strongest = light.max(axis=2)
    peak = float(np.partition(strongest.ravel(), -LAMP_LEAST_PX)[-LAMP_LEAST_PX])
    if peak < LEAST_GAIN:
        return StillReading(OFF, place, np.full(3, np.nan), np.full(2, np.nan))
    rgb = _mean_light(light, crop, strongest, peak)
    covariance = np.eye(3) * (DOUBT * max(float(rgb.max()), 1e-9)) ** 2
    word = words_of(rgb[None], covariance[None])[0] if np.isfinite(rgb).all() else UNRECOGNISED
    return StillReading(word, place, rgb, uv_of_rgb(np.maximum(rgb, 0.0)))


def find_bright(picture: Picture, curve: Planes = SRGB_DECODE) -> Region:
    """Give a box about the brightest spot of a picture, of colour rather than without."""
    scale = max(1.0, max(picture.shape[:2]) / LARGEST_SIDE_PX)
    small = (
        cv2.resize(picture, None, fx=1.0 / scale, fy=1.0 / scale, interpolation=cv2.INTER_AREA)
        if scale > 1.0
        else picture
    )
    linear = curve[small]
    bright = cv2.GaussianBlur(linear.max(axis=2) + linear.max(axis=2) - linear.min(axis=2), (0, 0), 2.0)
    level = bright - np.float32(np.median(bright))
    count, labels, boxes, _ = cv2.connectedComponentsWithStats((level >= BRIGHT_SHARE * level.max()).astype(np.uint8))
    light = [float(level[labels == at].sum()) for at in range(1, count)]
    x, y, width, height = (round(float(side) * scale) for side in boxes[1 + int(np.argmax(light))][:4])
    return x, y, max(LAMP_LEAST_PX, width), max(LAMP_LEAST_PX, height)


def _inside(region: Region, picture: Picture) -> Region:
    x, y, width, height = region
    if x < 0 or y < 0 or width < 2 or height < 2 or x + width > picture.shape[1] or y + height > picture.shape[0]:
        raise ValueError(
            f"region {region} does not lie in a picture of {picture.shape[1]} × {picture.shape[0]} pixels."
        )
    return region


def _with_surroundings(picture: Picture, place: Region) -> Picture:
    x, y, width, height = place
    more = (SURROUNDINGS - 1.0) / 2.0 * max(width, height)
    left, top = max(0, round(x - more)), max(0, round(y - more))
    return picture[top : round(y + height + more), left : round(x + width + more)]


def _rim(linear: Planes) -> Planes:
    """Give the light of the surroundings by channel: what the darker half of their rim shows."""
    wide = max(1, round(RIM * min(linear.shape[:2])))
    inner = np.zeros(linear.shape[:2], bool)
    inner[wide:-wide, wide:-wide] = True
    rim: Planes = np.quantile(linear[~inner], 0.25, axis=0).astype(np.float32)
    return rim


def _mean_light(light: Planes, crop: Picture, strongest: Planes, peak: float) -> Floats:
    lamp = strongest > LAMP_OVER_PEAK * peak
    blown = crop >= SATURATED_CODE
    clear = lamp & ~blown.any(axis=2)
    blown_or_next: Picture = np.where(blown.any(axis=2), 255, 0).astype(np.uint8)
    apart = clear & (cv2.dilate(blown_or_next, np.ones((3, 3), np.uint8)) == 0)
    enough = max(FEWEST_PIXELS, FEWEST_SHARE * lamp.sum())
    choices = (apart, clear, lamp & ~blown.all(axis=2), lamp)
    use = next((choice for choice in choices if choice.sum() >= enough), lamp)
    saturation = 1.0 - np.maximum(light.min(axis=2), 0.0) / np.maximum(strongest, 1e-6)
    weight = np.where(use, np.maximum(strongest, 0.0) ** BRIGHTER_COUNTS * saturation**PURER_COUNTS, 0.0).astype(
        np.float64
    )
    mean: Floats = np.einsum("hwc,hw->c", light.astype(np.float64), weight) / max(float(weight.sum()), 1e-12)
    return mean
