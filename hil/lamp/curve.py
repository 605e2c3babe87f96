"""A camera's curve, from pictures of one still scene at exposures whose ratios are known: how its codes follow the light.

Light is proportional to exposure, so each pixel seen at several exposures says by how much the light of two codes differs.
The logarithm of the curve and of each pixel's light is solved for all of them at once, by least squares with a smooth curve.
Source: P. E. Debevec and J. Malik, Recovering High Dynamic Range Radiance Maps from Photographs, SIGGRAPH 1997. One curve for
all three channels: colour is mixed before it. Pure.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from hil.lamp.doubt import Floats, NotTold
from hil.lamp.light import SATURATED_CODE, SRGB_DECODE, Crops, Planes

CODES = 256
LEAST_CODE = 8  # below, a code is lost in noise and rounding: the curve is taken as straight there
SAMPLES = 400  # channels of pixels, evenly chosen by how bright they are
FEWEST_EXPOSURES, FEWEST_SEEN = 4, 3  # of pictures; of them, in which a sample must neither be blown out nor lost
SMOOTH = 30.0  # weight of the curve's second differences against one code of one sample; our own
LEAST_REACH = 3.0  # times by which the exposures seen must differ, or nothing is told of a curve
MOST_LEFT = 0.08  # of the light, what may be left unexplained: else the exposures are not what they should be
COMPARED_FROM = 16  # the least code at which two curves are compared


@dataclass(frozen=True, slots=True)
class CameraCurve:
    """Linear light of each 8-bit code, shape (256,), rising, 1 for the last; and how sure that is.

    left: share of the light by which the samples still differ from it, one standard deviation; seen: the darkest and the
    brightest code that a sample showed; off_srgb: the greatest share by which it differs from the curve of IEC 61966-2-1 between
    them, both alike at the brightest.
    """

    linear: Planes
    left: float
    seen: tuple[int, int]
    off_srgb: float


def camera_curve(pictures: Sequence[Crops], exposures_s: Sequence[float]) -> CameraCurve | NotTold:
    """Tell a camera's curve.

    Args:
        pictures: for each exposure some pictures of the same, each of shape (n, height, width, 3).
        exposures_s: seconds, or anything proportional to them.

    Raises ValueError: too few exposures, one that is not positive, or counts that differ.
    """
    if len(pictures) != len(exposures_s) or len(pictures) < FEWEST_EXPOSURES:
        told = f"{len(pictures)} pictures at {len(exposures_s)} exposures"
        raise ValueError(f"{told}: give as many of both, {FEWEST_EXPOSURES} at least.")
    if min(exposures_s) <= 0.0:
        raise ValueError(f"an exposure of {min(exposures_s)}: it must be above 0.")
    codes, usable = _samples(pictures)
    exposures = np.asarray(exposures_s, dtype=np.float64)
    reach = [exposures[row].max() / exposures[row].min() for row in usable.T if row.any()]
    if not reach or max(reach) < LEAST_REACH:
        return NotTold(
            f"nothing in the picture is neither blown out nor dark at {FEWEST_SEEN} exposures: another lamp, or other exposures"
        )
    logarithm, left = _solved(codes, usable, np.log(exposures))
    if left > MOST_LEFT:
        return NotTold(f"the picture does not follow the exposures: {left:.0%} of the light is left unexplained")
    first, last = (round(float(bound)) for bound in (codes[usable].min(), codes[usable].max()))
    return _curve(logarithm, left, max(first, LEAST_CODE), last)


def _samples(pictures: Sequence[Crops]) -> tuple[Floats, np.ndarray[tuple[int, ...], np.dtype[np.bool_]]]:
    """Mean codes of chosen channels of pixels, shape (exposures, samples), and where each can be used."""
    means = np.stack([stack.mean(axis=0, dtype=np.float64) for stack in pictures])
    blown = np.stack([(stack.max(axis=(0, 3)) >= SATURATED_CODE).astype(np.uint8) for stack in pictures])
    grown = np.stack([cv2.dilate(mask, np.ones((3, 3), np.uint8)) for mask in blown]).astype(bool)
    usable = np.broadcast_to(~grown[..., None], means.shape) & (means >= LEAST_CODE)
    codes, use = means.reshape(len(means), -1), usable.reshape(len(means), -1)
    able = np.flatnonzero(use.sum(axis=0) >= FEWEST_SEEN)
    order = able[np.argsort(codes[:, able].sum(axis=0))]
    chosen = np.unique(order[np.linspace(0, len(order) - 1, SAMPLES).astype(int)]) if len(order) else order
    return codes[:, chosen], use[:, chosen]


def _solved(
    codes: Floats, usable: np.ndarray[tuple[int, ...], np.dtype[np.bool_]], log_exposures: Floats
) -> tuple[Floats, float]:
    """The logarithm of the curve, shape (256,), and the standard deviation of what is left."""
    which, sample = np.nonzero(usable)
    seen = codes[which, sample]
    low = np.floor(seen).astype(int)
    share, weight = seen - low, np.sqrt(np.minimum(seen, CODES - seen) / (CODES / 2))
    rows = np.arange(len(seen))
    told = np.zeros((len(seen), CODES + codes.shape[1]))
    told[rows, low] = weight * (1.0 - share)
    told[rows, low + 1] += weight * share
    told[rows, CODES + sample] = -weight
    smooth = np.zeros((CODES - 2, told.shape[1]))
    inner = np.arange(CODES - 2)
    # Near black a logarithm bends by nature: what must be smooth there is the curve itself.
    stiff = SMOOTH * (inner + 1) / CODES
    smooth[inner, inner], smooth[inner, inner + 1], smooth[inner, inner + 2] = stiff, -2.0 * stiff, stiff
    fixed = np.zeros((1, told.shape[1]))
    fixed[0, CODES // 2] = 1.0
    matrix = np.concatenate([told, smooth, fixed])
    wanted = np.concatenate([weight * log_exposures[which], np.zeros(CODES - 1)])
    solution: Floats = np.linalg.lstsq(matrix, wanted, rcond=None)[0]
    rest = told @ solution - weight * log_exposures[which]
    left = float(np.sqrt((rest**2).sum() / (weight**2).sum()))
    return solution[:CODES], left


def _curve(logarithm: Floats, left: float, first: int, last: int) -> CameraCurve:
    codes, linear = np.arange(CODES), np.exp(logarithm)
    # Beyond what was seen the curve goes on as a power of the code, as most do at their bright end.
    power = (logarithm[last] - logarithm[last // 2]) / np.log(last / (last // 2))
    linear[last:] = linear[last] * (codes[last:] / last) ** power
    linear[:first] = linear[first] * codes[:first] / first
    linear = np.maximum.accumulate(linear) / linear[-1]
    compared = slice(max(first, COMPARED_FROM), last + 1)
    srgb = SRGB_DECODE[compared] * (linear[last] / SRGB_DECODE[last])
    off = float(np.abs(linear[compared] / srgb - 1.0).max(initial=0.0))
    return CameraCurve(linear.astype(np.float32), left, (first, last), off)
