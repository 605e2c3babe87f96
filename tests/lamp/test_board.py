"""Colours told from what lies around a blown-out core: lamps over boards made here, by the law of a matt surface.

A surface's light is its reflectance times what falls on it; reflectances, lamps and glow are our own figures.
"""

from types import SimpleNamespace

import numpy as np
import pytest

from hil.lamp import UNRECOGNISED, colour_words, dark_reference, read_light
from hil.lamp.board import agreed, read_otherwise
from hil.lamp.colour import words_of
from hil.lamp.doubt import Floats
from hil.lamp.light import Crops

SIDE, FACE_PX = 41, 7.0
GREY, BLUE, GREEN, RED = (0.3, 0.3, 0.3), (0.006, 0.03, 0.2), (0.025, 0.13, 0.03), (0.3, 0.03, 0.03)


def crops_over(
    lab: SimpleNamespace, board: tuple[float, ...], lamp: tuple[float, ...], room: float, seed: int = 1
) -> tuple[Crops, Crops]:
    """Give four lit and eight dark crops of a lamp with a grey face on a board, in a room of neutral light."""
    random = np.random.default_rng(seed)
    y, x = np.mgrid[0:SIDE, 0:SIDE] - (SIDE - 1) / 2
    radius = np.hypot(x, y)
    face = (radius < FACE_PX)[..., None]
    reflected = np.where(face, np.array(GREY), np.array(board))
    thrown = 3.0 * np.array(lamp) * np.maximum(radius / FACE_PX, 1.0)[..., None] ** -3.0
    lit = np.where(face, 30.0 * np.array(lamp) + 1.0, thrown * reflected)  # so bright that all channels are full

    def taken(light: Floats, frames: int) -> Crops:
        codes = lab.encode(light) + random.normal(0.0, 1.0, (frames, *light.shape))
        return np.clip(np.rint(codes), 0, 255).astype(np.uint8)[..., ::-1]

    return taken(lit + room * reflected, 4), taken(room * reflected, 8)


def words_over(
    lab: SimpleNamespace, board: tuple[float, ...], lamp: tuple[float, ...], room: float = 0.1
) -> tuple[set[str], set[str]]:
    """Give the words as told, and those that the glow alone would have."""
    lit, dark = crops_over(lab, board, lamp, room)
    light = read_light(lit, dark_reference(dark))
    return set(colour_words(light)), set(words_of(light.rgb_linear, light.rgb_covariance))


@pytest.mark.parametrize(("board", "glow"), [(BLUE, "blue"), (GREEN, "green"), (RED, "red")])
def test_white_on_a_coloured_board_is_not_given_the_boards_colour(
    lab: SimpleNamespace, board: tuple[float, ...], glow: str
) -> None:
    assert words_over(lab, board, (1.0, 1.0, 1.0)) == ({UNRECOGNISED}, {glow})


@pytest.mark.parametrize(
    ("word", "lamp"), [("red", (1.0, 0.004, 0.002)), ("green", (0.02, 1.0, 0.08)), ("blue", (0.004, 0.05, 1.0))]
)
@pytest.mark.parametrize("board", [GREY, BLUE, GREEN, RED])
def test_a_colour_on_a_board_is_told_or_not_but_never_another(
    lab: SimpleNamespace, word: str, lamp: tuple[float, ...], board: tuple[float, ...]
) -> None:
    told, _ = words_over(lab, board, lamp)
    assert told <= ({word} if board == GREY else {word, UNRECOGNISED})


def test_white_on_a_grey_board_is_white(lab: SimpleNamespace) -> None:
    assert words_over(lab, GREY, (1.0, 0.9, 0.8))[0] == {"white"}


WHITE, AMBER = np.array([[1.0, 0.9, 0.8]]), np.array([[1.0, 0.3, 0.02]])
EVEN, NONE = np.array([[0.1, 0.1, 0.1]]), np.zeros((1, 3))


def test_white_whose_dimmer_part_has_a_colour_is_not_told() -> None:
    """The white of a blown-out core, in the pixels next to it, over the glow of amber."""
    assert agreed(["white"], read_otherwise(WHITE, np.stack([WHITE, WHITE]), EVEN, EVEN, NONE, 0.001)) == ["white"]
    assert agreed(["white"], read_otherwise(WHITE, np.stack([WHITE, AMBER]), EVEN, EVEN, NONE, 0.001)) == [UNRECOGNISED]


def test_a_neighbours_light_in_a_part_of_the_glow_has_it_not_told() -> None:
    red, green = np.array([[1.0, 0.0, 0.02]]), np.array([[0.0, 1.0, 0.05]])
    whole = np.array([[1.0, 0.3, 0.02]])
    assert agreed(["amber"], read_otherwise(whole, np.stack([red, green]), EVEN, EVEN, NONE, 0.001)) == [UNRECOGNISED]


def test_where_nothing_is_blown_out_the_word_stays() -> None:
    none = np.full((1, 3), np.nan)
    assert agreed(["white"], read_otherwise(WHITE, np.stack([WHITE, AMBER]), EVEN, none, NONE, 0.001)) == ["white"]


def test_white_that_the_room_may_have_added_is_not_told() -> None:
    none, more = np.full((1, 3), np.nan), np.array([[0.9, 0.8, 0.6]])
    for lamp, word in ((np.array([[0.1, 0.09, 0.08]]), "white"), (np.array([[0.0, 0.01, 0.3]]), UNRECOGNISED)):
        assert agreed(["white"], read_otherwise(lamp + more, np.stack([lamp, lamp]), EVEN, none, more, 0.001)) == [word]
