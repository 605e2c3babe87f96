"""Finds a lamp in whole pictures by having it go on and off: where it lies, and whether a camera can read it there.

A lamp is what is brighter each time it should be lit than each time it should be dark: so a screen that plays a film, a
hand, daylight that comes and goes drop out, as each of them misses a turn. A reflection keeps step with its lamp. It is told
by its light: it is dimmer, and lies apart. Of each turn the bright end of what was seen counts, so that a lamp may flash
while it is lit. Pure: pictures in, a place out.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import cv2
import numpy as np
import numpy.typing as npt

from hil.lamp.board import agreed
from hil.lamp.colour import words_of
from hil.lamp.focus import softness_px
from hil.lamp.light import SATURATED_CODE, SRGB_DECODE, Crops, dark_reference, read_light, strongest_codes

Picture = npt.NDArray[np.uint8]  # (height, width, 3), blue first
Planes = npt.NDArray[np.float32]
Region = tuple[int, int, int, int]

# All: common practice, no source.
FEWEST_TURNS = 3
BRIGHT_END = 0.8  # of the pictures of a turn, the share that is no brighter
LEAST_GAIN = 0.02  # linear light (full scale 1) by which a lamp must be brighter
TIMES_NOISE = 6.0  # and by so many times what dark turns differ by, but for one in which the room changed
GLOW = 0.12  # of the greatest gain: what of the glow belongs to the region
ROOM = 1.5  # the region is so many times as wide as that glow: its rim shows the board without the lamp's light
LEAST_SIDE_PX, GLOW_LEAST_PX = 16, 7
MUCH_BLOWN = 0.3  # of the glow: where no colour is left beside so much, it is too bright rather than too weak
MOST_BLOWN = 0.85  # of the glow: the rest of it is too little to tell a colour by
WIDEST = 0.33  # of the picture's shorter side: a wider glow is out of focus, or no lamp
MOST_SOFT = 0.008  # of the picture's shorter side: softer outlines are those of a camera out of focus
AS_BRIGHT = 0.8  # a second one so bright beside the first leaves it open which is the lamp
EVEN = 0.6  # of the usual turn's light: a turn with less was not one of the lamp wholly lit and then wholly dark
UNEVEN = (
    "it was lit less in one turn than in the others, as where pictures come late: look at the picture, and aim again"
)
OUTLINE_PX = 2.0
ALIKE = 0.8  # of the difference that two pictures have: so much must be left at most where one is moved back
SAME_WITHIN = 0.25  # of a region's side
SHIFT_PX = 1.5  # by which the camera may move from the first dark picture to the last


@dataclass(frozen=True, slots=True)
class Turn:
    """Pictures of a lamp lit, shape (n, height, width, 3), and of the same dark just before or after."""

    lit: Crops
    dark: Crops


@dataclass(frozen=True, slots=True)
class Aimed:
    """Where a lamp lies: region as x, y, width and height in pixels, centre likewise; `gain` in linear light.

    `blown` is the share of its glow that is blown out; `warnings` say what will make reading it hard. `rival` is the light of the
    next place that went on and off with it, as a share of its own: a reflection, or what flashed in step by chance so far.
    """

    region: Region
    centre: tuple[float, float]
    gain: float
    blown: float
    warnings: tuple[str, ...] = ()
    rival: float = 0.0


@dataclass(frozen=True, slots=True)
class NotAimed:
    """Why no lamp was found; further turns may part it from what `rival`s it, as in `Aimed`."""

    reason: str
    rival: float = 0.0


def find_lamp(turns: Sequence[Turn]) -> Aimed | NotAimed:
    """Find the lamp that was lit and dark by turns.

    Raises ValueError: too few turns, or one without pictures.
    """
    if len(turns) < FEWEST_TURNS:
        raise ValueError(f"{len(turns)} turns: {FEWEST_TURNS} at least tell a lamp from what changes by itself.")
    if any(not len(turn.lit) or not len(turn.dark) for turn in turns):
        raise ValueError("a turn without pictures.")
    lit, dark = [_bright_end(turn.lit) for turn in turns], [_bright_end(turn.dark) for turn in turns]
    moved_px = shift_px(turns[0].dark, turns[-1].dark)
    if moved_px > SHIFT_PX:
        return NotAimed(f"the camera moved by {moved_px:.0f} pixels meanwhile: fix it, and aim again")
    gain = np.minimum.reduce([one - other for one, other in zip(lit, dark, strict=True)])
    noise = np.sort([np.abs(one - other) for one, other in combinations(dark, 2)], axis=0)[len(turns) // 2]
    gain = _blurred(np.where(gain > TIMES_NOISE * _typical(noise), gain, 0.0).astype(np.float32), 3)
    greatest = float(gain.max())
    if greatest < LEAST_GAIN:
        return NotAimed(f"nothing goes on and off with it: at most {greatest:.3f} of full light was gained")
    found = _chosen(gain, greatest, turns[-1].lit[-1])
    if not isinstance(found, Aimed):
        return found
    return _judged_by_turns(_judged_by_focus(found, turns[-1].dark), lit, dark)


def readable(found: Aimed, turns: Sequence[Turn]) -> Aimed | NotAimed:
    """Give the lamp that was found by some turns, or why no picture of them can tell a colour there, whatever its colour is."""
    x, y, width, height = found.region
    part = np.s_[:, y : y + height, x : x + width]
    try:
        dark = dark_reference(np.concatenate([turn.dark[part] for turn in turns]))
    except ValueError as error:
        return NotAimed(f"it is found, but {error}")
    light = read_light(np.concatenate([turn.lit[part] for turn in turns]), dark)
    lit = light.lit & light.plausible
    if not lit.any():
        return found
    rgb, covariance = light.rgb_linear[lit], light.rgb_covariance[lit]
    if not np.isfinite(rgb).all(axis=1).any():
        much = f"{found.blown:.0%} of its glow is blown out, and the rest is too little: lower the exposure"
        little = "its glow is too weak beside the light on the board: shade it, or bring the camera nearer"
        told = much if found.blown > MUCH_BLOWN else little
        return NotAimed(f"it is found, but nothing tells its colour: {told}")
    words = words_of(rgb, covariance)
    if all(word != as_agreed for word, as_agreed in zip(words, agreed(words, light.otherwise[lit]), strict=True)):
        told = "it is blown out, and the board or another light about it has another colour"
        return NotAimed(
            f"it is found, but nothing tells its colour: {told}: lower the exposure, or hide the other light"
        )
    return found


def _judged_by_focus(found: Aimed, dark: Crops) -> Aimed:
    soft_px, most_px = softness_px(dark), MOST_SOFT * min(dark.shape[1:3])
    if soft_px is None or soft_px < most_px:
        return found
    told = f"out of focus: outlines are {soft_px:.0f} pixels soft, of {most_px:.0f} at most: focus the camera"
    return replace(found, warnings=(*found.warnings, told))


def _judged_by_turns(found: Aimed, lit: Sequence[Planes], dark: Sequence[Planes]) -> Aimed:
    """Warn of a turn with less light than the others: pictures taken while it changed show a part of its glow."""
    x, y, width, height = found.region
    part = np.s_[y : y + height, x : x + width]
    light = [float((one[part] - other[part]).clip(0.0).sum()) for one, other in zip(lit, dark, strict=True)]
    return replace(found, warnings=(*found.warnings, UNEVEN)) if min(light) < EVEN * float(np.median(light)) else found


def shift_px(before: Crops, after: Crops) -> float:
    """How far the whole picture moved from some pictures to others, in pixels.

    Nothing where moving it back would not make the two alike: a dark picture has few outlines, and what blinks in it has some.
    """
    first, last = _outlines(before), _outlines(after)
    height, width = first.shape
    (x, y), _ = cv2.phaseCorrelate(first, last, cv2.createHanningWindow((width, height), cv2.CV_32F))
    back = cv2.warpAffine(last, np.array([[1.0, 0.0, -x], [0.0, 1.0, -y]]), (width, height))
    left, top = (round(min(abs(by), side / 4.0)) + 1 for by, side in ((x, width), (y, height)))
    inner = np.s_[top : height - top, left : width - left]
    differs, as_moved = (float(np.abs(other[inner] - first[inner]).mean()) for other in (last, back))
    return float(np.hypot(x, y)) if as_moved < ALIKE * differs else 0.0


def _outlines(pictures: Crops) -> Planes:
    """What does not change with noise: the outlines of what lies there, of many pictures together."""
    grey = np.median([cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY) for picture in pictures], axis=0).astype(np.float32)
    smooth = cv2.GaussianBlur(grey, (0, 0), OUTLINE_PX)
    return np.asarray(smooth - cv2.GaussianBlur(grey, (0, 0), 4.0 * OUTLINE_PX), dtype=np.float32)


def overlapping(aimed: Sequence[Aimed]) -> list[tuple[int, int]]:
    """Which of several lamps share a part of their regions, by their numbers."""
    return [(i, j) for i, j in combinations(range(len(aimed)), 2) if _meet(aimed[i].region, aimed[j].region)]


def is_one_lamp(one: Aimed, other: Aimed) -> bool:
    """Whether two found lamps are one: their middles lie nearer than a quarter of the smaller region's side."""
    apart = float(np.hypot(one.centre[0] - other.centre[0], one.centre[1] - other.centre[1]))
    return apart < SAME_WITHIN * min(max(one.region[2:]), max(other.region[2:]))


def _meet(one: Region, other: Region) -> bool:
    return all(one[axis] < other[axis] + other[axis + 2] and other[axis] < one[axis] + one[axis + 2] for axis in (0, 1))


def _bright_end(pictures: Crops) -> Planes:
    """The brightest channel of each pixel in linear light, at the bright end of some pictures."""
    strongest = strongest_codes(pictures)
    at = max(0, round(BRIGHT_END * len(strongest)) - 1)
    bright: Planes = SRGB_DECODE[np.partition(strongest, at, axis=0)[at]]
    return bright


def _typical(noise: Planes) -> Planes:
    """What noise is about a pixel: its own is too little to know it by."""
    return np.maximum(_blurred(noise, 9), np.float32(LEAST_GAIN / TIMES_NOISE / 2.0))


def _blurred(planes: Planes, side: int) -> Planes:
    return np.asarray(cv2.blur(planes, (side, side)), dtype=np.float32)


def _chosen(gain: Planes, greatest: float, picture: Picture) -> Aimed | NotAimed:
    count, labels, boxes, _ = cv2.connectedComponentsWithStats((gain > GLOW * greatest).astype(np.uint8))
    light = sorted(((float(gain[labels == at].sum()), at) for at in range(1, count)), reverse=True)
    total, first = light[0]
    rival = light[1][0] / total if len(light) > 1 else 0.0
    if rival > AS_BRIGHT:
        where = " and ".join(f"{boxes[at][0]}, {boxes[at][1]}" for _, at in light[:2])
        reason = f"two places go on and off as bright as each other, at {where}: cover the one that reflects"
        return NotAimed(reason, rival)
    x, y, width, height = (int(side) for side in boxes[first][:4])
    weights = np.where(labels == first, gain, 0.0)
    centre = tuple(float((weights * axis).sum() / weights.sum()) for axis in np.indices(gain.shape)[::-1])
    blown = float((picture[labels == first].max(axis=1) >= SATURATED_CODE).mean())
    found = _aimed((x, y, width, height), (centre[0], centre[1]), greatest, blown, picture.shape)
    return replace(found, rival=rival)


def _aimed(glow: Region, centre: tuple[float, float], gain: float, blown: float, shape: tuple[int, ...]) -> Aimed:
    height, width = shape[:2]
    side = max(LEAST_SIDE_PX, round(ROOM * max(glow[2:])))
    left, top = round(centre[0] - side / 2.0), round(centre[1] - side / 2.0)
    region = max(0, left), max(0, top), min(width, left + side) - max(0, left), min(height, top + side) - max(0, top)
    warnings = []
    if region[2:] != (side, side):
        warnings.append("cut off by the edge of the picture: move the camera")
    if max(glow[2:]) < GLOW_LEAST_PX:
        warnings.append(f"only {max(glow[2:])} pixels wide: bring the camera nearer")
    if max(glow[2:]) > WIDEST * min(height, width):
        warnings.append("its glow fills a third of the picture: focus, or move the camera away")
    if blown > MOST_BLOWN:
        warnings.append(f"{blown:.0%} of its glow is blown out: lower the exposure")
    return Aimed(region, centre, gain, blown, tuple(warnings))
