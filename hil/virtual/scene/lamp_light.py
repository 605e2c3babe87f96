"""How the light of the two lamps under the virtual camera spreads over the picture.

Light is linear, 1.0 where a channel of the sensor is full. A lamp's light is given per emitter, fully driven; a lamp's drive
scales it (pulse-width modulation: light is proportional to the drive). Distances are millimetres on the table.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hil.virtual.scene.tabletop import (
    BENCH_DOME_RADIUS_MM,
    PACKAGE_MM,
    WINDOW_RADIUS_MM,
    Tabletop,
    softened,
)

Floats = NDArray[np.float32]
Triple = tuple[float, float, float]

# What the sensor's red, green and blue channels answer to each emitter of the unit's lamp, fully driven; rows red, green,
# blue emitter; white balanced on daylight (D65); largest answer 1. Gaussian spectra of a common addressable LED: typical
# dominant wavelengths 621, 520, 471 nm (WS2812B data sheet, version 5), widths 18, 35, 25 nm (usual for such emitters),
# intensities 405, 690, 190 mcd (middle of the older data sheet's ranges: they give the bluish white such lamps show;
# version 5's typical ones give a cyan). Seen by the sensitivities of a Nikon 5100 measured by NPL (in colour-science).
EMITTERS = np.array([[0.644, 0.040, 0.002], [0.074, 0.443, 0.177], [0.074, 0.335, 1.000]], np.float32)
INTENSITY_RANGE = (0.88, 1.12)  # of each emitter, by sample; data sheets allow more, but sort lamps by bins
_WHITE_EMITTER = np.array([[1.00, 0.96, 0.88]], np.float32)  # a neutral white LED beside daylight; our own figure

_REACH_MM = 21.0  # farther out a lamp's light is taken as nothing
_FADE_MM = 5.0  # and fades to it over this
_DIE_OFFSETS_MM = ((-0.45, 0.35), (0.45, 0.35), (0.0, -0.5))  # the three emitters sit beside each other

# Fully driven, in units of a full channel. Our own figures, argued from 0.3 cd out of a 3.4 mm window (about 30 000 cd/m2)
# beside a board of 3 to 10 cd/m2 in a lit room; the sizes of glow and reflections are those of cheap fixed lenses.
_WINDOW_LIGHT = 50.0
_PACKAGE_LIGHT = 0.9
_GLOW_LIGHT = 4.0
_BOARD_LIGHT = 40.0
_GLINT_LIGHT = 6.0
_BENCH_DOME_LIGHT = 20.0
_BENCH_GLOW_LIGHT = 0.9
_EMITTER_HEIGHT_MM = 2.0


@dataclass(frozen=True)
class Glow:
    """How the lens smears bright lamps: strength (1 is usual) and radius."""

    strength: float
    radius_mm: float


class Surroundings:
    """The part of the picture a lamp reaches.

    `place` cuts it out of a picture; `x_mm` and `y_mm`, of its shape, count from the lamp's centre.
    """

    def __init__(self, centre: tuple[float, float], per_mm: float, width: int, height: int) -> None:
        """Cut a square around `centre`, (x, y) in pixels, at the picture's edges if need be."""
        self.per_mm = per_mm
        half = round(_REACH_MM * self.per_mm)
        column, row = round(centre[0]), round(centre[1])
        rows, columns = slice(max(0, row - half), row + half), slice(max(0, column - half), column + half)
        self.place = rows, columns
        y, x = np.mgrid[rows.start : min(height, rows.stop), columns.start : min(width, columns.stop)].astype(
            np.float32
        )
        self.x_mm: Floats = (x - np.float32(centre[0])) / np.float32(self.per_mm)
        self.y_mm: Floats = (y - np.float32(centre[1])) / np.float32(self.per_mm)

    def distance_mm(self, dx_mm: float = 0.0, dy_mm: float = 0.0) -> Floats:
        """Give the distance from a point near the lamp's centre."""
        distance: Floats = np.hypot(self.x_mm - np.float32(dx_mm), self.y_mm - np.float32(dy_mm))
        return distance

    def disc(self, radius_mm: float) -> Floats:
        """Give a disc at the centre with the softness of the lens."""
        return self._soft(radius_mm - self.distance_mm())

    def square(self, side_mm: float) -> Floats:
        """Give a square at the centre with the softness of the lens."""
        return self._soft(np.float32(side_mm / 2) - np.maximum(np.abs(self.x_mm), np.abs(self.y_mm)))

    def faded(self, light: Floats) -> Floats:
        """Let `light`, (..., h, w, 3), fade to nothing where the surroundings end."""
        inside = _REACH_MM - np.maximum(np.abs(self.x_mm), np.abs(self.y_mm))
        share = np.clip(inside / _FADE_MM, 0.0, 1.0)
        return (light * (share * share * (3 - 2 * share))[..., None]).astype(np.float32)

    def _soft(self, inside_mm: Floats) -> Floats:
        sharp = np.clip(inside_mm * self.per_mm + 0.5, 0.0, 1.0).astype(np.float32)
        return softened(sharp, 0.9)


def unit_lamp_light(around: Surroundings, table: Tabletop, glow: Glow, intensities: Triple) -> Floats:
    """Give what each emitter of the unit's lamp adds around it, shape (3, h, w, 3); intensities in parts of the typical.

    Window and white package shine; the lens's glow falls off with the distance r as (1 + (r/r0)^2)^-1.5; the board is lit
    from the height h as (1 + (r/h)^2)^-2, and metal edges glint as (1 + (r/h)^2)^-1. Source of the last two: the
    inverse-square law on a slanting surface and in a mirror. Of the glow's law: common practice, no source.
    """
    albedo, shine = table.albedo[around.place], table.shine[around.place]
    lamp = around.disc(WINDOW_RADIUS_MM) * _WINDOW_LIGHT + around.square(PACKAGE_MM) * _PACKAGE_LIGHT
    layers = []
    for offset, answer, intensity in zip(_DIE_OFFSETS_MM, EMITTERS, intensities, strict=True):
        distance = around.distance_mm(*offset)
        shape = lamp + _GLOW_LIGHT * _lens_glow(distance, glow)
        thrown = _thrown_light(distance, albedo, shine)
        layers.append((shape[..., None] + thrown) * (answer * np.float32(intensity)))
    return around.faded(np.stack(layers))


def bench_lamp_light(around: Surroundings, table: Tabletop, glow: Glow) -> Floats:
    """Give what the one white emitter of the bench's lamp adds around it, shape (1, h, w, 3). Laws as for the unit's."""
    distance = around.distance_mm()
    shape = around.disc(BENCH_DOME_RADIUS_MM) * _BENCH_DOME_LIGHT + _BENCH_GLOW_LIGHT * _lens_glow(distance, glow)
    thrown = _thrown_light(distance, table.albedo[around.place], table.shine[around.place]) * np.float32(0.3)
    return around.faded((shape[..., None] + thrown)[None] * _WHITE_EMITTER[:, None, None])


def _lens_glow(distance_mm: Floats, glow: Glow) -> Floats:
    return np.float32(glow.strength) * (1 + (distance_mm / np.float32(glow.radius_mm)) ** 2) ** np.float32(-1.5)


def _thrown_light(distance_mm: Floats, albedo: Floats, shine: Floats) -> Floats:
    spread = 1 + (distance_mm / np.float32(_EMITTER_HEIGHT_MM)) ** 2
    return (_BOARD_LIGHT / spread**2)[..., None] * albedo + (_GLINT_LIGHT * shine / spread)[..., None]
