"""What lies around the lamp: a board with its parts, the desk beyond it, the lamp's own package. All of it only scatters light.

Reflectances are spectra of the size such materials show (our own figures); what is drawn is where things lie. Places are
millimetres on the board, the lamp in the origin.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hil.virtual.desk.emitters import Lamp, lens_reflectance
from hil.virtual.desk.ranges import Pair
from hil.virtual.desk.spectra import NM, Floats, gaussian

Picture = NDArray[np.float32]

BOARD, TRACK, METAL, PART, INK, PACKAGE, DESK, WINDOW = range(8)

_PARTS = ((TRACK, 7, 20.0), (METAL, 12, 2.2), (PART, 3, 7.0), (INK, 5, 2.5))  # material, most, longest side in mm
_GRAIN = 0.04


@dataclass(frozen=True, slots=True)
class Glint:
    """A spot of curved metal that mirrors the lamp: its place and size in mm, and the share of the lamp's luminance seen."""

    x_mm: float
    y_mm: float
    size_mm: float
    share: float


@dataclass(frozen=True, slots=True)
class Surroundings:
    """The surfaces in the picture.

    `material` (h, w) says which of the `reflectances` (materials, wavelengths) is there; `grain` (h, w) varies it, around 1.
    """

    material: NDArray[np.uint8]
    grain: Picture
    reflectances: Floats
    glints: tuple[Glint, ...]


def lay_out(
    lamp: Lamp,
    board: str,
    x_mm: Picture,
    y_mm: Picture,
    packages: list[tuple[Pair, Pair]],
    rng: np.random.Generator,
) -> Surroundings:
    """Lay a board under the lamp.

    `x_mm` and `y_mm`, both (h, w), say where each pixel looks; `packages` are other lamps: their places and sizes, in mm.
    """
    material = np.full(x_mm.shape, BOARD, np.uint8)
    for kind, most, longest_mm in _PARTS:
        for _ in range(int(rng.integers(most + 1))):
            width, height = rng.uniform(0.3, longest_mm, 2)
            if kind == TRACK:
                height = rng.uniform(0.2, 0.8)
            left, top = rng.uniform(-25.0, 25.0, 2)
            material[_within(x_mm, y_mm, (left, top), (width, height))] = kind
    edges = rng.uniform(8.0, 35.0, 4)
    material[(x_mm < -edges[0]) | (x_mm > edges[1]) | (y_mm < -edges[2]) | (y_mm > edges[3])] = DESK
    for middle, size in packages:
        material[_within(x_mm, y_mm, middle, size)] = PACKAGE
    if max(lamp.package_mm) > 0:
        for side in (-1, 1):  # the pads stick out under the package
            pad = (side * 0.5 * lamp.package_mm[0], 0.0)
            material[_within(x_mm, y_mm, pad, (0.24 * lamp.package_mm[0], 0.8 * lamp.package_mm[1]))] = METAL
        material[_within(x_mm, y_mm, (0.0, 0.0), lamp.package_mm)] = PACKAGE
    material[x_mm**2 + y_mm**2 < (lamp.window_mm / 2) ** 2] = WINDOW
    grain = 1 + _GRAIN * rng.standard_normal(x_mm.shape, np.float32)
    desk = int(rng.integers(4))
    return Surroundings(material, grain.astype(np.float32), _reflectances(lamp, board, desk), _glints(lamp, rng))


def _within(x_mm: Picture, y_mm: Picture, middle: Pair, size: Pair) -> NDArray[np.bool_]:
    inside: NDArray[np.bool_] = (np.abs(x_mm - middle[0]) < size[0] / 2) & (np.abs(y_mm - middle[1]) < size[1] / 2)
    return inside


def _glints(lamp: Lamp, rng: np.random.Generator) -> tuple[Glint, ...]:
    found = []
    for _ in range(int(rng.integers(6))):
        away, towards = lamp.window_mm / 2 + rng.uniform(0.5, 7.0), rng.uniform(0.0, 2 * np.pi)
        share = 0.25 * rng.random() * min(1.0, (2.0 / away) ** 2)
        found.append(Glint(float(away * np.cos(towards)), float(away * np.sin(towards)), rng.uniform(0.15, 0.4), share))
    return tuple(found)


def _step(from_nm: float, over_nm: float) -> Floats:
    return np.asarray(1 / (1 + np.exp((from_nm - NM) / over_nm)), np.float64)


def _reflectances(lamp: Lamp, board: str, desk: int) -> Floats:
    flat = np.ones_like(NM)
    mask = {
        "green": 0.025 + 0.10 * gaussian((525.0, 80.0)),
        "blue": 0.025 + 0.14 * gaussian((462.0, 75.0)),
        "red": 0.025 + 0.28 * _step(605.0, 9.0),
        "black": 0.035 * flat,
        "white": 0.05 + 0.70 * _step(415.0, 10.0),
    }[board]
    desks = (0.10 + 0.30 * _step(570.0, 40.0), 0.20 * flat, 0.80 * flat, 0.06 * flat)
    table = {
        BOARD: mask,
        TRACK: 1.15 * mask,
        METAL: (0.35 + 0.30 * _step(525.0, 20.0)) if desk % 2 else 0.50 * flat,
        PART: 0.03 * flat,
        INK: 0.70 * flat,
        PACKAGE: 0.70 * flat,
        DESK: desks[desk],
        WINDOW: lens_reflectance(lamp),
    }
    return np.stack([table[one] for one in sorted(table)])
