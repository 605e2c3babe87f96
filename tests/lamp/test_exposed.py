"""How a lamp is exposed: pictures of the virtual bench's table by one exposure after another, and figures made here."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from hil.lamp.aim import Turn
from hil.lamp.exposed import Exposed, exposed
from hil.virtual.scene.picture import Picture

DARK, WHITE = (0.0, 0.0, 0.0), (1.0, 1.0, 1.0)
GOOD = Exposed(blown=0.2, steady=0.95, brightest=0.9, placed=True)


@cache
def table_of(exposure_s: float) -> Picture:
    return Picture(3, exposure_s=exposure_s)


def of(exposure_s: float, drives: tuple[float, ...] = (1.0,) * 4) -> Exposed:
    table = table_of(exposure_s)
    lit = np.stack([table.render((by, by, by), DARK, 20 + at) for at, by in enumerate(drives)])
    dark = np.stack([table.render(DARK, DARK, at) for at in range(2)])
    return exposed(Turn(lit, dark), table.regions["unit"], list(table.regions.values()))


def test_the_shorter_the_exposure_the_less_is_blown_out() -> None:
    blown = [of(exposure_s).blown for exposure_s in (0.008, 0.002, 0.0005)]
    assert blown[0] > 1.2 * blown[1] > 1.4 * blown[2] > 0.0


def test_a_steady_lamp_is_steady_and_one_that_switches_within_its_exposure_is_not() -> None:
    assert of(0.002).steady > 0.9
    assert of(0.002, (1.0, 0.4, 1.0, 0.6)).steady < 0.8


@pytest.mark.parametrize("exposure_s", [0.008, 0.001])
def test_the_camera_s_place_is_told_however_dark_the_table_is(exposure_s: float) -> None:
    assert of(exposure_s).placed


def test_where_the_lamp_itself_lights_the_table_its_place_is_not_told() -> None:
    """A dark room: what lies around it is seen while it is lit alone."""
    random = np.random.default_rng(1)
    board = np.kron(random.uniform(0.2, 1.0, (24, 32, 3)), np.ones((10, 10, 1)))
    dark = np.clip(board * 3.0 + random.normal(0.0, 1.0, board.shape), 0, 255).astype(np.uint8)
    lit = np.clip(board * 160.0, 0, 255).astype(np.uint8)
    lit[110:130, 150:170] = 255
    turn = Turn(np.stack([lit, lit]), np.stack([dark, dark]))
    assert not exposed(turn, (140, 100, 40, 40), [(140, 100, 40, 40)]).placed


@pytest.mark.parametrize(
    ("shorter", "does"),
    [
        (GOOD, True),
        (replace(GOOD, steady=0.5), False),
        (replace(GOOD, brightest=0.01), False),
        (replace(GOOD, placed=False), False),
    ],
)
def test_a_shorter_one_does_where_it_shows_what_the_longer_showed(shorter: Exposed, does: bool) -> None:
    assert shorter.does_beside(GOOD) is does


def test_what_the_longer_did_not_show_either_is_not_missed() -> None:
    flashing = replace(GOOD, steady=0.0, placed=False)
    assert flashing.does_beside(flashing)
    assert not GOOD.is_enough
    assert replace(GOOD, blown=0.0).is_enough
