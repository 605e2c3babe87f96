"""What a chromaticity diagram shows besides points: the border of all colours, and which part of it each colour word owns."""

import math

import numpy as np

from hil.lamp.colour import D65_UV, SECTORS, least_distance, white_radius
from hil.lamp.doubt import Floats
from hil.lamp.observer import spectral_locus

STEP_DEG = 3.0


def all_colours() -> Floats:
    """Give the border of all colours in u'v', shape (n, 2): the pure ones, closed by the line of purples."""
    return spectral_locus()


def outline_of(word: str) -> Floats:
    """Give the border of what a colour word owns for light without doubt, shape (n, 2), for a camera white at D65.

    Raises KeyError: no such word.
    """
    if word == "white":
        angles = np.arange(0.0, 360.0, STEP_DEG)
        return _at(angles, np.array([white_radius(angle) for angle in angles]))
    sector = {sector.word: sector for sector in SECTORS}[word]
    angles = np.append(np.arange(sector.from_deg, sector.to_deg, STEP_DEG), sector.to_deg)
    near = np.array([least_distance(sector, angle) for angle in angles])
    far = np.maximum(near, [_reach(angle) for angle in angles])
    return np.concatenate([_at(angles, near), _at(angles, far)[::-1]])


def _at(angles_deg: Floats, distances: Floats) -> Floats:
    angles = np.radians(angles_deg)
    points: Floats = np.array(D65_UV) + distances[:, None] * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    return points


def _reach(angle_deg: float) -> float:
    """How far the border of all colours lies from white in a direction."""
    along = np.array([math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))])
    begin = spectral_locus() - np.array(D65_UV)
    side = np.roll(begin, -1, axis=0) - begin
    # Along the ray by `distance`, along a side of the border by `share`: two lines meet where both equations hold.
    cross = along[0] * side[:, 1] - along[1] * side[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        distance = (begin[:, 0] * side[:, 1] - begin[:, 1] * side[:, 0]) / cross
        share = (begin[:, 0] * along[1] - begin[:, 1] * along[0]) / cross
    meets = np.isfinite(distance) & (distance > 0.0) & (share >= 0.0) & (share <= 1.0)
    return float(distance[meets].max())
