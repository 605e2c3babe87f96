"""Holds `hil.virtual.desk.optics` and `timing` against the laws of light and of a rolling shutter.

Inverse square and cosine (photometry, any textbook); luminance of a matt source seen from any distance and angle is the same
(Lambert); a shutter that reads a row each t seconds shows a lamp of f Hz as bands of 1 / (f t) rows.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from hil.virtual.desk.conditions import Conditions, Room, draw_conditions
from hil.virtual.desk.optics import Layers, Optics, Picture, thrown
from hil.virtual.desk.ranges import DeskRange
from hil.virtual.desk.spectra import per_candela, white_led
from hil.virtual.desk.timing import ripple, switched

SIDE = 192
SHARP = DeskRange(
    lamp_kinds=("addressable, version 5",), angle_deg=(0, 0), defocus_px=(0, 0), glare=(1e-6, 1e-6), neighbours=(0, 0),
    distance_mm=(100, 100), field_deg=(60, 60), picture_width_px=(1280,),
)  # fmt: skip


def layers(conditions: Conditions) -> Layers:
    return Optics(conditions, SIDE, (SIDE / 2, SIDE / 2), np.random.default_rng(0)).layers()


def in_the_window(conditions: Conditions) -> Picture:
    """Filling by the green emitter around the lamp's middle."""
    filling = layers(conditions).emitters[1, :, :, 1]
    assert filling.max() > 0
    return filling


def test_a_board_is_lit_by_inverse_square_and_cosine() -> None:
    away, height = np.array([0.0, 1.0, 2.0, 10.0], np.float32), 2.0
    distance = np.hypot(away, height)
    assert thrown(away, height) == pytest.approx(height / distance / distance**2, rel=1e-5)


def test_twice_as_far_the_lamp_is_as_bright_and_a_quarter_as_large() -> None:
    near = draw_conditions(3, 0, "white", SHARP)
    far = replace(near, view=replace(near.view, pixels_per_mm=near.view.pixels_per_mm / 2))
    bright, less = in_the_window(near), in_the_window(far)
    assert less.max() == pytest.approx(bright.max(), rel=0.05)
    assert less.sum() / bright.sum() == pytest.approx(0.25, rel=0.1)


@pytest.mark.parametrize(("spread", "left"), [(1.0, 1.0), (3.0, math.cos(math.radians(50.0)) ** 2)])
def test_aslant_the_window_narrows_and_a_matt_one_stays_as_bright(spread: float, left: float) -> None:
    straight = draw_conditions(3, 0, "white", SHARP)
    straight = replace(straight, lamp=replace(straight.lamp, spread=spread))
    aslant = replace(straight, view=replace(straight.view, angle_deg=50.0))
    before, after = in_the_window(straight), in_the_window(aslant)
    assert after.max() == pytest.approx(left * before.max(), rel=0.05)
    wide_before, wide_after = (before > before.max() / 4).sum(), (after > after.max() / 4).sum()
    assert wide_after / wide_before == pytest.approx(math.cos(math.radians(50.0)), rel=0.1)


def test_a_white_board_in_the_room_is_as_bright_as_its_exposure_says() -> None:
    """At 0 stops a sheet that sends all back fills the strongest channel to 0.9, in the light of the balance."""
    over = replace(SHARP, boards=("white",), rooms=("daylight",), balance_error_mired=(0, 0), balance_elsewhere=0.0)
    over = replace(over, balance_tint=(0, 0), exposure_stops=(0, 0), ambient_lux=(500, 500))
    conditions = draw_conditions(5, 0, "white", over)
    gains = conditions.settings.camera.gains
    balanced = np.median(layers(conditions).ambient.reshape(-1, 3), axis=0) * gains
    assert balanced == pytest.approx([0.9 * 0.75] * 3, rel=0.15)
    assert conditions.settings.exposure_s * conditions.settings.gain == pytest.approx(1 / 50)


def test_bands_are_as_many_rows_apart_as_frequency_and_row_time_say() -> None:
    hz, row_time_s, rows = 500.0, 50e-6, 4000
    lit = switched(hz, 0.3, np.asarray(np.arange(rows) * row_time_s, np.float64), 3.4e-3)
    strengths = np.abs(np.fft.rfft(lit - lit.mean()))
    assert rows / strengths.argmax() == pytest.approx(1 / (hz * row_time_s), rel=0.01)
    assert lit.mean() == pytest.approx(0.3, rel=0.01)
    assert np.ptp(lit) > 0.05


def test_an_exposure_of_whole_periods_shows_no_bands() -> None:
    starts = np.asarray(np.arange(480) * 37e-6, np.float64)
    assert switched(400.0, 0.2, starts, 0.010) == pytest.approx(np.full(480, 0.2), abs=1e-5)
    room = Room("white LED", per_candela(white_led(3000.0)), 3000.0, 300.0, 0.4, 100.0, 1.0, 0.0)
    assert ripple(room, starts, 0.020) == pytest.approx(np.ones(480), abs=1e-6)
    assert np.ptp(ripple(room, starts, 0.001)) > 0.5
    assert ripple(room, starts, 0.001).max() <= 1.4
