"""Where light of one wavelength lies in CIE 1976 u'v', by the CIE 1931 standard observer (2 degrees)."""

import numpy as np

from hil.lamp.colour import uv_of_xyz
from hil.lamp.doubt import Floats

# CIE 1931 2 degree observer (CIE 15; ISO/CIE 11664-1), every 5 nm: wavelength in nm, x, y and z bar.
_TABLE = """
400 0.01431 0.000396 0.06785; 405 0.02319 0.00064 0.1102; 410 0.04351 0.00121 0.2074
415 0.07763 0.00218 0.3713; 420 0.13438 0.004 0.6456; 425 0.21477 0.0073 1.03905
430 0.2839 0.0116 1.3856; 435 0.3285 0.01684 1.62296; 440 0.34828 0.023 1.74706
445 0.34806 0.0298 1.7826; 450 0.3362 0.038 1.77211; 455 0.3187 0.048 1.7441
460 0.2908 0.06 1.6692; 465 0.2511 0.0739 1.5281; 470 0.19536 0.09098 1.28764
475 0.1421 0.1126 1.0419; 480 0.09564 0.13902 0.81295; 485 0.05795 0.1693 0.6162
490 0.03201 0.20802 0.46518; 495 0.0147 0.2586 0.3533; 500 0.0049 0.323 0.272
505 0.0024 0.4073 0.2123; 510 0.0093 0.503 0.1582; 515 0.0291 0.6082 0.1117
520 0.06327 0.71 0.07825; 525 0.1096 0.7932 0.05725; 530 0.1655 0.862 0.04216
535 0.22575 0.91485 0.02984; 540 0.2904 0.954 0.0203; 545 0.3597 0.9803 0.0134
550 0.43345 0.99495 0.00875; 555 0.51205 1 0.00575; 560 0.5945 0.995 0.0039
565 0.6784 0.9786 0.00275; 570 0.7621 0.952 0.0021; 575 0.8425 0.9154 0.0018
580 0.9163 0.87 0.00165; 585 0.9786 0.8163 0.0014; 590 1.0263 0.757 0.0011
595 1.0567 0.6949 0.001; 600 1.0622 0.631 0.0008; 605 1.0456 0.5668 0.0006
610 1.0026 0.503 0.00034; 615 0.9384 0.4412 0.00024; 620 0.85445 0.381 0.00019
625 0.7514 0.321 0.0001; 630 0.6424 0.265 0.00005; 635 0.5419 0.217 0.00003
640 0.4479 0.175 0.00002; 645 0.3608 0.1382 0.00001; 650 0.2835 0.107 -0
655 0.2187 0.0816 0; 660 0.1649 0.061 0; 665 0.1212 0.04458 0
670 0.0874 0.032 0; 675 0.0636 0.0232 0; 680 0.04677 0.017 0
685 0.0329 0.01192 0; 690 0.0227 0.00821 0; 695 0.01584 0.005723 0
700 0.011359 0.004102 0
"""
_ROWS = np.array([[float(word) for word in row.split()] for row in _TABLE.replace("\n", ";").split(";") if row.strip()])
SHORTEST_NM, LONGEST_NM = float(_ROWS[0, 0]), float(_ROWS[-1, 0])


def uv_of_wavelength(wavelength_nm: float) -> tuple[float, float]:
    """Give u'v' of light of one wavelength; between the table's wavelengths straight.

    Raises ValueError: outside the table, where the eye sees next to nothing.
    """
    if not SHORTEST_NM <= wavelength_nm <= LONGEST_NM:
        raise ValueError(f"{wavelength_nm:g} nm: give {SHORTEST_NM:g} to {LONGEST_NM:g}.")
    xyz = np.array([np.interp(wavelength_nm, _ROWS[:, 0], _ROWS[:, column]) for column in (1, 2, 3)])
    u, v = uv_of_xyz(xyz)
    return float(u), float(v)


def spectral_locus() -> Floats:
    """Give u'v' of the pure colours from violet to red, shape (n, 2)."""
    return uv_of_xyz(_ROWS[:, 1:])
