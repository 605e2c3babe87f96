"""Lamp pictures from the camera's crops: a film strip a leg, a still near a moment. The crops are lossless: so is this."""

import cv2
import numpy as np
from numpy.typing import NDArray

from hil.core.frames import Crops, LampFrames
from hil.lamp.light import SATURATED_CODE, SRGB_DECODE, Planes
from hil.sheet.drawing import Drawing
from hil.sheet.palette import MUTED, RULE

TILE_PIXELS = 48
EVEN_TILES = 9
MOST_TILES = 14
LEAST_CHANGE = 0.004  # of linear light: a lamp that never changed more has no dark state to take off
NEW_COLOUR = 45.0  # levels of 255 in any channel that make a colour new; only picks frames to show, judges nothing


def film_strip(frames: LampFrames, zero_s: float) -> str:
    """A row of the unit's lamp: frames evenly spread, and the first frame of each new colour.

    Labels are seconds since `zero_s`. No frames give no picture.
    """
    if not len(frames):
        return ""
    picked = pick_frames(frames)
    row = np.concatenate([_tile(frames.unit[at]) for at in picked], axis=1)
    side, foot = 50.0, 15.0
    width = side * MOST_TILES
    drawing = Drawing(width, side + foot, f"lamp of the unit, {len(picked)} of {len(frames)} frames")
    drawing.png(0.0, 0.0, side * len(picked), side, _png(row))
    for place, at in enumerate(picked):
        left = side * place
        drawing.rectangle(left, 0.0, side, side, "none", line=RULE)
        label = signed(float(frames.times_s[at]) - zero_s, 1)
        drawing.text((left + side / 2.0, side + foot - 3.0), label, MUTED, size=11.5, anchor="middle")
    return str(drawing)


def still(frames: LampFrames, at_s: float) -> tuple[str, float] | None:
    """The frame nearest to a moment and its time; the unit's lamp alone."""
    if not len(frames):
        return None
    at = int(np.abs(frames.times_s - at_s).argmin())
    drawing = Drawing(100, 100, f"lamp of the unit at {frames.times_s[at]:.2f} s")
    drawing.png(0.0, 0.0, 100.0, 100.0, _png(_tile(frames.unit[at], 96)))
    drawing.rectangle(0.5, 0.5, 99.0, 99.0, "none", line=RULE)
    return str(drawing), float(frames.times_s[at])


def pick_frames(frames: LampFrames) -> list[int]:
    """Which frames to show, in order of time."""
    means = mean_colours(frames.unit)
    fresh: list[int] = []
    for at in range(len(frames)):
        if len(fresh) == MOST_TILES - EVEN_TILES:
            break
        if all(np.abs(means[at] - means[kept]).max() > NEW_COLOUR for kept in fresh):
            fresh.append(at)
    even = np.linspace(0, len(frames) - 1, min(EVEN_TILES, len(frames))).round().astype(int)
    return sorted({*fresh, *(int(at) for at in even)})


def mean_colours(crops: Crops) -> NDArray[np.float64]:
    """Each crop's mean, shape (n, 3), blue first, 0 to 255."""
    pixels = crops.shape[1] * crops.shape[2]  # summed plane by plane: many times as fast as numpy's mean of all three
    sums = np.stack([crops[..., plane].sum(axis=(1, 2), dtype=np.uint32) for plane in range(3)], axis=1)
    means: NDArray[np.float64] = sums / pixels
    return means


def lamp_light(frames: LampFrames, curve: Planes = SRGB_DECODE) -> NDArray[np.float64]:
    """The lamp's light a frame, linear, red first, the brightest 1; for people to look at, no judgement rests on it.

    Taken from pixels that are not blown out: a bright lamp's core is white whatever its colour. What the darkest frames
    show, the dark lamp, is taken off. There must be a frame. The `curve` is the camera's, light of each code.
    """
    means = np.array([_unblown_mean(crop, curve) for crop in frames.unit])
    darkest = np.argsort(means.sum(axis=1))[: max(1, len(means) // 33)]
    above_dark = np.clip(means - means[darkest].mean(axis=0), 0.0, None)
    light = above_dark if above_dark.max() > LEAST_CHANGE else means
    share: NDArray[np.float64] = light / max(1e-6, float(light.max()))
    return share


def _unblown_mean(crop: Crops, curve: Planes) -> tuple[float, float, float]:
    """The mean linear light of the pixels that are not blown out, red first; dark where all of them are."""
    usable = cv2.inRange(crop, (0, 0, 0), (SATURATED_CODE - 1,) * 3)
    blue, green, red, _ = cv2.mean(cv2.LUT(crop, curve), usable)
    return red, green, blue


def signed(value: float, digits: int) -> str:
    """A number with its sign, the minus as long as the plus."""
    return f"{value:+.{digits}f}".replace("-", "−")


def _tile(crop: Crops, pixels: int = TILE_PIXELS) -> Crops:
    larger = max(crop.shape[:2]) < pixels
    how = cv2.INTER_NEAREST if larger else cv2.INTER_AREA
    return np.asarray(cv2.resize(crop, (pixels, pixels), interpolation=how), dtype=np.uint8)


def _png(picture: Crops) -> bytes:
    _, data = cv2.imencode(".png", picture)
    return bytes(data)
