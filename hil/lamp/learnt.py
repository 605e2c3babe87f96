"""Colours as one camera saw them of golden units, and words by them.

The rule of `colour.py` holds before any camera, so it must leave open what cameras show differently. A camera that keeps its
settings and has seen a product's colours knows them nearer: light is told by its distance from each, in doubts. Coordinates
are the shares of red and green in the sum of the three linear channels; a channel below zero has none, since how far below
it a camera still shows is a matter of the room's light.

By how much another unit's colour may lie beside the golden one's: emitters of one kind differ in intensity (data sheet of the
WS2812B, version 5: 300 to 500, 600 to 1000, 200 to 300 mcd, which are 14, 14 and 12 % as one standard deviation of an even
spread) and in the power that a candela takes at their wavelengths, which a camera sees (by the eye's luminous efficiency 11, 8
and 12 %): that moves mixed light and leaves that of one emitter where it is. And wavelength has blue light show more or less
in the green channel, and green light in the blue one. Both units differ so, the golden one and the other.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from hil.lamp.colour import UNRECOGNISED, words_of
from hil.lamp.doubt import Floats, NotTold

FEWEST_FRAMES = 5
OTHER_INTENSITY = 0.17  # of an emitter's light before a camera, one standard deviation: the mean of the three
# Of a channel's light, what shows in another channel, as one standard deviation of an even spread over the data sheet's 515 to
# 525 and 465 to 475 nm: the CIE 1931 observer in linear sRGB. What such light adds to red, and red light to green, is below zero.
BLUE_IN_GREEN, GREEN_IN_BLUE = 0.033, 0.022
OTHER_REST = (
    0.007  # of a share: what a camera shows otherwise with another unit in its place; common practice, no source
)
# Doubts: farther from every learnt colour it is none of them. In one direction the ends of two even spreads lie √6 = 2.4 standard
# deviations of their difference apart, in two √12 = 3.5.
FARTHEST = 3.0
FARTHEST_AGREED = 9.0  # where the rule for any camera says so too; common practice, no source
# In doubts of two normal distributions: at odds of 1000 light of one is taken for the other's at most once in 10,000, however
# far apart they lie: the normal distribution beyond √(2 ln 1000), at its worst where they lie as far apart as that.
CLEARLY_NEARER = 2.0 * float(np.log(1e3))
NEARER = 2.0 * float(np.log(10.0))  # where the rule says so too
# Of two colours: how far apart at least, in the sum of both spreads. As wide, each is as likely as 10,000 to 1 at its own middle.
PARTED = 2.15
DIRECTIONS = np.stack([np.cos(np.linspace(0.0, np.pi, 180)), np.sin(np.linspace(0.0, np.pi, 180))], axis=1)


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
    channels = np.maximum(usable.mean(axis=0), 0.0)
    slopes = _slopes(channels[None])[0]
    _, green, blue = channels
    shown_elsewhere = np.array([0.0, BLUE_IN_GREEN * blue, GREEN_IN_BLUE * green])
    one_unit = slopes @ np.diag((OTHER_INTENSITY * channels) ** 2 + shown_elsewhere**2) @ slopes.T
    (xx, xy), (_, yy) = (np.cov(shares.T) + 2.0 * one_unit + OTHER_REST**2 * np.eye(2)).tolist()
    return LearntColour((float(middle[0]), float(middle[1])), ((xx, xy), (xy, yy)))


def words_by(learnt: Learnt, rgb_linear: Floats, rgb_covariance: Floats, words: Sequence[str]) -> list[str]:
    """Name colours by what was learnt, beside the words of the rule for any camera.

    Light that is clearly nearest one learnt colour has its word. Where the rule gives it the same word it may be less clearly
    nearest, or farther from it; but not where the rule gives that word to the learnt colour next to it, too. What the rule
    calls by a word that was not learnt stays that where no learnt colour is near; and near one that the rule calls otherwise
    it is neither.

    Args:
        learnt: by their words; may be empty.
        rgb_linear, rgb_covariance: shapes (n, 3) and (n, 3, 3), as `words_of` takes them.
        words: by the rule, n of them.
    """
    if not learnt or not len(rgb_linear):
        return list(words)
    names, by_the_rule = list(learnt), _words_of_learnt(learnt)
    squared, odds = _squared_doubts(learnt, rgb_linear, rgb_covariance)
    told = []
    for at, word in enumerate(words):
        first, *others = odds[at].argsort()
        name, away = names[first], squared[at, first]
        if not away < FARTHEST_AGREED**2:
            told.append(UNRECOGNISED if word in learnt else word)
            continue
        apart = odds[at, others[0]] - odds[at, first] if others else np.inf
        agreed = word == name and not (others and by_the_rule[others[0]] == word)
        strange = word not in (*names, UNRECOGNISED, by_the_rule[first])
        near = away < FARTHEST**2
        if near and not strange and apart > (NEARER if agreed else CLEARLY_NEARER):
            told.append(name)
        elif not near and agreed and apart > CLEARLY_NEARER:
            told.append(word)
        else:
            told.append(UNRECOGNISED if near or word in learnt else word)
    return told


def too_alike(learnt: Learnt) -> list[tuple[str, str, float]]:
    """Pairs of learnt colours that this camera does not part, and how far apart they lie, in the sum of both spreads.

    Across the direction in which they lie farthest apart by that measure: of all straight borders between two normal
    distributions the one there keeps both best. Source: T. W. Anderson and R. R. Bahadur, Classification into two multivariate
    normal distributions with different covariance matrices, Annals of Mathematical Statistics 33 (1962).
    """
    found = []
    for one, other in combinations(learnt, 2):
        away = np.abs(DIRECTIONS @ (np.array(learnt[one].share) - np.array(learnt[other].share)))
        apart = float((away / (_spread_along(learnt[one]) + _spread_along(learnt[other]))).max())
        if apart < PARTED:
            found.append((one, other, apart))
    return found


def _spread_along(colour: LearntColour) -> Floats:
    """A colour's standard deviation in each of the `DIRECTIONS`."""
    spread: Floats = np.sqrt(np.einsum("ni,ij,nj->n", DIRECTIONS, np.array(colour.spread), DIRECTIONS))
    return spread


def _words_of_learnt(learnt: Learnt) -> list[str]:
    """What the rule for any camera calls the learnt colours."""
    shares = np.array([colour.share for colour in learnt.values()])
    light = np.column_stack([shares, 1.0 - shares.sum(axis=1)])
    return words_of(light, np.zeros((len(light), 3, 3)))


def _shares(rgb_linear: Floats) -> Floats:
    light = np.maximum(rgb_linear, 0.0)
    shares: Floats = light[:, :2] / light.sum(axis=1, keepdims=True)
    return shares


def _slopes(rgb_linear: Floats) -> Floats:
    """How the shares follow the channels, shape (n, 2, 3)."""
    whole = np.maximum(rgb_linear, 0.0).sum(axis=1)
    slopes: Floats = (np.eye(3)[:2] - _shares(rgb_linear)[:, :, None]) / whole[:, None, None]
    return slopes


def _squared_doubts(learnt: Learnt, rgb_linear: Floats, rgb_covariance: Floats) -> tuple[Floats, Floats]:
    """Squared distances in doubts of light from each learnt colour, and its odds, shapes (n, colours).

    The odds are -2 ln of the normal density but for a constant. Both are infinite where they are no numbers.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        shares, slopes = _shares(rgb_linear), _slopes(rgb_linear)
        own = slopes @ rgb_covariance @ np.swapaxes(slopes, 1, 2)
    told = np.isfinite(shares).all(axis=1) & np.isfinite(own).all(axis=(1, 2)) & (rgb_linear.sum(axis=1) > 0.0)
    squared, odds = np.full((2, len(shares), len(learnt)), np.inf)
    for column, colour in enumerate(learnt.values()):
        away, spread = shares[told] - np.array(colour.share), own[told] + np.array(colour.spread)
        solved = np.linalg.solve(spread, away[:, :, None])[:, :, 0]
        squared[told, column] = np.einsum("ni,ni->n", away, solved)
        odds[told, column] = squared[told, column] + np.linalg.slogdet(spread)[1]
    return squared, odds
