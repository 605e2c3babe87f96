"""Colours as one camera saw them of golden units, and words by them.

The rule of `colour.py` holds before any camera, so it must leave open what cameras show differently. A camera that keeps its
settings and has seen a product's colours knows them nearer: light is told by its distance from each, in doubts. Coordinates
are the shares of red and green in the sum of the three linear channels.

By how much another unit's colour may lie beside the golden one's: emitters of one kind differ in intensity (data sheet of the
WS2812B, version 5: 300 to 500, 600 to 1000, 200 to 300 mcd, which are 14, 14 and 12 % as one standard deviation of an even
spread), which moves mixed light and leaves that of one emitter where it is; and in wavelength, which moves both a little.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from hil.lamp.colour import UNRECOGNISED
from hil.lamp.doubt import Floats, NotTold

FEWEST_FRAMES = 5
OTHER_INTENSITY = 0.14
OTHER_WAVELENGTH = 0.02  # of a share; common practice, no source
FARTHEST = 6.0  # doubts: farther from every learnt colour it is none of them
CLEARLY_NEARER = 2.0 * np.log(
    1e4
)  # in squared doubts: of two normal distributions as wide the nearer is 10,000 times as likely
PARTED = 2.0  # of two colours: how far apart at least, in the sum of both spreads; common practice, no source


@dataclass(frozen=True, slots=True)
class LearntColour:
    """A colour as a camera saw it: shares of red and green, and their covariance among units and frames, shape (2, 2)."""

    share: tuple[float, float]
    spread: tuple[tuple[float, float], tuple[float, float]]


Learnt = Mapping[str, LearntColour]
NOTHING_LEARNT: Learnt = {}


def learn_colour(rgb_linear: Floats) -> LearntColour | NotTold:
    """Learn one colour from the light of single frames, shape (n, 3), linear, any scale."""
    usable = rgb_linear[np.isfinite(rgb_linear).all(axis=1) & (rgb_linear.sum(axis=1) > 0.0)]
    if len(usable) < FEWEST_FRAMES:
        return NotTold(f"{len(usable)} frames that show it; {FEWEST_FRAMES} are wanted")
    shares = _shares(usable)
    middle = shares.mean(axis=0)
    channels = usable.mean(axis=0)
    slopes = _slopes(channels[None])[0]
    others = slopes @ np.diag((OTHER_INTENSITY * channels) ** 2) @ slopes.T + OTHER_WAVELENGTH**2 * np.eye(2)
    (xx, xy), (_, yy) = (np.cov(shares.T) + others).tolist()
    return LearntColour((float(middle[0]), float(middle[1])), ((xx, xy), (xy, yy)))


def words_by(learnt: Learnt, rgb_linear: Floats, rgb_covariance: Floats, words: Sequence[str]) -> list[str]:
    """Name colours by what was learnt, beside the words of the rule for any camera.

    Light that is clearly nearest one learnt colour has its word; so has light whose word by the rule is that of the nearest one.
    A word that was not learnt stays where no learnt colour is near.

    Args:
        learnt: by their words; may be empty.
        rgb_linear, rgb_covariance: shapes (n, 3) and (n, 3, 3), as `words_of` takes them.
        words: by the rule, n of them.
    """
    if not learnt or not len(rgb_linear):
        return list(words)
    names = list(learnt)
    squared = _squared_doubts(learnt, rgb_linear, rgb_covariance)
    nearest = squared.argmin(axis=1)
    ranked = np.sort(np.column_stack([squared, np.full(len(squared), np.inf)]), axis=1)
    told = []
    for at, word in enumerate(words):
        name, near = names[nearest[at]], ranked[at, 0] < FARTHEST**2
        if near and (word == name or ranked[at, 1] - ranked[at, 0] > CLEARLY_NEARER):
            told.append(name)
        else:
            told.append(UNRECOGNISED if near or word in learnt else word)
    return told


def too_alike(learnt: Learnt) -> list[tuple[str, str, float]]:
    """Pairs of learnt colours that this camera does not part, and how far apart they lie, in the sum of both spreads."""
    found = []
    for one, other in combinations(learnt, 2):
        away = np.array(learnt[one].share) - np.array(learnt[other].share)
        apart = float(np.hypot(*away))
        along = away / apart if apart else np.array([1.0, 0.0])
        spreads = sum(float(np.sqrt(along @ np.array(learnt[word].spread) @ along)) for word in (one, other))
        if apart < PARTED * spreads:
            found.append((one, other, apart / spreads))
    return found


def _shares(rgb_linear: Floats) -> Floats:
    shares: Floats = rgb_linear[:, :2] / rgb_linear.sum(axis=1, keepdims=True)
    return shares


def _slopes(rgb_linear: Floats) -> Floats:
    """How the shares follow the channels, shape (n, 2, 3)."""
    slopes: Floats = (np.eye(3)[:2] - _shares(rgb_linear)[:, :, None]) / rgb_linear.sum(axis=1)[:, None, None]
    return slopes


def _squared_doubts(learnt: Learnt, rgb_linear: Floats, rgb_covariance: Floats) -> Floats:
    """Squared distances in doubts of light from each learnt colour, shape (n, colours); infinite where they are no numbers."""
    with np.errstate(divide="ignore", invalid="ignore"):
        shares, slopes = _shares(rgb_linear), _slopes(rgb_linear)
        own = slopes @ rgb_covariance @ np.swapaxes(slopes, 1, 2)
    told = np.isfinite(shares).all(axis=1) & np.isfinite(own).all(axis=(1, 2)) & (rgb_linear.sum(axis=1) > 0.0)
    squared = np.full((len(shares), len(learnt)), np.inf)
    for column, colour in enumerate(learnt.values()):
        away = shares[told] - np.array(colour.share)
        solved = np.linalg.solve(own[told] + np.array(colour.spread), away[:, :, None])[:, :, 0]
        squared[told, column] = np.einsum("ni,ni->n", away, solved)
    return squared
