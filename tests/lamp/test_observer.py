"""Chromaticities of pure colours, and what of the diagram a colour word owns."""

import colour
import numpy as np
import numpy.typing as npt
import pytest

from hil.lamp.colour import COLOURS, RGB_TO_XYZ, colour_word
from hil.lamp.diagram import channels_span, outline_of
from hil.lamp.observer import spectral_locus, uv_of_wavelength

Floats = npt.NDArray[np.float64]

# Spectral chromaticities, CIE 1931 2 degree observer, from CIE 15: wavelength in nm, x, y.
PUBLISHED_XY = [
    (465, 0.13550, 0.03988),
    (470, 0.12412, 0.05780),
    (520, 0.07430, 0.83380),
    (525, 0.11416, 0.82621),
    (590, 0.57515, 0.42423),
    (620, 0.69150, 0.30834),
    (625, 0.70061, 0.29930),
]


@pytest.mark.parametrize(("wavelength_nm", "x", "y"), PUBLISHED_XY)
def test_a_pure_colour_lies_where_the_table_says(wavelength_nm: float, x: float, y: float) -> None:
    """u' = 4x / (-2x + 12y + 3), v' = 9y / (-2x + 12y + 3): ISO/CIE 11664-5."""
    whole = -2.0 * x + 12.0 * y + 3.0
    assert uv_of_wavelength(wavelength_nm) == pytest.approx((4.0 * x / whole, 9.0 * y / whole), abs=1e-4)


def test_every_wavelength_agrees_with_colour_science() -> None:
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    for wavelength_nm in range(405, 700, 5):
        expected = colour.xy_to_Luv_uv(colour.XYZ_to_xy(observer[wavelength_nm]))
        assert uv_of_wavelength(wavelength_nm) == pytest.approx(tuple(expected), abs=2e-5)
    # Between two of the table's wavelengths it is straight: near enough for a diagram.
    for wavelength_nm in range(402, 700, 5):
        expected = colour.xy_to_Luv_uv(colour.XYZ_to_xy(observer[wavelength_nm]))
        assert uv_of_wavelength(wavelength_nm) == pytest.approx(tuple(expected), abs=0.004)


@pytest.mark.parametrize("wavelength_nm", [399.9, 700.1, float("nan")])
def test_a_wavelength_outside_the_table_is_refused(wavelength_nm: float) -> None:
    with pytest.raises(ValueError, match="give 400 to 700"):
        uv_of_wavelength(wavelength_nm)


def _inside(point: Floats, border: Floats) -> bool:
    """By the winding number of the border about a point."""
    around = np.vstack([border, border[:1]]) - point
    return bool(abs(np.diff(np.unwrap(np.arctan2(around[:, 1], around[:, 0]))).sum()) > np.pi)


def word_at(point: Floats) -> str:
    """The word of light at a point of u'v' that the channels span: by the inverse of ISO/CIE 11664-5, at Y = 1."""
    u, v = point
    xyz = np.array([9.0 * u / (4.0 * v), 1.0, (12.0 - 3.0 * u - 20.0 * v) / (4.0 * v)])
    return colour_word(np.linalg.solve(RGB_TO_XYZ, xyz))


@pytest.mark.parametrize("word", COLOURS)
def test_an_outline_holds_all_that_its_word_owns_and_nothing_else(word: str) -> None:
    outline = outline_of(word)
    grid = [np.array([u, v]) for u in np.arange(0.005, 0.62, 0.0057) for v in np.arange(0.02, 0.59, 0.0053)]
    colours = [point for point in grid if _inside(point, channels_span())]
    clear = [point for point in colours if np.hypot(*(outline - point).T).min() > 0.004]
    assert len(clear) > 900
    assert any(_inside(point, outline) for point in clear)
    wrong = [point for point in clear if _inside(point, outline) != (word_at(point) == word)]
    assert len(wrong) <= 0.005 * len(clear), wrong  # the corners of the outline are up to 0.03 apart


def test_the_border_runs_from_violet_to_red() -> None:
    border = spectral_locus()
    assert border[0] == pytest.approx(uv_of_wavelength(400), abs=1e-9)
    assert border[-1] == pytest.approx(uv_of_wavelength(700), abs=1e-9)
