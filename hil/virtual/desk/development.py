"""From the filling of a mosaic sensor to the bytes of a picture, as a common webcam does it.

In order: charge above a full well runs over to the pixels around (blooming); shot and read noise; cut-off at the converter's
end, 10 bits; white balance and cut-off again, which turns whatever is overexposed white; bilinear demosaicing; colour matrix;
tone curve; saturation setting; sharpening; JPEG with halved colour (4:2:0), and decoded again.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from hil.virtual.desk.camera import tone_table
from hil.virtual.desk.conditions import Settings

Picture = NDArray[np.float32]
Bytes = NDArray[np.uint8]

# Which channel (0 red) the four pixels of the mosaic's upper left corner have, row by row, and what OpenCV calls it.
MOSAICS: tuple[tuple[tuple[int, ...], int], ...] = (
    ((0, 1, 1, 2), cv2.COLOR_BayerRGGB2BGR),
    ((2, 1, 1, 0), cv2.COLOR_BayerBGGR2BGR),
    ((1, 0, 2, 1), cv2.COLOR_BayerGRBG2BGR),
    ((1, 2, 0, 1), cv2.COLOR_BayerGBRG2BGR),
)

_STEPS = 1023.0
_TONE_STEPS = 4095.0
_BLACK = 0.05  # kept below zero, so that noise in the dark is not cut off before it is averaged
_RUNS_OVER = 0.02  # share of the charge above a full well that reaches neighbours: they have drains; our own figure
_MOST_OVER = 40.0  # full wells; beyond, the drains take all
_BLOOM_PX = 1.2
_SHARPENED_PX = 1.0
_LUMA_601 = np.array([0.114, 0.587, 0.299])  # blue first. Source: ITU-R BT.601


class Development:
    """Develops pictures of one size with one camera's settings."""

    def __init__(self, settings: Settings, mosaic: int, height: int, width: int) -> None:
        """Prepare what does not change; `mosaic` picks one of the four."""
        self._settings, self._mosaic = settings, mosaic
        corner, self._code = MOSAICS[mosaic]
        self._channels = np.tile(np.array(corner).reshape(2, 2), (height // 2, width // 2))
        self._gains: Picture = settings.camera.gains.astype(np.float32)[self._channels]
        self._shot = np.float32(settings.gain / settings.full_well_electrons)
        read = settings.gain * settings.read_noise_electrons / settings.full_well_electrons
        self._read = np.float32(read**2)
        self._tone = tone_table(settings.contrast)
        self._matrix = self._table_matrix()
        grey = np.tile(_LUMA_601, (3, 1))
        self._saturation: Picture = (grey + settings.saturation * (np.eye(3) - grey)).astype(np.float32)
        self._jpeg = [
            cv2.IMWRITE_JPEG_QUALITY, settings.jpeg_quality,
            cv2.IMWRITE_JPEG_SAMPLING_FACTOR, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420,
        ]  # fmt: skip

    def by(self, settings: Settings) -> "Development":
        """Give that of the same sensor by other settings."""
        return Development(settings, self._mosaic, *self._channels.shape)

    def sampled(self, layer: Picture) -> Picture:
        """Keep of layers, (..., h, w, 3) red first, what the mosaic lets through: (..., h, w)."""
        height, width = self._channels.shape
        picked = layer[..., np.arange(height)[:, None], np.arange(width), self._channels]
        return np.ascontiguousarray(picked, np.float32)

    def developed(self, filling: Picture, rng: np.random.Generator) -> Bytes:
        """Make the picture, (h, w, 3), blue first. `filling` (h, w) is linear, 1 where the converter is full."""
        return np.asarray(cv2.imdecode(self.coded(filling, rng), cv2.IMREAD_COLOR), np.uint8)

    def coded(self, filling: Picture, rng: np.random.Generator) -> Bytes:
        """Make the JPEG file of the picture."""
        tones = cv2.transform(self.demosaiced(filling, rng), self._matrix)
        toned = self._tone[np.minimum(tones, np.uint16(_TONE_STEPS))]
        picture = cv2.transform(toned, self._saturation)
        if self._settings.sharpening > 0:
            by = self._settings.sharpening
            picture = cv2.addWeighted(picture, 1 + by, cv2.GaussianBlur(picture, (0, 0), _SHARPENED_PX), -by, 0.0)
        done, coded = cv2.imencode(".jpg", picture, self._jpeg)
        if not done:
            raise RuntimeError(f"OpenCV could not encode a picture of shape {picture.shape} as JPEG")
        return np.asarray(coded, np.uint8)

    def demosaiced(self, filling: Picture, rng: np.random.Generator) -> NDArray[np.uint16]:
        """Make the balanced colours before the matrix, (h, w, 3) blue first: 65535 is full, `_BLACK` of that none."""
        raw = self._read_out(filling, rng)
        raw *= self._gains
        np.minimum(raw, np.float32(1.0), out=raw)
        raw += np.float32(_BLACK)
        np.maximum(raw, np.float32(0.0), out=raw)
        levels = (raw * np.float32(65535.0 / (1 + _BLACK))).astype(np.uint16)
        return np.asarray(cv2.cvtColor(levels, self._code), np.uint16)

    def _read_out(self, filling: Picture, rng: np.random.Generator) -> Picture:
        well = np.float32(self._settings.gain)  # an amplified converter is full before the well is
        raw = filling.astype(np.float32)
        if raw.max() > well:
            over = np.clip(raw - well, 0.0, well * np.float32(_MOST_OVER))
            raw = np.minimum(raw, well) + np.float32(_RUNS_OVER) * cv2.GaussianBlur(over, (0, 0), _BLOOM_PX)
        np.minimum(raw, np.float32(4.0), out=raw)  # far above what is cut off
        raw += np.sqrt(raw * self._shot + self._read) * rng.standard_normal(raw.shape, np.float32)
        np.clip(raw, -_BLACK, 1.0, out=raw)
        raw *= np.float32(_STEPS)
        np.rint(raw, out=raw)
        raw /= np.float32(_STEPS)
        return raw

    def _table_matrix(self) -> Picture:
        """The colour matrix from demosaiced levels to steps of the tone table, blue first, as a (3, 4) affine one."""
        matrix = self._settings.camera.matrix[::-1, ::-1]
        scaled = matrix * (1 + _BLACK) / 65535.0 * _TONE_STEPS
        offset = -_BLACK * _TONE_STEPS * matrix.sum(axis=1, keepdims=True)
        return np.hstack([scaled, offset]).astype(np.float32)
