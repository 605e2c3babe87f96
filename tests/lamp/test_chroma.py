"""What a lamp has beside grey: dominant wavelengths of signal lights and the hues of daylight, both by colour-science."""

import warnings

import numpy as np
import pytest

from hil.lamp import UNRECOGNISED
from hil.lamp.chroma import Chroma, chroma_of, settled
from hil.lamp.colour import RGB_TO_XYZ
from hil.lamp.doubt import Floats
from hil.lamp.light import Planes

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

NEUTRAL = np.full(3, 0.2, np.float32)
SIDE = 60


def disc(
    core: Floats | tuple[float, ...], ring: Floats | tuple[float, ...], around: float = 0.02
) -> tuple[Planes, Planes]:
    """A lamp with a core of one light within a ring of another, on grey; and how far each pixel lies from its middle."""
    y, x = np.mgrid[:SIDE, :SIDE] - (SIDE - 1) / 2
    away = np.hypot(x, y)
    light = np.full((SIDE, SIDE, 3), around)
    light[away < 14] = ring
    light[away < 11] = core
    return light.astype(np.float32), (away / 15.0).astype(np.float32)


def light_of(spectrum: colour.SpectralDistribution) -> Floats:
    """Light in linear sRGB, its strongest channel 1, nothing below zero."""
    xyz = np.asarray(colour.sd_to_XYZ(spectrum), np.float64)
    rgb: Floats = np.maximum(np.linalg.inv(RGB_TO_XYZ) @ xyz, 0.0)
    return rgb / rgb.max()


def emitter(wavelength: float) -> Floats:
    return light_of(colour.sd_gaussian(wavelength, 20.0, method="FWHM"))


@pytest.mark.parametrize(("wavelength", "word"), [(630, "red"), (505, "green"), (525, "green")])
@pytest.mark.parametrize("white", [0.0, 0.3, 0.9])
def test_a_lamp_blown_out_but_for_a_ring_has_its_hue_whatever_white_lies_over_it(
    wavelength: float, word: str, white: float
) -> None:
    """Dominant wavelengths of signal lights as data sheets of traffic signals have them: common practice, no source."""
    ring = np.clip((1.0 - white) * 0.7 * emitter(wavelength) + white, 0.0, 1.0)
    seen, plain = chroma_of(*disc((1.0, 1.0, 1.0), ring)), chroma_of(*disc((1.0, 1.0, 1.0), 0.7 * emitter(wavelength)))
    assert seen is not None
    assert plain is not None
    assert seen.hue_deg == pytest.approx(plain.hue_deg, abs=1.0)
    assert plain.word == word
    assert seen.word == (word if white < 0.5 else UNRECOGNISED)


@pytest.mark.parametrize("kelvin", [2700, 3200, 4000, 5000, 6500, 8000])
def test_white_light_is_settled_as_no_colour(kelvin: int) -> None:
    seen = chroma_of(*disc((1.0, 1.0, 1.0), 0.7 * light_of(colour.sd_blackbody(kelvin))))
    assert seen is None or seen.word == UNRECOGNISED


@pytest.mark.parametrize("wavelength", [470, 590])
def test_a_blue_one_and_an_amber_one_are_left_to_the_rule_for_light(wavelength: float) -> None:
    """Cold and warm white lamps are as pure beside grey."""
    seen = chroma_of(*disc((1.0, 1.0, 1.0), 0.7 * emitter(wavelength)))
    assert seen is not None
    assert seen.purity > 0.9
    assert seen.word == UNRECOGNISED


def test_grey_has_nothing() -> None:
    assert chroma_of(*disc((1.0, 1.0, 1.0), (0.5, 0.5, 0.5))) is None
    assert settled("white", None, NEUTRAL) == "white"


RED, GREEN, PALE = Chroma(0.0, 0.8), Chroma(170.0, 0.8), Chroma(30.0, 0.4)


@pytest.mark.parametrize(
    ("word", "chroma", "told"),
    [
        (UNRECOGNISED, RED, "red"),  # left open, and clear
        (UNRECOGNISED, PALE, UNRECOGNISED),  # warm white or a whitened amber
        ("white", RED, UNRECOGNISED),  # a white lamp has no such ring
        ("white", PALE, "white"),
        ("red", RED, "red"),
        ("red", PALE, "red"),
        ("green", RED, UNRECOGNISED),  # what is left of a red one when a white sky is taken away
        ("amber", GREEN, UNRECOGNISED),
    ],
)
def test_what_is_beside_grey_settles_what_is_open_and_denies_what_it_is_not(
    word: str, chroma: Chroma, told: str
) -> None:
    assert settled(word, chroma, NEUTRAL) == told


def test_on_a_coloured_board_nothing_is_settled() -> None:
    board = np.array([0.2, 0.05, 0.05], np.float32)
    assert settled(UNRECOGNISED, RED, board) == UNRECOGNISED
    assert settled("white", RED, board) == "white"
    assert settled("green", RED, board) == UNRECOGNISED
    assert settled(UNRECOGNISED, RED, board / 100.0) == "red"  # too dark to show
