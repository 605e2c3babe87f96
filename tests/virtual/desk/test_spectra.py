"""Holds `hil.virtual.desk.spectra`, `measured` and `emitters` against colour-science, CIE 15 and the LED's data sheet.

Data sheet: WS2812B, Worldsemi, version 5: dominant wavelengths 620-630, 515-525, 465-475 nm; 300-500, 600-1000, 200-300 mcd.
"""

import colour
import numpy as np
import pytest

from hil.virtual.desk.emitters import draw_lamp
from hil.virtual.desk.measured import CAMERA, DAYLIGHT, EYE, TABLE_NM
from hil.virtual.desk.ranges import WORDS, DeskRange
from hil.virtual.desk.spectra import (
    NM,
    Floats,
    between,
    black_body,
    chromaticity,
    daylight,
    dominant_nm,
    emitter,
    fluorescent,
    white_led,
    xyz,
)

EQUAL_ENERGY = np.array([1 / 3, 1 / 3])
EVERY_10_NM = colour.SpectralShape(380, 780, 10)
SEEDS = range(40)


def dominant_by_colour_science(spectrum: Floats) -> float:
    return float(colour.dominant_wavelength(chromaticity(spectrum), EQUAL_ENERGY)[0])


def test_tables_are_colour_sciences() -> None:
    assert list(EVERY_10_NM.wavelengths) == TABLE_NM.tolist()
    eye = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(EVERY_10_NM).values
    camera = colour.MSDS_CAMERA_SENSITIVITIES["Nikon 5100 (NPL)"].copy().align(EVERY_10_NM).values
    parts = colour.colorimetry.SDS_BASIS_FUNCTIONS_CIE_ILLUMINANT_D_SERIES
    assert np.abs(EYE - eye).max() < 1e-6
    assert np.abs(CAMERA - camera).max() < 1e-4
    for column, name in enumerate(("S0", "S1", "S2")):
        assert np.abs(DAYLIGHT[:, column] - parts[name].copy().align(EVERY_10_NM).values).max() < 0.01


def test_between_the_tables_lies_the_spectral_locus() -> None:
    # Spectral locus as CIE 1931 tells it.
    locus = {465: (0.13550, 0.03988), 525: (0.11416, 0.82621), 590: (0.57515, 0.42423), 625: (0.70061, 0.29930)}
    eye = between(EYE, np.array(list(locus), np.float64))
    assert (eye[:, :2] / eye.sum(axis=1, keepdims=True)) == pytest.approx(np.array(list(locus.values())), abs=0.001)


@pytest.mark.parametrize("wanted_nm", [460, 475, 505, 515, 530, 560, 572, 585, 597, 615, 625, 640])
@pytest.mark.parametrize("width_nm", [16.0, 35.0])
def test_emitters_hold_their_dominant_wavelength(wanted_nm: float, width_nm: float) -> None:
    assert dominant_by_colour_science(emitter(wanted_nm, width_nm)) == pytest.approx(wanted_nm, abs=0.5)


def test_daylight_and_filament_are_the_standards() -> None:
    shape = colour.SpectralShape(380, 780, 2)
    for kelvin in (5000.0, 6500.0, 7500.0):
        xy = colour.temperature.CCT_to_xy_CIE_D(kelvin)
        theirs = colour.sd_CIE_illuminant_D_series(xy, shape=shape).values
        assert daylight(kelvin) / daylight(kelvin)[90] == pytest.approx(
            theirs / theirs[90], rel=0.04
        )  # their table is finer
    theirs = colour.sd_blackbody(2856.0, shape).values
    assert black_body(2856.0) / black_body(2856.0)[90] == pytest.approx(theirs / theirs[90], rel=1e-4)


@pytest.mark.parametrize("kelvin", [2700.0, 4000.0, 6500.0, 8000.0])
def test_lamps_of_three_bands_have_their_colour_temperature(kelvin: float) -> None:
    for light in (white_led(kelvin), fluorescent(kelvin)):
        assert light.min() >= 0
        cct, off_locus = colour.temperature.uv_to_CCT_Ohno2013(colour.xy_to_UCS_uv(chromaticity(light)))
        assert cct == pytest.approx(kelvin, rel=0.01)
        assert abs(off_locus) < 0.001


def test_addressable_lamps_keep_to_their_data_sheet_and_use_all_of_it() -> None:
    over = DeskRange(lamp_kinds=("addressable, version 5",))
    lamps = [draw_lamp(np.random.default_rng(seed), "white", over) for seed in SEEDS]
    sheet = (((620, 630), (300, 500)), ((515, 525), (600, 1000)), ((465, 475), (200, 300)))
    for one, (nanometres, millicandela) in enumerate(sheet):
        dominant = np.array([dominant_by_colour_science(lamp.spectra[one]) for lamp in lamps])
        intensity = np.array([lamp.intensity_cd[one] * 1000 for lamp in lamps])
        for drawn, (low, high), slack in ((dominant, nanometres, 0.5), (intensity, millicandela, 0.0)):
            assert low - slack <= drawn.min() < low + 0.15 * (high - low)
            assert high + slack >= drawn.max() > high - 0.15 * (high - low)
        assert [xyz(lamp.spectra[one])[1] for lamp in lamps] == pytest.approx(np.ones(len(lamps)))


def test_amber_of_two_emitters_looks_amber_and_is_driven_as_firmware_does() -> None:
    over = DeskRange(lamp_kinds=("addressable, version 5", "addressable, older"))
    for seed in SEEDS:
        lamp = draw_lamp(np.random.default_rng(seed), "amber", over)
        red, green, blue = lamp.drive / lamp.brightness
        assert (red, blue) == pytest.approx((1.0, 0.0))
        assert 100 / 255 <= green <= 170 / 255
        assert 575 <= dominant_by_colour_science(lamp.mixed) <= 600


def test_units_of_one_product_are_driven_alike_and_have_emitters_of_their_own() -> None:
    over = DeskRange(lamp_kinds=("addressable, version 5",))
    for seed in SEEDS:
        first = draw_lamp(np.random.default_rng(seed), "amber", over)
        other = draw_lamp(np.random.default_rng(seed), "amber", over, np.random.default_rng(seed + 1000))
        assert np.array_equal(other.drive, first.drive)
        assert not np.isclose(other.intensity_cd, first.intensity_cd).any()


def test_every_word_is_shown_by_every_kind_and_off_by_a_dark_lamp() -> None:
    for kind in DeskRange().lamp_kinds:
        for word in WORDS:
            lamp = draw_lamp(np.random.default_rng(1), word, DeskRange(lamp_kinds=(kind,)))
            assert (lamp.kind, lamp.word, bool(lamp.drive.any())) == (kind, word, word != "off")
            assert lamp.as_if_lit().drive.any()


def test_the_colour_between_words_lies_between_green_and_amber() -> None:
    for seed in SEEDS:
        lamp = draw_lamp(np.random.default_rng(seed), None, DeskRange())
        assert 559.5 <= dominant_by_colour_science(lamp.mixed) <= 572.5
        assert dominant_nm(lamp.mixed) == pytest.approx(dominant_by_colour_science(lamp.mixed), abs=0.5)


def test_wavelengths_are_evenly_spaced() -> None:
    assert np.allclose(np.diff(NM), 2.0)
