"""How light from lamps and room reaches the sensor: layers of filling, linear, before any noise.

A filling of 1.0 is where the sensor's converter is full; the channels are the camera's own, red first, before the balance.

Laws: a window of luminous intensity I and area A seen at the angle t has the luminance I cos(t)^m / (A cos t), and its area in
the picture shrinks with cos t; an emitter at the height h lights the board at the distance r with I h / (h^2 + r^2)^1.5
(inverse square and cosine), and a matt surface sends on rho E / pi. The lens scatters a share of all light around the lamp as
(1 + (r/r0)^2)^-1.5 (common practice, no source) and a hundredth over the whole picture (our own figure).
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from hil.virtual.desk.board import PACKAGE, WINDOW, Glint, Surroundings, lay_out
from hil.virtual.desk.conditions import ASPECT, Conditions, View
from hil.virtual.desk.emitters import Lamp
from hil.virtual.desk.spectra import Floats

Picture = NDArray[np.float32]

_VEIL = 0.01
_PACKAGE_GLOW = 0.02  # luminance of the white package against the window: light comes through its walls
_EVEN_SHARE = 0.6  # of a window's light; the rest lies around the chip
_LENS_PX = 0.6  # no lens is sharper: standard deviation


@dataclass(frozen=True, slots=True)
class Layers:
    """What each light fills the sensor with: `ambient` (h, w, 3), `emitters` (emitters, h, w, 3) of the lamp fully driven by its
    brightness of 1, `neighbours` (lamps, h, w, 3) as they are when on."""

    ambient: Picture
    emitters: Picture
    neighbours: Picture


def thrown(away_mm: Picture, height_mm: float) -> Picture:
    """Give what 1 cd at a height lights a board with at a distance along it, in candela per square millimetre."""
    squared = away_mm**2 + np.float32(height_mm**2)
    return np.asarray(np.float32(height_mm) * squared ** np.float32(-1.5), np.float32)


class Plane:
    """The board seen aslant: where pixels look. `centre` is the lamp's (x, y) in pixels."""

    def __init__(self, view: View, centre: tuple[float, float]) -> None:
        """Take the view."""
        slant, turn = math.radians(view.stretch_deg), math.radians(view.turn_deg)
        across = np.array([[math.cos(slant), math.sin(slant)], [-math.sin(slant), math.cos(slant)]])
        along = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
        foreshortened = np.diag([1 / math.cos(math.radians(view.angle_deg)), 1.0])
        self._to_mm: Floats = along @ foreshortened @ across / view.pixels_per_mm
        self._centre = centre

    def grid(self, side_px: int, margin: int) -> tuple[Picture, Picture]:
        """Give where each pixel looks: x and y in mm from the lamp, of a square picture widened by a margin all around."""
        row, column = np.mgrid[-margin : side_px + margin, -margin : side_px + margin].astype(np.float32)
        column, row = column - np.float32(self._centre[0]), row - np.float32(self._centre[1])
        to_mm = self._to_mm.astype(np.float32)
        return to_mm[0, 0] * column + to_mm[0, 1] * row, to_mm[1, 0] * column + to_mm[1, 1] * row

    def pixel(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Give the (x, y) in the picture of a place on the board."""
        x, y = np.linalg.solve(self._to_mm, np.array([x_mm, y_mm]))
        return self._centre[0] + float(x), self._centre[1] + float(y)


class Optics:
    """Makes the layers of one desk, of a square picture with the lamp at `centre`."""

    def __init__(
        self, conditions: Conditions, side_px: int, centre: tuple[float, float], rng: np.random.Generator
    ) -> None:
        """Lay the board out, by what `rng` draws."""
        self._conditions = conditions
        self._side_px = side_px
        view = conditions.view
        self._margin = math.ceil(view.defocus_px) + 3
        self._plane = Plane(view, centre)
        self._x_mm, self._y_mm = self._plane.grid(side_px, self._margin)
        self._rng = rng
        self._places = [
            (one.at_mm * math.cos(math.radians(one.towards_deg)), one.at_mm * math.sin(math.radians(one.towards_deg)))
            for one in conditions.neighbours
        ]
        packages = [
            (place, one.lamp.package_mm) for place, one in zip(self._places, conditions.neighbours, strict=True)
        ]
        self._around: Surroundings = lay_out(
            conditions.lamp, conditions.board, self._x_mm, self._y_mm, packages, self._rng
        )
        self._kernel = _blur_kernel(view.defocus_px)

    def layers(self) -> Layers:
        """Make all layers."""
        lamp = self._conditions.lamp
        emitters = [
            self._lamp_layer(lamp, (0.0, 0.0), die_mm, spectrum * intensity, self._around.glints)
            for die_mm, spectrum, intensity in zip(lamp.dies_mm, lamp.spectra, lamp.intensity_cd, strict=True)
        ]
        neighbours = [
            self._lamp_layer(one.lamp, place, (0.0, 0.0), one.lamp.mixed, ())
            for place, one in zip(self._places, self._conditions.neighbours, strict=True)
        ]
        none = np.zeros((0, self._side_px, self._side_px, 3), np.float32)
        return Layers(self._ambient_layer(), np.stack(emitters), np.stack(neighbours) if neighbours else none)

    def _ambient_layer(self) -> Picture:
        room, settings, around = self._conditions.room, self._conditions.settings, self._around
        luminance = settings.exposure * room.lux / math.pi
        colours = settings.camera.answers(around.reflectances * room.spectrum) * luminance
        light = colours.astype(np.float32)[around.material] * around.grain[..., None]
        lamp = self._conditions.lamp
        if lamp.kind == "signal lamp" or self._rng.random() < 0.4:  # a window or a luminaire mirrored in the lamp
            away, towards = lamp.window_mm * self._rng.uniform(0.1, 0.35), self._rng.uniform(0, 2 * math.pi)
            mirrored = settings.camera.answers(room.spectrum) * luminance * self._rng.uniform(0.5, 15.0)
            spot = self._disc(
                away * math.cos(towards), away * math.sin(towards), lamp.window_mm * self._rng.uniform(0.04, 0.09)
            )
            light += spot[..., None] * mirrored.astype(np.float32)
        light += np.float32(_VEIL) * light.mean(axis=(0, 1))
        return self._focused(light)

    def _lamp_layer(
        self,
        lamp: Lamp,
        place_mm: tuple[float, float],
        die_mm: tuple[float, float],
        candela: Floats,
        glints: tuple[Glint, ...],
    ) -> Picture:
        """Make the layer of one emitter of spectrum `candela`, along the axis."""
        view, settings, around = self._conditions.view, self._conditions.settings, self._around
        cosine = math.cos(math.radians(view.angle_deg))
        area_mm2 = math.pi / 4 * lamp.window_mm**2
        luminance = 1e6 * cosine**lamp.spread / (area_mm2 * cosine)  # of 1 cd
        shape = self._window(lamp, place_mm, die_mm) * np.float32(luminance)
        if lamp is self._conditions.lamp:
            shape[around.material == PACKAGE] += np.float32(_PACKAGE_GLOW * luminance)
        for glint in glints:
            shape += self._disc(glint.x_mm, glint.y_mm, glint.size_mm / 2) * np.float32(luminance * glint.share)
        own = (settings.camera.answers(candela) * settings.exposure).astype(np.float32)
        sent_on = (settings.camera.answers(around.reflectances * candela) * settings.exposure).astype(np.float32)
        sent_on[WINDOW] = 0.0
        away_mm = np.hypot(self._x_mm - np.float32(place_mm[0]), self._y_mm - np.float32(place_mm[1]))
        lit = np.float32(1e6 * lamp.sideways / math.pi) * thrown(away_mm, lamp.height_mm)
        light = shape[..., None] * own + lit[..., None] * sent_on[around.material] * around.grain[..., None]
        flux_px = luminance * area_mm2 * cosine * view.pixels_per_mm**2
        halo = self._halo(lamp, place_mm) * np.float32(view.glare * flux_px)
        halo += np.float32(_VEIL * flux_px / (ASPECT * view.picture_width_px**2))
        return self._focused(light) + halo[..., None] * own

    def _window(self, lamp: Lamp, place_mm: tuple[float, float], die_mm: tuple[float, float]) -> Picture:
        """The window's shape, mean 1 over it: partly even, partly bright around the chip."""
        spot_mm = lamp.window_mm / 5
        squared = (self._x_mm - place_mm[0] - die_mm[0]) ** 2 + (self._y_mm - place_mm[1] - die_mm[1]) ** 2
        peak = (1 - _EVEN_SHARE) * (lamp.window_mm / spot_mm) ** 2 / 8
        around_die = np.exp(squared.astype(np.float32) * np.float32(-0.5 / spot_mm**2)) * np.float32(peak)
        disc = self._disc(*place_mm, lamp.window_mm / 2)
        return np.asarray(disc * (np.float32(_EVEN_SHARE) + around_die), np.float32)

    def _disc(self, x_mm: float, y_mm: float, radius_mm: float) -> Picture:
        """A disc on the board, 0 to 1, its rim as soft as a pixel."""
        inside = np.float32(radius_mm) - np.hypot(self._x_mm - np.float32(x_mm), self._y_mm - np.float32(y_mm))
        per_mm = np.float32(self._conditions.view.pixels_per_mm)
        return np.asarray(np.clip(inside * per_mm + np.float32(0.5), 0.0, 1.0), np.float32)

    def _halo(self, lamp: Lamp, place_mm: tuple[float, float]) -> Picture:
        """What the lens scatters around, its sum 1 over a boundless picture; as wide as the lamp at least."""
        view = self._conditions.view
        radius = np.float32(math.hypot(view.glare_radius_px, lamp.window_mm / 2 * view.pixels_per_mm))
        x, y = self._plane.pixel(*place_mm)
        pixels = np.arange(self._side_px, dtype=np.float32)
        column = (pixels - np.float32(x)) / radius
        row = (pixels - np.float32(y)) / radius
        spread = (1 + column[None, :] ** 2 + row[:, None] ** 2) ** np.float32(-1.5)
        return np.asarray(spread / np.float32(2 * math.pi * radius**2), np.float32)

    def _focused(self, light: Picture) -> Picture:
        """Smear by the lens and cut the margin off."""
        smeared = cv2.filter2D(light, -1, self._kernel, borderType=cv2.BORDER_REPLICATE)
        edge = self._margin
        return np.asarray(smeared[edge:-edge, edge:-edge], np.float32)


def _blur_kernel(radius_px: float) -> Picture:
    """A disc, widened by what the sharpest lens leaves; its sum is 1."""
    half = math.ceil(radius_px) + 2
    row, column = np.mgrid[-half : half + 1, -half : half + 1].astype(np.float32)
    disc = np.clip(radius_px + 0.5 - np.hypot(row, column), 0.0, 1.0).astype(np.float32)
    kernel = cv2.GaussianBlur(disc, (0, 0), _LENS_PX)
    return np.asarray(kernel / kernel.sum(), np.float32)
