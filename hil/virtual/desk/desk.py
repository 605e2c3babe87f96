"""Test pictures of a lit status lamp on a desk, with the truth attached: drawn from a seed, made by physical argument.

A desk is a lamp on a board in a room, seen by a camera with locked settings. What it holds is drawn from a `DeskRange`:

- the room exposed as usual down to 4 stops darker (0.5 up, -4 down), at 0 to 2000 lux; with the room's brightness the
  sensor's exposure itself varies over 8 stops;
- the lamp 4 to 60 pixels wide, from 50 to 600 mm, seen up to 50 degrees aslant, driven at 12 to 100 % brightness;
- what cannot be named is left out (`naming`): a desk is drawn again, up to 400 times, until a careful person could name the
  lamp's colour by looking. So the drawn conditions follow their ranges only as far as that allows: dark, small, drowned and
  flooded lamps are missing, and so are whites that the camera's balance turns into a blue or an orange.

Sourced: sRGB and its matrix (IEC 61966-2-1), the eye and daylight (CIE 15), a camera's filters (measured by NPL), wavelengths
and intensities of the addressable LED (its data sheet), Planck's law, shot noise (Poisson), inverse square, cosine. Argued:
sizes and intensities of single LEDs, exposure times, full wells. Our own figures, or common practice without a source: glare,
blooming, dyes, reflectances, board layouts, sharpening, contrast curve, ripple depths, bounds of what can be named.

Not modelled: automatic exposure and balance, noise reduction, scaling in the camera, lens distortion, vignetting, colour
fringes, ghosts, moving things, shadows, temporal compression (H.264), infrared, drift of the lamp with temperature.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from hil.virtual.desk.conditions import LONGEST_S, Conditions, draw_conditions
from hil.virtual.desk.development import MOSAICS, Bytes, Development
from hil.virtual.desk.naming import can_be_named, glow_radius_px, has_its_colour, look, shown_colour
from hil.virtual.desk.optics import Optics
from hil.virtual.desk.ranges import WORDS, DeskRange, Pair, evenly
from hil.virtual.desk.timing import is_on, ripple, row_starts_s, switched

Region = tuple[int, int, int, int]
Picture = NDArray[np.float32]
Key = TypeVar("Key")
Found = TypeVar("Found")

_USUAL = DeskRange()
_MOST_ATTEMPTS = 400
_LEAST_SIDE_PX, _MOST_SIDE_PX, _SIDES_OF_LAMP = 96, 240, 6.0
_BLOCK_PX = 16  # of JPEG with halved colour
_WIDEST_REGION = 0.8  # of the picture
_OFF_MIDDLE_PX: Pair = (-8.0, 8.0)


@dataclass(frozen=True, slots=True)
class Desk:
    """One desk. `word` is the truth, None for a colour between words.

    `region` is a box (x, y, width, height) about as wide as the lamp's visible glow, at most 0.8 of the picture; `centre` is the
    lamp's (x, y), in pixels; `said` holds every drawn condition, units in the names.
    """

    word: str | None
    region: Region
    centre: tuple[float, float]
    said: dict[str, float | str]
    _seed: int
    _conditions: Conditions
    _ambient: Picture
    _emitters: Picture
    _neighbours: Picture
    _development: Development

    def picture(self, lit: float, frame: int) -> Bytes:
        """Take one picture, (h, w, 3), blue first.

        `lit` is the share of the lamp's drive, 0 to 1, averaged over the exposure; 0 is dark. The room's light is changed by
        `said["ambient_change"]` in all pictures but those with `lit` 0, which are taken before. `frame`, from 0 and thirty a
        second, picks noise, ripple and what blinking neighbours do. The same arguments give the same bytes.

        Raises:
            ValueError: `lit` is outside 0 to 1 or `frame` is negative.
        """
        if not 0.0 <= lit <= 1.0 or frame < 0:
            raise ValueError(f"a picture lit {lit} of frame {frame}: lit goes from 0 to 1 and frames count from 0")
        return self._development.developed(self.filling(lit, frame), np.random.default_rng((self._seed, 11, frame)))

    @property
    def exposure_s(self) -> float:
        """How long each picture is exposed."""
        return self._conditions.settings.exposure_s

    def exposed(self, exposure_s: float) -> "Desk":
        """Give the same desk, its pictures exposed so long and not amplified otherwise.

        Raises:
            ValueError: it is no time, or longer than that between two pictures.
        """
        if not 0.0 < exposure_s <= LONGEST_S:
            raise ValueError(f"an exposure of {exposure_s} s does not fit between two pictures")
        share = exposure_s / self.exposure_s
        settings = replace(
            self._conditions.settings,
            exposure=self._conditions.settings.exposure * share,
            exposure_s=exposure_s,
        )
        return replace(
            self,
            _conditions=replace(self._conditions, settings=settings),
            _ambient=self._ambient * np.float32(share),
            _emitters=self._emitters * np.float32(share),
            _neighbours=self._neighbours * np.float32(share),
            _development=self._development.by(settings),
        )

    def filling(self, lit: float, frame: int) -> Picture:
        """Give what fills the mosaic sensor, (h, w), before any noise: linear, 1 where the converter is full."""
        room, settings = self._conditions.room, self._conditions.settings
        starts_s = row_starts_s(settings, frame, self._ambient.shape[0])
        rippled = ripple(room, starts_s, settings.exposure_s)
        if lit > 0:
            rippled = rippled * np.float32(1 + room.change)
        filling = self._ambient * rippled[:, None]
        for emitter, share in zip(self._emitters, self._conditions.lamp.drive, strict=True):
            duty = float(share) * lit
            if duty > 0 and self._conditions.switching_hz > 0:
                filling += (
                    emitter * switched(self._conditions.switching_hz, duty, starts_s, settings.exposure_s)[:, None]
                )
            elif duty > 0:
                filling += emitter * np.float32(duty)
        for neighbour, layer in zip(self._conditions.neighbours, self._neighbours, strict=True):
            if is_on(neighbour, frame):
                filling += layer
        return np.asarray(filling, np.float32)


def draw_desk(seed: int, word: str | None, over: DeskRange = _USUAL) -> Desk:
    """Draw the desk of a seed whose lamp shows `word`, one of `WORDS`, or None for the yellow-green between green and amber.

    Raises:
        ValueError: there is no such word, or no desk of these ranges could be named.
    """
    if word is not None and word not in WORDS:
        raise ValueError(f"no lamp shows {word!r}; there are {', '.join(WORDS)}")
    for attempt in range(_MOST_ATTEMPTS):
        conditions = _coloured(seed, attempt, word, over)
        desk = _drawn(seed, attempt, word, conditions) if conditions else None
        if desk is not None:
            return desk
    raise ValueError(
        f"seed {seed}: of {_MOST_ATTEMPTS} desks in these ranges, in none could {word!r} be named by looking"
    )


def draw_bench(
    seed: int, words: Sequence[str], units: int, over: DeskRange = _USUAL, strangers: Sequence[str] = ()
) -> dict[tuple[int, str], Desk]:
    """Draw one room, camera and view with so many units of one product, by unit and word; each shows every word.

    Their lamps are of one kind and as bright, and differ in their emitters. The last unit also shows the `strangers`, colours of
    no word (`emitters.STRANGERS`), but those that are too dim or too bright there: the bench is as it is without them.

    Raises:
        ValueError: in no such bench of these ranges could every word of every unit be named.
    """
    shown = list(product(range(units), words))
    for attempt in range(_MOST_ATTEMPTS):
        # What costs little is asked of all of them first.
        conditions = _all_or_none((one, _coloured(seed, attempt, one[1], over, one[0])) for one in shown)
        if conditions is None:
            continue
        desks = _all_or_none((one, _drawn(seed, attempt, one[1], conditions[one])) for one in shown)
        if desks is not None:
            for name in strangers:
                shows = draw_conditions(seed, attempt, name, over, units - 1)
                stranger = _drawn(seed, attempt, name, shows)
                desks |= {(units - 1, name): stranger} if stranger else {}
            return desks
    raise ValueError(
        f"seed {seed}: of {_MOST_ATTEMPTS} benches, in none could all of {', '.join(words)} be named by looking"
    )


def _all_or_none(one_by_one: Iterable[tuple[Key, Found | None]]) -> dict[Key, Found] | None:
    """Gather them all, or none as soon as one is missing."""
    gathered: dict[Key, Found] = {}
    for key, found in one_by_one:
        if found is None:
            return None
        gathered[key] = found
    return gathered


def _coloured(seed: int, attempt: int, word: str | None, over: DeskRange, unit: int = 0) -> Conditions | None:
    """Draw what one desk is; give nothing where its camera shows another colour, or the lamp too small or too large."""
    conditions = draw_conditions(seed, attempt, word, over, unit)
    view, lamp = conditions.view, conditions.lamp.as_if_lit()
    lamp_px = lamp.window_mm * view.pixels_per_mm
    if lamp_px * math.cos(math.radians(view.angle_deg)) < over.lamp_px[0] or lamp_px > over.lamp_px[1]:
        return None
    return conditions if has_its_colour(word, *shown_colour(conditions.settings.camera, lamp.mixed)) else None


def _drawn(seed: int, attempt: int, word: str | None, conditions: Conditions) -> Desk | None:
    """Make its light; give nothing where the lamp could not be named."""
    view, camera, lamp = conditions.view, conditions.settings.camera, conditions.lamp.as_if_lit()
    lamp_px = lamp.window_mm * view.pixels_per_mm
    hue_deg, saturation = shown_colour(camera, lamp.mixed)
    rng = np.random.default_rng((seed, attempt, 9))
    side = min(max(_BLOCK_PX * math.ceil(_SIDES_OF_LAMP * lamp_px / _BLOCK_PX), _LEAST_SIDE_PX), _MOST_SIDE_PX)
    centre = side / 2 + evenly(rng, _OFF_MIDDLE_PX), side / 2 + evenly(rng, _OFF_MIDDLE_PX)
    layers = Optics(replace(conditions, lamp=lamp), side, centre, rng).layers()
    lit = np.einsum("e,ehwc->hwc", lamp.drive.astype(np.float32), layers.emitters)
    seen = look(layers.ambient, lit, layers.neighbours.sum(axis=0), camera.gains)
    if not can_be_named(seen, _middle(centre)):
        return None
    development = Development(conditions.settings, int(rng.integers(len(MOSAICS))), side, side)
    shown = {"shown_hue_deg": hue_deg, "shown_saturation": saturation, "picture_px": float(side)}
    return Desk(
        word,
        _box(centre, min(max(glow_radius_px(seen), lamp_px / 2 + 2.0), _WIDEST_REGION * side / 2), side),
        centre,
        conditions.said | shown | {"attempts": attempt + 1.0},
        seed,
        conditions,
        development.sampled(layers.ambient),
        development.sampled(layers.emitters),
        development.sampled(layers.neighbours),
        development,
    )


def _middle(centre: tuple[float, float]) -> tuple[slice, slice]:
    column, row = round(centre[0]), round(centre[1])
    return slice(row - 1, row + 2), slice(column - 1, column + 2)


def _box(centre: tuple[float, float], radius_px: float, side: int) -> Region:
    low = [max(0, math.floor(at - radius_px)) for at in centre]
    high = [min(side, math.ceil(at + radius_px) + 1) for at in centre]
    return low[0], low[1], high[0] - low[0], high[1] - low[1]
