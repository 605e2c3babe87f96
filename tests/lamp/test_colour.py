"""Colour arithmetic held against colour-science and the printed tables; words against the data sheet's wavelengths.

Tables: IEC 61966-2-1 (sRGB), CIE 15 (u'v'); WS2812B data sheet version 5 (dominant wavelengths).
"""

import itertools
import math
import warnings

import numpy as np
import pytest

from hil.lamp.colour import (
    COLOURS,
    D65_UV,
    REFERENCE_UV,
    RGB_TO_XYZ,
    SECTORS,
    UNRECOGNISED,
    colour_word,
    luminance_of,
    uv_of_rgb,
    uv_spread,
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


@pytest.mark.parametrize("word", WAVELENGTHS_NM)
def test_the_data_sheets_wavelengths_lie_in_their_sector(word: str) -> None:
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    for wavelength in WAVELENGTHS_NM[word]:
        uv = colour.xy_to_Luv_uv(colour.XYZ_to_xy(cmfs[wavelength]))
        assert colour_word(uv, 0.005) == word, wavelength


@pytest.mark.parametrize("word", COLOURS)
def test_reference_points_lie_in_their_sector(word: str) -> None:
    assert [colour_word(uv, 0.005) for uv in REFERENCE_UV[word]] == [word] * len(REFERENCE_UV[word])


def test_reference_points_are_spectral_where_they_say_so() -> None:
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    for word, at, wavelength in [("red", 0, 620), ("red", 1, 630), ("amber", 0, 590), ("green", 0, 515)]:
        outside = colour.xy_to_Luv_uv(colour.XYZ_to_xy(cmfs[wavelength]))
        assert REFERENCE_UV[word][at] == pytest.approx(outside, abs=1e-4)
    for word, at, wavelength in [("green", 1, 525), ("blue", 0, 465), ("blue", 1, 475)]:
        outside = colour.xy_to_Luv_uv(colour.XYZ_to_xy(cmfs[wavelength]))
        assert REFERENCE_UV[word][at] == pytest.approx(outside, abs=1e-4)


@pytest.mark.parametrize(("rgb", "wavelength"), [((1, 0, 0), 611.3), ((0, 1, 0), 549.1), ((0, 0, 1), 464.3)])
def test_dominant_wavelength_of_our_uv_is_the_published_one(rgb: Floats, wavelength: float) -> None:
    xy = colour.Luv_uv_to_xy(uv_of_rgb(np.array(rgb)))
    found, _, _ = colour.dominant_wavelength(xy, np.array([0.3127, 0.3290]))
    assert float(found) == pytest.approx(wavelength, abs=1.0)  # colour-science steps by 1 nm


@pytest.mark.parametrize("kelvin", [2700, 3000, 3500])
def test_warm_white_is_not_amber(kelvin: float) -> None:
    uv = colour.xy_to_Luv_uv(colour.UCS_uv_to_xy(colour.temperature.CCT_to_uv(np.array([kelvin, 0.0]))))
    assert colour_word(uv) == UNRECOGNISED


@pytest.mark.parametrize("distance", [0.10, 0.15, 0.25])
def test_going_round_white_two_words_never_touch(distance: float) -> None:
    around = np.radians(np.arange(0.0, 360.0, 0.25))
    words = [colour_word((D65_UV[0] + distance * np.cos(a), D65_UV[1] + distance * np.sin(a))) for a in around]
    pairs = {(one, other) for one, other in zip(words, words[1:] + words[:1], strict=True) if one != other}
    assert pairs
    assert all(UNRECOGNISED in pair for pair in pairs)


@pytest.mark.parametrize("word", [word for word in COLOURS if word != "white"])
def test_going_out_from_white_two_words_never_touch(word: str) -> None:
    goal = np.array(REFERENCE_UV[word][0]) - D65_UV
    words = [colour_word(np.array(D65_UV) + share * goal) for share in np.linspace(0, 1, 400)]
    order = [words[0], *(after for before, after in itertools.pairwise(words) if after != before)]
    assert order == ["white", UNRECOGNISED, word]


@pytest.mark.parametrize("rgb", [(0, 1, 1), (1, 0, 1), (0.6, 1, 0), (0.4, 0, 1), (0, 0.6, 1), (1, 0.14, 0)])
def test_colours_between_words_are_unrecognised(rgb: Floats) -> None:
    assert colour_word(uv_of_rgb(np.array(rgb, dtype=float))) == UNRECOGNISED


def test_doubt_makes_a_word_unrecognised_never_another() -> None:
    for word in COLOURS:
        point = REFERENCE_UV[word][-1]
        words = [colour_word(point, doubt) for doubt in (0.0, 0.01, 0.03, 0.1, 0.3, 1.0)]
        assert words[0] == word
        assert words[-1] == UNRECOGNISED
        assert set(words) <= {word, UNRECOGNISED}


def test_doubt_counts_in_the_direction_of_the_border() -> None:
    sector = next(sector for sector in SECTORS if sector.word == "red")
    angle = math.radians(sector.to_deg - 4.0)
    point = np.array(D65_UV) + 0.2 * np.array([math.cos(angle), math.sin(angle)])
    outwards = np.array([math.cos(angle), math.sin(angle)])
    along = 0.01**2 * np.outer(outwards, outwards) + 1e-12 * np.eye(2)
    across = 0.01**2 * (np.eye(2) - np.outer(outwards, outwards)) + 1e-12 * np.eye(2)
    assert colour_word(point, along) == "red"
    assert colour_word(point, across) == UNRECOGNISED


def test_a_measured_white_moves_the_reference() -> None:
    bluish = (0.168, 0.385)  # an addressable lamp's white by the version 5 intensities lies this way
    assert colour_word(bluish) == UNRECOGNISED
    assert colour_word(bluish, white=bluish) == "white"


@pytest.mark.parametrize(
    "parts",  # (nm, mcd) of red, green, blue; WS2812B data sheet, version 5 and older figures
    [((621, 310), (520, 780), (471, 300)), ((622, 405), (523, 690), (467, 190))],
)
def test_an_unbalanced_lamps_white_is_not_blue(parts: tuple[tuple[int, int], ...]) -> None:
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    xyz = sum(millicandela * cmfs[wavelength] / cmfs[wavelength][1] for wavelength, millicandela in parts)
    uv = colour.xy_to_Luv_uv(colour.XYZ_to_xy(xyz))
    assert colour_word(uv) == UNRECOGNISED
    assert colour_word(uv, white=(float(uv[0]), float(uv[1]))) == "white"


def test_white_on_a_board_that_takes_red_is_white_and_without_its_red_emitter_it_is_not() -> None:
    # Linear light about the lamp as the virtual bench's camera shows it: our own measurement, no source.
    assert colour_word(uv_of_rgb(np.array([0.0894, 0.2045, 0.2810])), 0.0015) == "white"
    radius, directions = 0.0615, np.radians(np.arange(190.0, 238.0))
    for angle in directions:
        point = np.array(D65_UV) + radius * np.array([np.cos(angle), np.sin(angle)])
        assert colour_word(point, 0.0015) == UNRECOGNISED


def test_not_a_number_is_unrecognised() -> None:
    assert colour_word((math.nan, 0.4)) == UNRECOGNISED
    assert colour_word(D65_UV, np.full((2, 2), np.nan)) == UNRECOGNISED


def test_wrong_shapes_are_refused() -> None:
    with pytest.raises(ValueError, match="shape"):
        colour_word((0.2, 0.4, 0.1))
    with pytest.raises(ValueError, match="covariance"):
        colour_word(D65_UV, np.zeros(3))
    with pytest.raises(ValueError, match="negative"):
        colour_word(D65_UV, -0.1)
