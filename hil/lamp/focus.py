"""How soft the outlines in a picture are: whether its camera is in focus.

A picture is blurred a little, and a little more: a sharp outline loses much of its slope by that, a soft one hardly any. The
ratio of the two slopes at the strongest outlines gives the softness that they had. Source: S. Zhuo and T. Sim, Defocus map
estimation from a single image, Pattern Recognition 44 (2011) 1852, from memory. Pure.
"""

import cv2
import numpy as np

from hil.lamp.light import Crops, Planes

LESS_PX, MORE_PX = 1.5, 3.0  # standard deviations of the two blurs; the lesser takes the noise out
STRONGEST = 0.99  # of the pixels lie on no outline that counts
LEAST_SLOPE = 1.0  # codes a pixel: with less there is no outline to judge by


def softness_px(pictures: Crops) -> float | None:
    """Give the standard deviation of the blur that is on the strongest outlines of a still scene, in pixels.

    Of pictures of shape (n, height, width, 3), taken together. None where nothing in them has an outline.
    """
    grey = np.median([cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY) for picture in pictures], axis=0).astype(np.float32)
    less, more = _slopes(grey, LESS_PX), _slopes(grey, MORE_PX)
    outlines = less >= np.quantile(less, STRONGEST)
    if np.median(less[outlines]) < LEAST_SLOPE:
        return None
    ratio = float(np.median(less[outlines] / np.maximum(more[outlines], 1e-6)))
    if ratio <= 1.0:
        return float("inf")
    return float(np.sqrt(max(0.0, (MORE_PX**2 - (ratio * LESS_PX) ** 2) / (ratio**2 - 1.0))))


def _slopes(grey: Planes, blur_px: float) -> Planes:
    """How steep a blurred picture is, in codes a pixel."""
    blurred = cv2.GaussianBlur(grey, (0, 0), blur_px)
    across, down = (cv2.Sobel(blurred, cv2.CV_32F, *order, ksize=3, scale=1 / 8) for order in ((1, 0), (0, 1)))
    return np.asarray(np.hypot(across, down), dtype=np.float32)
