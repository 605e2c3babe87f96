"""Reads the colour of a lit lamp in one photograph, without one of it dark: to try a camera or a lamp before a bench stands.

A core that is blown out is white whatever the lamp's colour, and what lies next to it has some of that white, farther than the
mosaic spreads it: many cameras take colour from what is bright. The lamp's colour is in the glow around it. So a pixel counts by
its purity, less the nearer its code is to the end, and less the farther from the middle, where neighbours shine; of a lamp
that fills its region the glow is looked for farther out. Of one that is blown out wherever it shines, pixels count too in which a
channel is not: their colour is the lamp's, mixed with white.

What the light would be without the lamp is taken from the rim of its surroundings, but where the lamp lights that rim too: it is
purer and brighter then than a room makes a board. A word is told where the glow's brighter and dimmer part do not deny it, nor
does its light against the board's (see `hil.lamp.board`). What is left open then, as where the surroundings are a bright sky,
is settled by what the lamp has beside grey (`chroma.py`). White is told of no core that is nearly blown out and yet is not: in a
picture that was scaled or toned down it may be blown out, and then it has no colour left.

Nobody knows where a lamp ends in a photograph, and a region may be drawn about its core or about all that it lights. So it is
read several times, wider and wider about its brightest spot. What one of these tells and none denies is its colour; white, which
any core that is blown out looks like, is wanted of all but one, and not of the picture's edge, where the sky is. A run reads its
lamp by `read_light`, which knows the dark lamp.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from hil.lamp.chroma import chroma_of, settled
from hil.lamp.colour import OFF, SECTORS, UNRECOGNISED, uv_of_rgb, words_of
from hil.lamp.doubt import Bools, Floats
from hil.lamp.light import COUNTS, SATURATED_CODE, SHOULDER_CODE, SRGB_DECODE, Planes

Picture = npt.NDArray[np.uint8]  # (height, width, 3), blue first
Region = tuple[int, int, int, int]

WIDTHS = (1.3, 1.75, 2.5)  # times the brightest spot's: what is read about it; common practice, no source
# All: common practice, no source.
LARGEST_SIDE_PX = 960  # a larger picture is made smaller: a lamp has pixels enough
SURROUNDINGS = 2.0  # times the region's side: what is looked at around it
RIM = 0.12  # of that side
WIDE = 0.33  # of a picture's longer side: so far around it a lamp is brightest, and a lit table is not
LEAST_GAIN = 0.03  # linear light (full scale 1) by which a lit lamp outshines its surroundings
BRIGHT_SHARE, LAMP_LEAST_PX = 0.5, 4
FEWEST_PIXELS, FEWEST_SHARE = 12, 0.02  # of the lamp's bright part: with fewer to read, others are taken
REACHES = (1.0, 1.4, 2.0)  # of the region's half side: how far from its middle pixels count
LAMP_OVER_PEAK = 0.1
BRIGHTER_COUNTS = 2.0  # power of its light by which a pixel counts
PURER_COUNTS = 4.0  # power of its saturation: a pixel nearer white has more of other light, or of the blown-out core
GREY = 0.02  # purity: one that is greyer yet counts as this, so that a white lamp has light
# The rim is lit by the lamp where its least channel has no more of its greatest, and that no less of full light.
LAMPS_OWN_LEAST, LAMPS_OWN_LIGHT = 0.15, 0.3
OVER_ROOM = 0.15  # of its surroundings: with less light the lamp tells no colour, as where it hangs before the sky
DIMMER = 1  # of the glow's two parts
DARKEST_BOARD = 0.03  # linear light by which a board's colour shows beside what scatters
DOUBT = 0.004  # of the brightest channel, one standard deviation: what surroundings that are guessed leave in doubt
# Of a lamp's bright part: a core with less of it blown out, and nearly so, has no colour that is sure.
BLOWN_SHARE = 0.3
COLOUR_OVER_GREY = 3.0  # by how much a spot's colour makes it stand out more than its light does
AT_THE_EDGE = 0.1  # how much a spot counts for each edge of the picture that it lies at: sky does, and a lamp does not
# Signal lamps' green is bluish; of a photograph's lamp nobody says that it mixes green and blue.
SIGNAL_SECTORS = tuple(replace(sector, to_deg=190.0) if sector.word == "green" else sector for sector in SECTORS)


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
    if region is None:
        spot, places = find_bright(picture, curve), []
    else:
        x, y, width, height = _inside(region, picture)
        left, top, *sides = find_bright(picture[y : y + height, x : x + width], curve)
        spot, places = (x + left, y + top, sides[0], sides[1]), [region]
    places += [_wider(spot, by, picture.shape) for by in WIDTHS]
    readings = [_read_at(place, picture, curve) for place in places]
    word = _told([reading.word for reading in readings])
    if word == "white" and _edges(spot, picture.shape) > 0:
        word = UNRECOGNISED
    return replace(next((reading for reading in readings if reading.word == word), readings[0]), word=word)


def _told(words: Sequence[str]) -> str:
    """Give what some readings of one lamp tell, which differ in how far about it they look; the first knows whether it is lit."""
    if words[0] == OFF:
        return OFF
    told = [word for word in words if word not in (UNRECOGNISED, OFF)]
    if len(set(told)) != 1:
        return UNRECOGNISED
    wanted = len(words) - 1 if told[0] == "white" else 1
    return told[0] if len(told) >= wanted else UNRECOGNISED


def _read_at(place: Region, picture: Picture, curve: Planes) -> StillReading:
    """Read a lamp that lies in a region."""
    crop, reach = _with_surroundings(picture, place)
    linear = curve[crop[..., ::-1]]
    rim = surroundings = _rim(linear)
    if lit_by_lamp := bool(rim.max() >= LAMPS_OWN_LIGHT and rim.min() <= LAMPS_OWN_LEAST * rim.max()):
        rim = np.zeros(3, np.float32)
    light = linear - rim
    strongest = light.max(axis=2)
    inner = strongest[reach < REACHES[0]]
    peak = float(np.partition(inner, -LAMP_LEAST_PX)[-LAMP_LEAST_PX])
    if peak < LEAST_GAIN:
        return StillReading(OFF, place, np.full(3, np.nan), np.full(2, np.nan))
    weight = _weights(crop, light, strongest, reach, LAMP_OVER_PEAK * peak)
    rgb = _summed(light, weight)
    readings = [rgb, *_halves(light, strongest, weight)]
    if not lit_by_lamp:
        readings.append(rgb / (rim + DARKEST_BOARD))
    word = _agreed(np.stack(readings)) if rgb.max() >= OVER_ROOM * rim.max() else UNRECOGNISED
    word = settled(word, chroma_of(linear, reach), surroundings)
    if word == "white" and _nearly_blown(crop, linear, reach < REACHES[0]):
        word = UNRECOGNISED
    return StillReading(word, place, rgb, uv_of_rgb(np.maximum(rgb, 0.0)))


def find_bright(picture: Picture, curve: Planes = SRGB_DECODE) -> Region:
    """Give a box about the spot of a picture that is brightest beside what lies around it, of colour rather than without."""
    scale = max(1.0, max(picture.shape[:2]) / LARGEST_SIDE_PX)
    small = (
        cv2.resize(picture, None, fx=1.0 / scale, fy=1.0 / scale, interpolation=cv2.INTER_AREA)
        if scale > 1.0
        else picture
    )
    linear = curve[small]
    strongest = linear.max(axis=2)
    stands_out = strongest + COLOUR_OVER_GREY * (strongest - linear.min(axis=2))
    bright = cv2.GaussianBlur(stands_out, (0, 0), 2.0)
    wide = max(1, round(WIDE * max(bright.shape)))
    level = np.maximum(bright - cv2.blur(bright, (wide, wide)), 0.0)
    count, labels, boxes, _ = cv2.connectedComponentsWithStats((level >= BRIGHT_SHARE * level.max()).astype(np.uint8))
    edges = [_edges(box, level.shape) for box in boxes[1:]]
    light = [float(level[labels == at].sum()) * AT_THE_EDGE ** edges[at - 1] for at in range(1, count)]
    x, y, width, height = (round(float(side) * scale) for side in boxes[1 + int(np.argmax(light))][:4])
    width, height = max(LAMP_LEAST_PX, width), max(LAMP_LEAST_PX, height)
    return min(x, picture.shape[1] - width), min(y, picture.shape[0] - height), width, height


def _wider(spot: Region, by: float, shape: tuple[int, ...]) -> Region:
    """Give a box so many times as wide and high about the same middle, as far as the picture goes."""
    x, y, width, height = spot
    more = [round((by - 1.0) * side / 2.0) for side in (width, height)]
    left, top = max(0, x - more[0]), max(0, y - more[1])
    return left, top, min(x + width + more[0], shape[1]) - left, min(y + height + more[1], shape[0]) - top


def _edges(box: Sequence[int] | npt.NDArray[np.int32], shape: tuple[int, ...]) -> int:
    """At how many edges of a picture a box lies."""
    x, y, width, height = box[:4]
    return int(x == 0) + int(y == 0) + int(x + width == shape[1]) + int(y + height == shape[0])


def _inside(region: Region, picture: Picture) -> Region:
    x, y, width, height = region
    if x < 0 or y < 0 or width < 2 or height < 2 or x + width > picture.shape[1] or y + height > picture.shape[0]:
        raise ValueError(
            f"region {region} does not lie in a picture of {picture.shape[1]} × {picture.shape[0]} pixels."
        )
    return region


def _with_surroundings(picture: Picture, place: Region) -> tuple[Picture, Planes]:
    """Cut a region out with what lies around it; and each pixel's distance from its middle, in half sides of the region."""
    x, y, width, height = place
    more = (SURROUNDINGS - 1.0) / 2.0 * max(width, height)
    left, top = max(0, round(x - more)), max(0, round(y - more))
    crop = picture[top : round(y + height + more), left : round(x + width + more)]
    down, across = np.indices(crop.shape[:2], np.float32)
    across, down = (across + left + 0.5 - x) / width - 0.5, (down + top + 0.5 - y) / height - 0.5
    return crop, np.asarray(2.0 * np.hypot(across, down), np.float32)


def _rim(linear: Planes) -> Planes:
    """Give the light of the surroundings by channel: what the darker half of their rim shows."""
    wide = max(1, round(RIM * min(linear.shape[:2])))
    inner = np.zeros(linear.shape[:2], bool)
    inner[wide:-wide, wide:-wide] = True
    rim: Planes = np.quantile(linear[~inner], 0.25, axis=0).astype(np.float32)
    return rim


def _weights(crop: Picture, light: Planes, strongest: Planes, reach: Planes, least: float) -> Planes:
    """By how much each pixel counts, shape (h, w): what is brighter than `least`, of the first kind of which there are enough."""
    blown = crop >= SATURATED_CODE
    clear, some = ~blown.any(axis=2), ~blown.all(axis=2)
    blown_or_next: Picture = np.where(clear, 0, 1).astype(np.uint8)
    apart = cv2.dilate(blown_or_next, np.ones((3, 3), np.uint8)) == 0
    lamp = strongest > least
    within = [lamp & (reach < far) for far in REACHES]
    kinds = [
        (far, near & kind) for kind in (apart, clear, some, lamp) for far, near in zip(REACHES, within, strict=True)
    ]
    enough = max(FEWEST_PIXELS, FEWEST_SHARE * int(within[0].sum()))
    far, use = next((kind for kind in kinds if kind[1].sum() >= enough), kinds[-1])
    bright = np.maximum(strongest, 0.0)
    purity = 1.0 - np.maximum(light.min(axis=2), 0.0) / np.maximum(bright, 1e-6)
    counts = np.maximum(COUNTS[crop.max(axis=2)], 1e-3) * np.clip(1.0 - (reach / far) ** 2, 0.0, 1.0)
    weight: Planes = bright**BRIGHTER_COUNTS * np.maximum(purity, GREY) ** PURER_COUNTS * counts * use
    return weight


def _nearly_blown(crop: Picture, linear: Planes, inner: Bools) -> bool:
    """Say whether a lamp's brightest codes are those from which on cameras take colour away, and few of them at the end."""
    codes, most = crop.max(axis=2)[inner], linear.max(axis=2)[inner]
    bright = codes[most > BRIGHT_SHARE * most.max()]
    return bool(bright.max() > SHOULDER_CODE and (bright >= SATURATED_CODE).mean() < BLOWN_SHARE)


def _summed(light: Planes, weight: Planes) -> Floats:
    mean: Floats = np.einsum("hwc,hw->c", light, weight, dtype=np.float64) / max(float(weight.sum()), 1e-12)
    return mean


def _halves(light: Planes, strongest: Planes, weight: Planes) -> list[Floats]:
    """The glow's brighter and dimmer part."""
    brighter = strongest >= np.median(strongest[weight > 0.0]) if weight.any() else weight > 0.0
    return [_summed(light, weight * brighter), _summed(light, weight * ~brighter)]


def _agreed(readings: Floats) -> str:
    """Name the first of some readings, shape (n, 3), unless another has another word; white must be in the dimmer part, too."""
    greatest = np.maximum(readings.max(axis=1), 1e-9)
    word, *others = words_of(readings, np.eye(3) * (DOUBT * greatest[:, None, None]) ** 2, SIGNAL_SECTORS)
    denied = any(other not in (word, UNRECOGNISED) for other in others) or (word == "white" != others[DIMMER])
    return UNRECOGNISED if denied else word
