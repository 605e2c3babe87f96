"""Reads a lamp's colour in other ways than from all of its glow, to see whether they agree.

Where a lamp's core is blown out its colour is told from what lies around, and that need not be the lamp's: a board sends on what
it reflects, so that white on a blue board is blue; pixels near the core have some of its white, by the camera's mosaic, its
sharpening and its halved colour; a neighbour shines in. Each of these shows in a picture:

- The dark picture shows the board beside the lamp's own face in one room's light. Light that the board sent on has the board's
  colour over the face's too much (`AGAINST_FACE`); and the board's own over white, where the camera is balanced on the room
  (`AGAINST_ROOM`). Where the room is too dark for the board to show, both change little.
- What the blown-out core adds is strongest in the brighter part of the glow (`NEAR`), what board and neighbours do in the
  dimmer one (`FAR`).

A torch or a lighter room adds white to all pixels, blown out or not: what all of them gained is taken away (`LESS_ROOM`).

A lamp's own colour stays in all of them, within its word's borders or in a reject zone. So a word that another one of them
denies is not told. Three words are denied more easily, since what makes them of other colours is common: white must be white in
the dimmer part too, as a blown-out core whitens the brighter one, and without what the room may have added; blue must stay blue
against the board, as many boards are blue and white lamps bluish; red likewise, as a red board takes the green of amber.
Law: a matt surface's light is its reflectance times what falls on it. Pure.
"""

from collections.abc import Sequence

import numpy as np

from hil.lamp.colour import UNRECOGNISED, words_of
from hil.lamp.doubt import Bools, Floats

AGAINST_FACE, AGAINST_ROOM, NEAR, FAR, LESS_ROOM = range(5)
NOT_ANOTHER_WORD = (AGAINST_FACE, NEAR, FAR, LESS_ROOM)
THE_SAME_WORD = {"white": (FAR, LESS_ROOM), "blue": (AGAINST_FACE, AGAINST_ROOM), "red": (AGAINST_FACE, AGAINST_ROOM)}
DARKEST_TOLD = 0.0005  # linear light (full scale 1) by which a dark surface shows at all; common practice, no source


def read_otherwise(whole: Floats, halves: Floats, around: Floats, face: Floats, more: Floats, noise: float) -> Floats:
    """Give a lamp's light as read in other ways, shape (n, 5, 3), any scale; not a number where `face` is none, but for the last.

    Args:
        whole: its light, shape (n, 3), linear, a mean over the glow.
        halves: the light of the glow's brighter and dimmer part, shape (2, n, 3), any scale.
        around: the dark light of the pixels that `whole` is the mean of, by the same weights, shape (n, 3).
        face: the dark light of the pixels that the lamp blows out, shape (n, 3); not a number where there are none.
        more: what the room's light may have added to `whole`, shape (n, 3).
        noise: of a dark pixel, linear light.
    """
    least = DARKEST_TOLD + noise / 2.0
    against_room = whole / (around + least)
    readings = np.stack([against_room * (face + least), against_room, *halves, whole - more], axis=1)
    readings[~np.isfinite(face).all(axis=1), :LESS_ROOM] = np.nan
    return readings


def agreed(words: Sequence[str], otherwise: Floats) -> list[str]:
    """Give the words that the other readings, shape (n, 5, 3), let stand, else "unrecognised"; what is no number denies none."""
    exact = np.zeros((len(otherwise), 3, 3))
    had: Bools = np.asarray(np.isfinite(otherwise).all(axis=2))
    others = [words_of(otherwise[:, reading], exact) for reading in range(otherwise.shape[1])]
    told = []
    for frame, word in enumerate(words):
        readings = {reading: other[frame] for reading, other in enumerate(others) if had[frame, reading]}
        stands = all(readings.get(reading, word) in (word, UNRECOGNISED) for reading in NOT_ANOTHER_WORD)
        stands &= all(readings.get(reading, word) == word for reading in THE_SAME_WORD.get(word, ()))
        told.append(word if stands else UNRECOGNISED)
    return told
