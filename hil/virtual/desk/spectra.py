"""Spectra of emitters and of the light in a room: arrays of power per nanometre over `NM`, and their colour to the eye.

An emitter is a Gaussian; its peak is chosen so that its dominant wavelength is the wanted one, since data sheets give that.
Daylight follows CIE 15:2004, a filament Planck's law. White LEDs and fluorescent lamps are sums of three bands, weighted so
that they match the colour of a black body: blue chip and two broad phosphors, or three narrow phosphors.
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq

from hil.virtual.desk.measured import DAYLIGHT, EYE, TABLE_NM

Floats = NDArray[np.float64]
#: Peak and full width at half maximum, nanometres.
Band = tuple[float, float]

STEP_NM = 2.0
NM: Floats = np.arange(380.0, 781.0, STEP_NM)

_SECOND_RADIATION_CONSTANT_NM_K = 1.438776877e7  # CODATA 2018
_EQUAL_ENERGY = np.array([1 / 3, 1 / 3])  # data sheets reckon dominant wavelengths from this white (CIE 127)

# Blue chip, green-yellow and red phosphor; and mercury's blue with its phosphor, terbium's and europium's lines. Our own
# figures, of the size data sheets and FL11 of CIE 15 show.
_LED_BANDS: tuple[Band, Band, Band] = ((452.0, 22.0), (545.0, 105.0), (620.0, 95.0))
_TUBE_BANDS: tuple[Band, Band, Band] = ((440.0, 24.0), (544.0, 14.0), (611.0, 12.0))


def between(table: Floats, at_nm: Floats) -> Floats:
    """Read a table of `measured`, (41, n), at other wavelengths: shape (wavelengths, n)."""
    return np.asarray(CubicSpline(TABLE_NM, table)(at_nm), np.float64)


_EYE_FINE: Floats = between(EYE, NM)
_LOCUS_NM: Floats = np.arange(430.0, 671.0, 1.0)  # beyond, the locus hardly moves


def xyz(spectrum: Floats) -> Floats:
    """Give the tristimulus values of a spectrum, (3,), in units of its own."""
    return np.asarray(spectrum @ _EYE_FINE, np.float64)


def chromaticity(spectrum: Floats) -> Floats:
    """Give the CIE 1931 x, y of a spectrum."""
    whole = xyz(spectrum)
    return np.asarray(whole[:2] / whole.sum(), np.float64)


def per_candela(spectrum: Floats) -> Floats:
    """Scale a spectrum so that its photometric value is 1, but for the constant 683 lm/W, which cancels."""
    return np.asarray(spectrum / xyz(spectrum)[1], np.float64)


def gaussian(band: Band) -> Floats:
    """Give a Gaussian spectrum with a largest value of 1."""
    peak_nm, width_nm = band
    return np.asarray(np.exp(-4 * np.log(2) * ((NM - peak_nm) / width_nm) ** 2), np.float64)


def dominant_nm(spectrum: Floats) -> float:
    """Give the dominant wavelength, seen from equal-energy white; between 430 and 670 nm."""
    return float(np.interp(_turn(chromaticity(spectrum)), *_locus()))


def peak_nm(wanted_dominant_nm: float, width_nm: float) -> float:
    """Give the peak of the Gaussian that has a dominant wavelength."""

    def miss(peak: float) -> float:
        return dominant_nm(gaussian((peak, width_nm))) - wanted_dominant_nm

    return float(brentq(miss, wanted_dominant_nm - 30.0, wanted_dominant_nm + 60.0, xtol=0.01))


def emitter(wanted_dominant_nm: float, width_nm: float) -> Floats:
    """Give the spectrum of a coloured emitter, scaled per candela."""
    return per_candela(gaussian((peak_nm(wanted_dominant_nm, width_nm), width_nm)))


def black_body(kelvin: float) -> Floats:
    """Give a filament's spectrum. Source: Planck's law."""
    return np.asarray(NM**-5 / np.expm1(_SECOND_RADIATION_CONSTANT_NM_K / (NM * kelvin)), np.float64)


def daylight(kelvin: float) -> Floats:
    """Give a phase of daylight, 4000 to 25000 K. Source: CIE 15:2004, equations 3.2 to 3.5."""
    high = (-4.6070e9, 2.9678e6, 0.09911e3, 0.244063) if kelvin <= 7000 else (-2.0064e9, 1.9018e6, 0.24748e3, 0.237040)
    x = high[0] / kelvin**3 + high[1] / kelvin**2 + high[2] / kelvin + high[3]
    y = -3.000 * x**2 + 2.870 * x - 0.275
    whole = 0.0241 + 0.2562 * x - 0.7341 * y
    first, second = (-1.3515 - 1.7703 * x + 5.9114 * y) / whole, (0.0300 - 31.4424 * x + 30.0717 * y) / whole
    mean, one, two = (np.interp(NM, TABLE_NM, part) for part in DAYLIGHT.T)  # CIE 15: linear in between
    return np.asarray(mean + first * one + second * two, np.float64)


def white_led(kelvin: float) -> Floats:
    """Give a white LED, 2500 to 9000 K, of a black body's colour."""
    return _three_bands(_LED_BANDS, kelvin)


def fluorescent(kelvin: float) -> Floats:
    """Give a fluorescent lamp of three narrow phosphors, 2700 to 6500 K, of a black body's colour."""
    return _three_bands(_TUBE_BANDS, kelvin)


def _three_bands(bands: tuple[Band, Band, Band], kelvin: float) -> Floats:
    parts = np.stack([gaussian(band) for band in bands])
    weights = np.linalg.solve((parts @ _EYE_FINE).T, xyz(black_body(kelvin)))
    return np.asarray(np.maximum(weights, 0.0) @ parts, np.float64)


def _turn(xy: Floats) -> float:
    """Give how far around white a colour lies, radians: growing with the wavelength, the purples at both ends."""
    x, y = xy - _EQUAL_ENERGY
    return float(np.mod(-np.arctan2(y, x) - np.pi / 3, 2 * np.pi))


@cache
def _locus() -> tuple[Floats, Floats]:
    eye = between(EYE, _LOCUS_NM)
    return np.array([_turn(one[:2] / one.sum()) for one in eye]), _LOCUS_NM
