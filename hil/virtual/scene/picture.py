"""What a webcam a hand's width above the board makes of the scene: light in, sRGB bytes out.

Light is linear, 1.0 where a channel of the sensor is full. A picture comes about as in a camera: the table under ambient
light, plus each lamp's light, plus shot and read noise, cut off where the sensor is full, through the camera's colour matrix,
and last the sRGB curve. Since the cut comes before the matrix, the middle of a lit lamp turns white or pale: only the glow
around it shows the colour.

The camera's exposure, gain and white balance are locked. What differs between seeds is drawn once: where things lie, ambient
light and its tint, lamp, glow, gain, noise. The still background is made beforehand; a picture only adds the lamps' surroundings.

Not modelled: rolling shutter, the lamp's own 2 kHz switching (16 periods in an 8 ms exposure), automatic exposure.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from hil.virtual.scene.lamp_light import INTENSITY_RANGE, Glow, Surroundings, Triple, bench_lamp_light, unit_lamp_light
from hil.virtual.scene.neighbours import Life
from hil.virtual.scene.places import field_of
from hil.virtual.scene.tabletop import Placing, lay_out, softened

Floats = NDArray[np.float32]
Bytes = NDArray[np.uint8]
Region = tuple[int, int, int, int]
Drive = Triple

DARK: Drive = (0.0, 0.0, 0.0)

# From sensor channels to linear sRGB: rows sum to 1, so that white stays white. Of the size such matrices have; our own.
_COLOUR_MATRIX = np.array([[1.45, -0.35, -0.10], [-0.20, 1.40, -0.20], [0.00, -0.45, 1.45]], np.float32)

_USUAL_EXPOSURE_S = 0.008
_USUAL_WIDTH = 640
_USUAL_PER_MM = 5.0
_UNIT_REGION_PX = 40
_BENCH_REGION_PX = 24
_FULL_WELL_ELECTRONS = 4500.0
_READ_NOISE_ELECTRONS = 4.0
_BACKGROUND_COPIES = 10  # noisy copies of the still background, shown in random order
_BLACK_COPIES = 4
_NEIGHBOUR_COPIES = 4
_TILE_MARGIN_PX = 64
_JPEG_QUALITY = 88


@dataclass(frozen=True)
class Conditions:
    """What one seed draws for the whole life of a scene."""

    placing: Placing
    ambient: float
    tint: Triple
    intensities: Triple
    glow: Glow
    gain: float
    noise: float

    @classmethod
    def drawn(cls, seed: int, at: int = 0) -> "Conditions":
        """Draw the conditions; of a unit farther on only how it lies and what its lamp gives are its own."""
        rng = np.random.default_rng((seed, 5, at) if at else (seed, 0))
        shift = [float(one) for one in rng.uniform(-2.4, 2.4, 4)]
        return cls(
            placing=Placing(shift[0], shift[1], rng.uniform(-3.0, 3.0), shift[2] / 2, shift[3] / 2),
            ambient=rng.uniform(0.28, 0.60),
            tint=(rng.uniform(1.0, 1.22), 1.0, rng.uniform(0.84, 1.02)),  # daylight to a warm white room
            intensities=(rng.uniform(*INTENSITY_RANGE), rng.uniform(*INTENSITY_RANGE), rng.uniform(*INTENSITY_RANGE)),
            glow=Glow(rng.uniform(0.75, 1.25), rng.uniform(1.4, 1.9)),
            gain=rng.uniform(0.85, 1.15),
            noise=rng.uniform(0.8, 1.4),
        )


class Picture:
    """Renders pictures of one scene; the same seed, frame number and drives give the same bytes."""

    def __init__(
        self,
        seed: int,
        width: int = _USUAL_WIDTH,
        height: int = 480,
        exposure_s: float = _USUAL_EXPOSURE_S,
        *,
        places: int = 1,
        place: int = 1,
        gamma: float | None = None,
    ) -> None:
        """Prepare all that does not move: a table with so many units, the one that is driven in this place, from 1.

        A camera with a `gamma` encodes light by the power 1/gamma in place of the sRGB curve.

        Raises:
            ValueError: the size is not 4:3 with a width of at least 320 pixels.
        """
        if width < 320 or width * 3 != height * 4:
            raise ValueError(f"a picture of {width}x{height}: it must be 4:3 and at least 320 pixels wide")
        self._seed = seed
        all_of = [Conditions.drawn(seed, at) for at in range(places)]
        conditions = all_of[0]
        table = lay_out(field_of(places), [one.placing for one in all_of], width, height, seed)
        gain = np.float32(conditions.gain * exposure_s / _USUAL_EXPOSURE_S)
        ambient = table.albedo * (np.array(conditions.tint, np.float32) * np.float32(conditions.ambient) * gain)
        self._sensor = _Sensor(conditions.noise, gamma, width, height, np.random.default_rng((seed, 2)))
        self._backgrounds = self._sensor.copies(ambient, _BACKGROUND_COPIES)
        self._blacks = self._sensor.copies(np.zeros_like(ambient), _BLACK_COPIES)
        self._neighbours = []
        for at, (centre, own) in enumerate(zip(table.unit_lamps, all_of, strict=True), 1):
            around = Surroundings(centre, table.per_mm, width, height)
            emitters = unit_lamp_light(around, table, conditions.glow, own.intensities) * gain
            lamp = _Lamp(around, emitters, ambient)
            if at == place:
                self._unit = lamp
            else:
                life = Life.drawn(np.random.default_rng((seed, 6, at)))
                self._neighbours.append(_Neighbour(lamp, life, self._sensor))
        bench = Surroundings(table.bench_lamp, table.per_mm, width, height)
        self._bench = _Lamp(bench, bench_lamp_light(bench, table, conditions.glow) * gain, ambient)
        scale = table.per_mm / _USUAL_PER_MM
        self.regions: dict[str, Region] = {
            "unit": _square(table.unit_lamps[place - 1], _UNIT_REGION_PX * scale),
            "bench": _square(table.bench_lamp, _BENCH_REGION_PX * scale),
        }

    def render(self, unit: Drive, bench: Drive, frame: int) -> Bytes:
        """Make one frame, shape (height, width, 3), blue first as OpenCV wants it.

        `unit` and `bench` are the red, green and blue drives, 0 to 1, averaged over the exposure. The bench's lamp has one
        white emitter, driven by the largest of its three.
        """
        rng = np.random.default_rng((self._seed, 3, frame))
        picture = self._backgrounds[int(rng.integers(len(self._backgrounds)))].copy()
        for neighbour in self._neighbours:
            if neighbour.life.is_lit(frame):
                picture[neighbour.place] = neighbour.copies[frame % len(neighbour.copies)]
        for lamp, drive in ((self._unit, unit), (self._bench, (max(bench),))):
            picture[lamp.place] = self._sensor.read_out(lamp.light(drive), rng)
        return picture

    def black(self, frame: int) -> Bytes:
        """Make one frame as with the lens covered."""
        rng = np.random.default_rng((self._seed, 4, frame))
        return self._blacks[int(rng.integers(len(self._blacks)))]


def shifted(picture: Bytes, by_px: tuple[float, float]) -> Bytes:
    """Give the picture of a camera that was bumped: moved to the right and down, its edge drawn out."""
    if by_px == (0.0, 0.0):
        return picture
    across, down = by_px
    height, width = picture.shape[:2]
    move = np.array([[1.0, 0.0, across], [0.0, 1.0, down]])
    moved = cv2.warpAffine(picture, move, (width, height), borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(moved, np.uint8)


def as_jpeg(picture: Bytes) -> bytes:
    """Encode one picture, blue first."""
    done, coded = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY])
    if not done:
        raise RuntimeError(f"OpenCV could not encode a picture of shape {picture.shape} as JPEG")
    return coded.tobytes()


def srgb_from_linear(linear: NDArray[np.floating]) -> NDArray[np.float64]:
    """Apply the sRGB curve; both sides 0 to 1. Source: IEC 61966-2-1:1999."""
    light = np.clip(linear.astype(np.float64), 0.0, 1.0)
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * np.power(light, 1 / 2.4) - 0.055)


class _Sensor:
    """Noise, full wells, the colour matrix and the curve."""

    def __init__(self, noise: float, gamma: float | None, width: int, height: int, rng: np.random.Generator) -> None:
        """Prepare the noise tile and the table of the curve."""
        self._shot = np.float32(noise**2 / _FULL_WELL_ELECTRONS)
        self._read = np.float32((noise * _READ_NOISE_ELECTRONS / _FULL_WELL_ELECTRONS) ** 2)
        tile = rng.normal(0.0, 1.0, (height + _TILE_MARGIN_PX, width + _TILE_MARGIN_PX, 3)).astype(np.float32)
        tile = softened(tile, 0.5)  # neighbours share noise: colour is interpolated between pixels
        self._tile: Floats = (tile / tile.std()).astype(np.float32)
        light = np.arange(4096) / 4095.0
        codes = srgb_from_linear(light) if gamma is None else light ** (1.0 / gamma)
        self._curve: Bytes = np.round(255.0 * codes).astype(np.uint8)
        self._matrix = _COLOUR_MATRIX[::-1].copy()  # red first in, blue first out
        self._rng = rng

    def read_out(self, light: Floats, rng: np.random.Generator) -> Bytes:
        """Turn light, shape (h, w, 3) red first, into bytes, blue first."""
        height, width = light.shape[:2]
        y = int(rng.integers(self._tile.shape[0] - height + 1))
        x = int(rng.integers(self._tile.shape[1] - width + 1))
        filled = light + np.sqrt(light * self._shot + self._read) * self._tile[y : y + height, x : x + width]
        np.clip(filled, 0.0, 1.0, out=filled)
        colours = cv2.transform(filled, self._matrix)
        np.clip(colours, 0.0, 1.0, out=colours)
        return self._curve[(colours * np.float32(4095.0) + np.float32(0.5)).astype(np.uint16)]

    def copies(self, light: Floats, number: int) -> list[Bytes]:
        """Make noisy copies of a whole still picture."""
        return [self.read_out(light, self._rng) for _ in range(number)]


class _Lamp:
    """One lamp's surroundings: ambient light there, and what each emitter adds."""

    def __init__(self, around: Surroundings, emitters: Floats, ambient: Floats) -> None:
        """Take what each emitter adds, shape (emitters, h, w, 3), and the whole picture's ambient light."""
        self.place = around.place
        self._ambient: Floats = ambient[around.place].copy()
        self._emitters = emitters
        self._drive: tuple[float, ...] = ()
        self._light = self._ambient

    def light(self, drive: tuple[float, ...]) -> Floats:
        """Give the light of these surroundings; kept while the drive stays the same."""
        if drive != self._drive:
            light = self._ambient.copy()
            for share, emitter in zip(drive, self._emitters, strict=True):
                light += emitter * np.float32(share)
            self._drive, self._light = drive, light
        return self._light


class _Neighbour:
    """A lamp that nobody here drives: a few noisy pictures of it lit, shown by turns."""

    def __init__(self, lamp: _Lamp, life: Life, sensor: _Sensor) -> None:
        """Make the pictures."""
        self.place, self.life = lamp.place, life
        self.copies = sensor.copies(lamp.light(life.drive), _NEIGHBOUR_COPIES)


def _square(centre: tuple[float, float], side: float) -> Region:
    half = round(side / 2)
    return round(centre[0]) - half, round(centre[1]) - half, 2 * half, 2 * half
