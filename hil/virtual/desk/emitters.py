"""Lamps: what they emit, how strongly, and how large they are.

Four kinds. Two are the common addressable LED of three emitters behind one window, WS2812B: dominant wavelengths and
intensities over the whole range of its data sheet, version 5 (red 620-630 nm, 300-500 mcd; green 515-525 nm, 600-1000 mcd;
blue 465-475 nm, 200-300 mcd) or of older ones (620-625, 522-525, 465-470 nm; 390-420, 660-720, 180-200 mcd, from memory).
The other two have one emitter: a diffusing signal lamp of 3 or 5 mm, and a bare LED on the board.

Dominant wavelengths of single emitters: red 615-640, amber 585-597, green 505-530, blue 460-475 nm; and 560-572 nm, the old
"yellow-green", which lies between two words and has none. A white one is a blue chip with phosphors, 2700-8000 K. Widths at
half maximum and the sizes and intensities of single emitters are of the size data sheets give, from memory; how light leaves a
lamp sideways is our own figure.

Amber of an addressable lamp is full red with 100 to 170 of 255 parts of green, as firmware writers use; drawn so that the mix
looks amber or yellow with this very lamp (dominant wavelength 576 to 599 nm: Kelly 1943 calls 575 to 580 yellow, 585 to 595
orange, from memory), as its programmer would have seen. White is equal drives: with most lamps a bluish white.
"""

from dataclasses import dataclass, replace

import numpy as np

from hil.virtual.desk.ranges import DeskRange, Pair, by_ratio, evenly, one_of
from hil.virtual.desk.spectra import Floats, dominant_nm, emitter, gaussian, per_candela, white_led

_ADDRESSABLE: dict[str, tuple[tuple[Pair, Pair], ...]] = {  # dominant nm and mcd of red, green, blue
    "addressable, version 5": (
        ((620.0, 630.0), (300.0, 500.0)),
        ((515.0, 525.0), (600.0, 1000.0)),
        ((465.0, 475.0), (200.0, 300.0)),
    ),
    "addressable, older": (
        ((620.0, 625.0), (390.0, 420.0)),
        ((522.0, 525.0), (660.0, 720.0)),
        ((465.0, 470.0), (180.0, 200.0)),
    ),
}
_WIDTH_NM: dict[str | None, Pair] = {
    "red": (16.0, 22.0), "amber": (14.0, 20.0), None: (20.0, 30.0), "green": (28.0, 38.0), "blue": (20.0, 28.0),
}  # fmt: skip
_SINGLE_NM: dict[str | None, Pair] = {
    "red": (615.0, 640.0), "amber": (585.0, 597.0), None: (560.0, 572.0), "green": (505.0, 530.0), "blue": (460.0, 475.0),
}  # fmt: skip
_WHITE_KELVIN: Pair = (2700.0, 8000.0)
STRANGERS = {"cyan": (0, 1, 1), "magenta": (1, 0, 1)}  # colours of no word, which an addressable lamp may show
_DRIVES = {"white": (1, 1, 1), "red": (1, 0, 0), "green": (0, 1, 0), "blue": (0, 0, 1), **STRANGERS}
_AMBER_GREENS = range(100, 171)
_AMBER_NM: Pair = (576.0, 599.0)
_DIES_MM = ((-0.45, 0.35), (0.45, 0.35), (0.0, -0.5))


@dataclass(frozen=True, slots=True)
class Lamp:
    """A lamp that shows a word when lit.

    Per emitter: `spectra` (emitters, wavelengths), per candela; `intensity_cd`, fully driven, along the axis; `drive`, 0 to
    `brightness`, which is the word's; `dies_mm`, where the chips lie. `spread` is m in the intensity's fall with the angle,
    cos^m: 1 is a matt window's. `sideways` is the light that leaves near the board's plane, against the axis; `height_mm`
    where it leaves.
    A `coloured_lens` is dyed in the lamp's own colour, others are clear or milky.
    """

    kind: str
    word: str | None
    spectra: Floats
    intensity_cd: Floats
    drive: Floats
    brightness: float
    dies_mm: tuple[Pair, ...]
    window_mm: float
    package_mm: Pair
    spread: float
    sideways: float
    height_mm: float
    coloured_lens: bool

    @property
    def mixed(self) -> Floats:
        """The spectrum of the word as shown, in candela."""
        return np.asarray((self.drive * self.intensity_cd) @ self.spectra, np.float64)

    def as_if_lit(self) -> "Lamp":
        """Give the lamp itself, or a dark one with all its emitters on."""
        return self if self.drive.any() else replace(self, drive=np.full_like(self.drive, self.brightness))


def draw_lamp(
    rng: np.random.Generator, word: str | None, over: DeskRange, another: np.random.Generator | None = None
) -> Lamp:
    """Draw a lamp that shows `word`, or `None` for the colour between words, which only single emitters have.

    "off" is a lamp that stays dark. `another` draws another unit's: of the same kind and driven alike, with other emitters.
    """
    kind = one_of(rng, over.lamp_kinds)
    if word is None and kind in _ADDRESSABLE:
        kind = "signal lamp"
    brightness = by_ratio(rng, over.brightness)
    if kind not in _ADDRESSABLE:
        return _single(another or rng, kind, word, brightness)
    lamp = _addressable(rng, kind, word, brightness)
    return lamp if another is None else replace(_addressable(another, kind, word, brightness), drive=lamp.drive)


def _addressable(rng: np.random.Generator, kind: str, word: str | None, brightness: float) -> Lamp:
    spectra, intensities = [], []
    for name, (nanometres, millicandela) in zip(("red", "green", "blue"), _ADDRESSABLE[kind], strict=True):
        spectra.append(emitter(evenly(rng, nanometres), evenly(rng, _WIDTH_NM[name])))
        intensities.append(evenly(rng, millicandela) / 1000)
    whole, intensity_cd = np.stack(spectra), np.array(intensities)
    drive = np.zeros(3)
    if word == "amber":
        drive = _amber_drive(rng, whole, intensity_cd)
    elif word in _DRIVES:
        drive = np.array(_DRIVES[word], np.float64)
    return Lamp(
        kind, word, whole, intensity_cd, drive * brightness, brightness, _DIES_MM,
        window_mm=3.4, package_mm=(5.0, 5.0), spread=1.0, sideways=evenly(rng, (0.02, 0.08)), height_mm=1.6, coloured_lens=False,
    )  # fmt: skip


def _amber_drive(rng: np.random.Generator, spectra: Floats, intensity_cd: Floats) -> Floats:
    drives = np.array([(1.0, green / 255, 0.0) for green in _AMBER_GREENS])
    mixed_nm = np.array([dominant_nm(mix) for mix in (drives * intensity_cd) @ spectra])
    looks_amber = (mixed_nm >= _AMBER_NM[0]) & (mixed_nm <= _AMBER_NM[1])
    if not looks_amber.any():
        return np.asarray(drives[np.abs(mixed_nm - np.mean(_AMBER_NM)).argmin()])
    return np.asarray(drives[looks_amber][int(rng.integers(looks_amber.sum()))])


def _single(rng: np.random.Generator, kind: str, word: str | None, brightness: float) -> Lamp:
    colour = word if word != "off" else one_of(rng, ("red", "amber", "green", "blue", "white"))
    if colour == "white":
        spectrum = per_candela(white_led(evenly(rng, _WHITE_KELVIN)))
    else:
        spectrum = emitter(evenly(rng, _SINGLE_NM[colour]), evenly(rng, _WIDTH_NM[colour]))
    drive = np.array([0.0 if word == "off" else brightness])
    if kind == "signal lamp":
        window_mm = 5.0 if rng.random() < 0.6 else 3.0
        return Lamp(
            kind, word, spectrum[None], np.array([by_ratio(rng, (0.010, 0.150))]), drive, brightness, ((0.0, 0.0),),
            window_mm, (0.0, 0.0), spread=evenly(rng, (1.0, 3.0)), sideways=evenly(rng, (0.1, 0.3)), height_mm=window_mm,
            coloured_lens=colour != "white" and rng.random() < 0.5,
        )  # fmt: skip
    window_mm = evenly(rng, (0.8, 1.4))
    return Lamp(
        kind, word, spectrum[None], np.array([by_ratio(rng, (0.003, 0.060))]), drive, brightness, ((0.0, 0.0),),
        window_mm, (1.9 * window_mm, 1.1 * window_mm), spread=1.0, sideways=evenly(rng, (0.1, 0.4)), height_mm=0.5,
        coloured_lens=False,
    )  # fmt: skip


def lens_reflectance(lamp: Lamp) -> Floats:
    """What an unlit window scatters back, by wavelength: grey for a clear one, milky, or dyed in the lamp's own colour."""
    if not lamp.coloured_lens:
        return np.full(lamp.spectra.shape[1], 0.30)
    own = lamp.spectra[0] / lamp.spectra[0].max()
    wide = np.convolve(own, gaussian((580.0, 60.0)), mode="same")
    return np.asarray(0.04 + 0.30 * wide / wide.max(), np.float64)
