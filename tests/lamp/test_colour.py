"""Colour arithmetic held against colour-science and the printed tables; words against the data sheet's wavelengths.

Tables: IEC 61966-2-1 (sRGB), CIE 15 (u'v'); WS2812B data sheet version 5 (dominant wavelengths).
"""

import colorsys
import itertools
import math
import warnings

import numpy as np
import pytest

from hil.lamp.colour import (
    COLOURS,
    RGB_TO_XYZ,
    SECTORS,
    UNRECOGNISED,
    colour_word,
    hue_of,
    luminance_of,
    uv_of_rgb,
    uv_spread,
    words_of,
    xyz_of_rgb,
)
from hil.lamp.doubt import Floats

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns about its own optional parts at import
    import colour

WAVELENGTHS_NM = {"red": (620, 621, 630), "amber": (590,), "green": (515, 520, 525), "blue": (465, 471, 475)}


def outside_uv(rgb: Floats) -> Floats:
    with np.errstate(all="ignore"):
        return colour.xy_to_Luv_uv(colour.XYZ_to_xy(rgb @ RGB_TO_XYZ.T))


def test_matrix_is_the_one_derived_from_the_primaries() -> None:
    primaries = np.array([[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]])
    derived = colour.normalised_primary_matrix(primaries, np.array([0.3127, 0.3290]))
    assert pytest.approx(derived, abs=1e-6) == RGB_TO_XYZ


def test_uv_agrees_with_colour_science() -> None:
    rgb = np.random.default_rng(3).random((500, 3))
    assert uv_of_rgb(rgb) == pytest.approx(outside_uv(rgb), abs=1e-6)
    assert luminance_of(rgb) == pytest.approx(xyz_of_rgb(rgb)[:, 1])


@pytest.mark.parametrize(
    ("rgb", "uv"),
    [  # CIE 15 figures for the sRGB primaries and D65, six places
        ((1, 0, 0), (0.450704, 0.522887)),
        ((0, 1, 0), (0.125000, 0.562500)),
        ((0, 0, 1), (0.175439, 0.157895)),
        ((1, 1, 1), (0.197830, 0.468320)),
    ],
)
def test_uv_of_the_primaries_as_printed(rgb: Floats, uv: tuple[float, float]) -> None:
    assert uv_of_rgb(np.array(rgb)) == pytest.approx(uv, abs=1e-6)


def test_no_light_has_no_colour() -> None:
    assert np.isnan(uv_of_rgb(np.zeros(3))).all()


def test_uv_spread_agrees_with_repeated_draws() -> None:
    random = np.random.default_rng(5)
    rgb, sd = np.array([0.4, 0.5, 0.2]), np.array([0.004, 0.002, 0.003])
    drawn = uv_of_rgb(rgb + sd * random.standard_normal((40000, 3)))
    spread = uv_spread(rgb[None], np.diag(sd**2)[None])[0]
    assert spread == pytest.approx(np.cov(drawn.T), rel=0.05, abs=2e-8)


def channels_of(xyz: Floats) -> Floats:
    """Linear sRGB of some light as a camera gives it, which has no negative light; largest channel 1."""
    light = np.maximum(np.linalg.solve(RGB_TO_XYZ, xyz), 0.0)
    return np.asarray(light / light.max())


@pytest.mark.parametrize("word", WAVELENGTHS_NM)
def test_the_data_sheets_wavelengths_have_their_word(word: str) -> None:
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    for wavelength in WAVELENGTHS_NM[word]:
        assert colour_word(channels_of(cmfs[wavelength])) == word, wavelength


def test_a_lamp_of_yellowish_green_is_green() -> None:
    """565 nm: dominant wavelength of gallium phosphide lamps sold as green; from memory."""
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    assert colour_word(channels_of(cmfs[565])) == "green"


@pytest.mark.parametrize("turns", np.linspace(0.0, 1.0, 37))
def test_hue_agrees_with_the_standard_library(turns: float) -> None:
    """`colorsys`: HSV, here of linear light."""
    rgb = np.array(colorsys.hsv_to_rgb(turns, 0.7, 0.4))
    assert math.cos(math.radians(float(hue_of(rgb)) - 360.0 * turns)) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(("rgb", "wavelength"), [((1, 0, 0), 611.3), ((0, 1, 0), 549.1), ((0, 0, 1), 464.3)])
def test_dominant_wavelength_of_our_uv_is_the_published_one(rgb: Floats, wavelength: float) -> None:
    xy = colour.Luv_uv_to_xy(uv_of_rgb(np.array(rgb)))
    found, _, _ = colour.dominant_wavelength(xy, np.array([0.3127, 0.3290]))
    assert float(found) == pytest.approx(wavelength, abs=1.0)  # colour-science steps by 1 nm


@pytest.mark.parametrize("kelvin", [2700, 3000, 4000, 5000, 6500, 8000])
def test_white_of_any_common_lamp_is_white_before_a_camera_balanced_for_daylight(kelvin: float) -> None:
    """Planck's law, by colour-science; the warmest lie in the reject zone between white and amber."""
    uv = colour.UCS_uv_to_xy(colour.temperature.CCT_to_uv(np.array([kelvin, 0.0])))
    word = colour_word(channels_of(np.asarray(colour.xy_to_XYZ(uv))))
    assert word == ("white" if kelvin >= 4000 else UNRECOGNISED)


def around(whiteness: float) -> list[str]:
    """The words of all hues, in steps of half a degree."""
    return [colour_word(colorsys.hsv_to_rgb(turn, 1.0 - whiteness, 1.0)) for turn in np.arange(720) / 720.0]


@pytest.mark.parametrize("whiteness", [0.0, 0.01, 0.025])
def test_going_round_two_words_never_touch(whiteness: float) -> None:
    words = around(whiteness)
    pairs = {(one, other) for one, other in zip(words, words[1:] + words[:1], strict=True) if one != other}
    assert {word for pair in pairs for word in pair} == {*COLOURS, UNRECOGNISED} - {"white"}
    assert all(UNRECOGNISED in pair for pair in pairs)


@pytest.mark.parametrize("rgb", [(1.0, 0.0, 0.0), (1.0, 0.4, 0.0), (0.0, 1.0, 0.1), (0.0, 0.1, 1.0)])
def test_going_out_from_white_two_words_never_touch(rgb: tuple[float, float, float]) -> None:
    words = [colour_word((1.0 - share) + share * np.array(rgb)) for share in np.linspace(0.0, 1.0, 400)]
    order = [words[0], *(after for before, after in itertools.pairwise(words) if after != before)]
    assert order == ["white", UNRECOGNISED, words[-1]]
    assert words[-1] not in ("white", UNRECOGNISED)


@pytest.mark.parametrize("rgb", [(0, 1, 1), (1, 0, 1), (0.9, 1, 0), (0.5, 0, 1), (0, 0.6, 1), (1, 0.05, 0)])
def test_colours_between_words_are_unrecognised(rgb: tuple[float, float, float]) -> None:
    assert colour_word(rgb) == UNRECOGNISED


POINTS = {"white": (1, 0.9, 0.8), "red": (1, 0, 0.05), "amber": (1, 0.4, 0), "green": (0, 1, 0.1), "blue": (0, 0.1, 1)}


def test_doubt_makes_a_word_unrecognised_never_another() -> None:
    for word, rgb in POINTS.items():
        words = [colour_word(rgb, sd**2) for sd in (0.0, 0.003, 0.01, 0.03, 0.1, 0.3, 1.0)]
        assert words[0] == word
        assert words[-1] == UNRECOGNISED
        assert set(words) <= {word, UNRECOGNISED}


def test_doubt_is_carried_to_hue_and_whiteness_as_repeated_draws_scatter() -> None:
    """The word is lost where 97.5 % of draws would still have it: then the border lies 1.96 standard deviations away."""
    random = np.random.default_rng(5)
    sector = next(sector for sector in SECTORS if sector.word == "amber")
    for green in (0.10, 0.12, 0.14):
        rgb = np.array([1.0, green, 0.0])
        sds = np.linspace(0.001, 0.08, 80)
        lost = next(sd for sd in sds if colour_word(rgb, np.diag([1e-12, sd**2, 1e-12])) != "amber")
        drawn = hue_of(rgb + np.array([0.0, lost, 0.0]) * random.standard_normal((40000, 1)))
        assert (drawn < sector.from_deg).mean() == pytest.approx(0.025, abs=0.008)  # to first order


def test_doubt_that_all_channels_share_changes_no_hue_between_them() -> None:
    """Of two channels that err alike the difference stays: (1, g, 0) with red and green up and down together."""
    together = 0.02**2 * np.array([[1.0, 1.0, 0.0], [1.0, 1.0, 0.0], [0.0, 0.0, 0.0]])
    alone = 0.02**2 * np.diag([1.0, 1.0, 0.0])
    near = (1.0, 0.92, 0.0)
    assert (colour_word(near, together), colour_word(near, alone)) == ("amber", UNRECOGNISED)


def test_light_outside_what_the_channels_span_is_the_surer_a_colour() -> None:
    """A channel that fell below its dark value, as a camera's colour matrix makes it, outweighs a doubt of that channel."""
    variance = np.diag([1e-8, 1e-8, 0.05**2])
    assert colour_word((1.0, 0.4, 0.0), variance) == UNRECOGNISED
    assert colour_word((1.0, 0.4, -0.05), variance) == "amber"


@pytest.mark.parametrize(
    "parts",  # (nm, mcd) of red, green, blue; WS2812B data sheet, version 5 and older figures
    [((621, 310), (520, 780), (471, 300)), ((622, 405), (523, 690), (467, 190))],
)
def test_an_unbalanced_lamp_s_white_is_not_blue(parts: tuple[tuple[int, int], ...]) -> None:
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    xyz = sum(millicandela * cmfs[wavelength] / cmfs[wavelength][1] for wavelength, millicandela in parts)
    assert colour_word(channels_of(np.asarray(xyz))) in ("white", UNRECOGNISED)


@pytest.mark.parametrize("missing", range(3))
def test_white_of_which_one_emitter_is_dead_is_not_white(missing: int) -> None:
    """The older figures of the same data sheet, one of the three left out."""
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    parts = [part for at, part in enumerate([(622, 405), (523, 690), (467, 190)]) if at != missing]
    xyz = sum(millicandela * cmfs[wavelength] / cmfs[wavelength][1] for wavelength, millicandela in parts)
    assert colour_word(channels_of(np.asarray(xyz))) != "white"


def test_white_on_a_board_that_takes_red_is_white() -> None:
    # Linear light about the lamp as the virtual bench's camera shows it: our own measurement, no source.
    assert colour_word(np.array([0.0894, 0.2045, 0.2810]), 0.001**2) == "white"


def test_no_light_and_grey_light() -> None:
    assert colour_word((0.0, 0.0, 0.0)) == UNRECOGNISED
    assert colour_word((0.3, 0.3, 0.3)) == "white"


def test_not_a_number_is_unrecognised() -> None:
    assert colour_word((math.nan, 0.4, 0.1)) == UNRECOGNISED
    assert colour_word((0.0, 0.0, 1.0), np.full((3, 3), np.nan)) == UNRECOGNISED


def test_wrong_shapes_are_refused() -> None:
    with pytest.raises(ValueError, match="shape"):
        colour_word((0.2, 0.4))
    with pytest.raises(ValueError, match="shape"):
        words_of(np.ones(3), np.ones((3, 3)))
    with pytest.raises(ValueError, match="covariance"):
        words_of(np.ones((2, 3)), np.zeros((3, 3)))
    with pytest.raises(ValueError, match="negative"):
        colour_word((0.2, 0.4, 0.1), -0.1)
