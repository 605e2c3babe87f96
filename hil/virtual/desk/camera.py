"""How a camera turns spectra into colours: filters, white balance, colour matrix, tone curve.

The filters are those measured of one camera (`measured.CAMERA`), or dyes as small sensors have them (our own figures, of the
size data sheets of such sensors show); both shifted and blurred by cross-talk, drawn. Colour-science also holds a Sigma
SD Merill; it is left out: its layered sensor has no filters and no mosaic, and no webcam is built so.

The matrix is fitted, as makers do, so that surfaces under daylight come out with their sRGB colours, and white stays white
(rows sum to 1). The curve is sRGB's; the contrast-enhanced one bends its output by a smoothstep, common practice, no source.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from hil.virtual.desk.measured import CAMERA, TABLE_NM
from hil.virtual.desk.spectra import NM, Floats, between, black_body, daylight, gaussian, xyz

FILTERS = ("measured", "dyes")
_DAYLIGHT_FROM_KELVIN = 4500.0
_FITTED_KELVIN = 5000.0
_CURVE_STEPS = 4096

# sRGB from XYZ. Source: IEC 61966-2-1:1999.
SRGB_FROM_XYZ = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])


@dataclass(frozen=True, slots=True)
class Camera:
    """Filters, (wavelengths, 3); gains of the white balance, (3,), the least 1; the colour matrix, (3, 3). All red first."""

    filters: Floats
    gains: Floats
    matrix: Floats

    def answers(self, spectra: Floats) -> Floats:
        """Give what the three channels answer, (..., 3), before the balance; white of the balance's light gives 1 / gains."""
        return np.asarray(spectra @ self.filters, np.float64)


def make_camera(dyes: str, shift_nm: float, cross_talk: float, balance: Floats) -> Camera:
    """Make a camera balanced on a light. Answers are scaled so that light of one unit of luminance on a white sheet gives 1."""
    filters = _filters(dyes, shift_nm, cross_talk)
    luminance = xyz(balance)[1]
    white = balance @ filters / luminance
    gains = white.max() / white
    return Camera(filters / white.max(), gains, _fitted_matrix(dyes, shift_nm, cross_talk))


def balance_light(kelvin: float, tint: float) -> Floats:
    """Give the light a white balance is set for: a daylight or a filament, its green middle stronger by the share `tint`."""
    light = daylight(kelvin) if kelvin >= _DAYLIGHT_FROM_KELVIN else black_body(kelvin)
    return np.asarray(light * (1 + tint * gaussian((545.0, 90.0))), np.float64)


def encoded(linear: Floats) -> Floats:
    """Apply the sRGB curve; both sides 0 to 1. Source: IEC 61966-2-1:1999."""
    light = np.clip(linear, 0.0, 1.0)
    return np.asarray(np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055), np.float64)


def tone_table(contrast: float) -> np.ndarray[tuple[int], np.dtype[np.uint8]]:
    """Give the bytes for linear light 0 to 1 in 4096 steps; `contrast` is the share of the enhanced curve."""
    value = encoded(np.arange(_CURVE_STEPS) / (_CURVE_STEPS - 1))
    steep = value * value * (3 - 2 * value)
    table: np.ndarray[tuple[int], np.dtype[np.uint8]] = np.round(255 * (value + contrast * (steep - value))).astype(
        np.uint8
    )
    return table


@lru_cache(maxsize=4)
def _filters(dyes: str, shift_nm: float, cross_talk: float) -> Floats:
    if dyes == "measured":
        filters = np.maximum(between(CAMERA, np.clip(NM - shift_nm, TABLE_NM[0], TABLE_NM[-1])), 0.0)
    else:
        at = NM - shift_nm
        cut = 1 / (1 + np.exp((at - 655.0) / 8.0))  # the infrared filter
        red = 1 / (1 + np.exp((578.0 - at) / 7.0)) + 0.06 * _bump(at, 430.0, 60.0) + 0.05 * _bump(at, 520.0, 60.0)
        green = _bump(at, 533.0, 92.0) + 0.06
        blue = _bump(at, 458.0, 80.0) + 0.04
        filters = np.stack([0.85 * red * cut, green * cut, 0.9 * blue * cut], axis=1)
    mixing = (1 - 1.5 * cross_talk) * np.eye(3) + cross_talk / 2 * np.ones((3, 3))
    return np.asarray(filters @ mixing, np.float64)


def _bump(at_nm: Floats, peak_nm: float, width_nm: float) -> Floats:
    return np.asarray(np.exp(-4 * np.log(2) * ((at_nm - peak_nm) / width_nm) ** 2), np.float64)


def _fitted_matrix(dyes: str, shift_nm: float, cross_talk: float) -> Floats:
    light = daylight(_FITTED_KELVIN)
    reached = (_SURFACES * light) @ _filters(dyes, shift_nm, cross_talk)
    reached /= light @ _filters(dyes, shift_nm, cross_talk)
    wanted = np.stack([xyz(one) for one in _SURFACES * light]) @ SRGB_FROM_XYZ.T
    wanted /= xyz(light) @ SRGB_FROM_XYZ.T
    # Rows sum to 1 when the unknowns are the weights of red and blue less green.
    against_green = np.delete(reached - reached[:, 1:2], 1, axis=1)
    weights = np.linalg.lstsq(against_green, wanted - reached[:, 1:2], rcond=None)[0].T
    return np.stack([weights[:, 0], 1 - weights.sum(axis=1), weights[:, 1]], axis=1)


#: Smooth reflectances to fit the matrix with: bumps and dips over the visible range. Our own choice.
_SURFACES: Floats = np.stack(
    [
        floor + height * gaussian((peak_nm, 110.0))
        for peak_nm in range(410, 700, 20)
        for floor, height in ((0.05, 0.5), (0.6, -0.5))
    ]
)
