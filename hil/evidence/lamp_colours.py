"""Which colours the camera saw of the unit's lamp over a run, how far they scatter, and how far apart they lie.

Frames are taken evenly and read as the stages are. It is what the sheet says of the lamp camera as
a measuring instrument; no check rests on it.
"""

from dataclasses import dataclass
from itertools import combinations
from math import inf, sqrt

import numpy as np
from numpy.typing import NDArray

from hil.core.product import Product, Stage
from hil.evidence.camera import camera_of
from hil.evidence.window import Record
from hil.lamp import COLOURS, OFF, SAME_COLOUR, UNRECOGNISED, LampLight, colour_words, read_light
from hil.lamp.doubt import NORMAL_95

MOST_FRAMES = 400
FEWEST_SEEN = 3  # frames of a colour: fewer say nothing of its scatter
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class ColourSeen:
    """One colour as it was seen, in CIE 1976 u'v'.

    middle: the mean; spread: covariance of single frames, shape (2, 2); doubt: half-width at 95 % that a frame states of
    itself, in the direction in which it is widest.
    """

    word: str
    frames: int
    middle: Point
    spread: NDArray[np.float64]
    doubt: float

    @property
    def scatter(self) -> float:
        """Half-width at 95 % of single frames, in the direction in which they scatter most."""
        return NORMAL_95 * sqrt(max(0.0, float(np.linalg.eigvalsh(self.spread)[-1])))


@dataclass(frozen=True, slots=True)
class LampColours:
    """The colours of a run; `untold` of the lit frames had none that could be told, `reason` says why there are none at all."""

    seen: tuple[ColourSeen, ...]
    lit: int
    untold: int
    reason: str = ""

    def apart(self) -> tuple[str, str, float, float] | None:
        """The two colours that lie nearest each other: their words, the distance in u'v', and that in the doubts of both."""
        return min(self.pairs(), key=lambda pair: pair[2], default=None)

    def pairs(self) -> list[tuple[str, str, float, float]]:
        """The same of any two colours."""
        told = []
        for one, other in combinations(self.seen, 2):
            distance = _distance(one.middle, other.middle)
            doubt = max(one.scatter, one.doubt) + max(other.scatter, other.doubt)
            told.append((one.word, other.word, distance, distance / doubt if doubt else inf))
        return told


def stages_by_colour(product: Product) -> dict[str, list[str]]:
    """Which stages each colour is promised for."""
    found: dict[str, list[str]] = {}
    for name, stage in product.stages.items():
        for colour in dict.fromkeys(_colours_of(stage)):
            found.setdefault(colour, []).append(name)
    return found


def _colours_of(stage: Stage) -> list[str]:
    words = [phase.colour for phase in stage.lamp.sequence] + ([stage.lamp.colour] if stage.lamp.colour else [])
    return [SAME_COLOUR.get(word, word) for word in words if word in COLOURS or word in SAME_COLOUR]


def colours_seen(record: Record, begin_s: float, end_s: float) -> LampColours:
    """Read the colours of a run's lamp from frames between two times."""
    read = _frames_read(record, begin_s, end_s)
    if isinstance(read, str):
        return LampColours((), 0, 0, read)
    light, words = read
    seen = [_seen(word, light.uv[words == word], light.uv_covariance[words == word]) for word in COLOURS]
    lit = light.lit & light.plausible
    untold = int((lit & (words == UNRECOGNISED)).sum())
    return LampColours(tuple(one for one in seen if one is not None), int((lit & (words != OFF)).sum()), untold)


def frames_by_colour(record: Record, begin_s: float, end_s: float) -> dict[str, NDArray[np.float64]]:
    """Give u'v' of single frames by their colour, each of shape (n, 2), in order of time; nothing where the camera was away."""
    read = _frames_read(record, begin_s, end_s)
    if isinstance(read, str):
        return {}
    light, words = read
    return {word: light.uv[words == word] for word in COLOURS if (words == word).sum() >= FEWEST_SEEN}


def _frames_read(record: Record, begin_s: float, end_s: float) -> tuple[LampLight, NDArray[np.str_]] | str:
    """Light and words of frames evenly taken, or why there are none."""
    camera = camera_of(record, begin_s, end_s)
    if camera.frames is None or camera.dark is None or camera.delay is None:
        return f"camera: {camera.reason}"
    chosen = np.unique(np.linspace(0, len(camera.frames) - 1, MOST_FRAMES).astype(int))
    light = read_light(camera.frames.unit[chosen], camera.dark)
    return light, np.array(colour_words(light, record.learnt))


def _seen(word: str, uv: NDArray[np.float64], covariance: NDArray[np.float64]) -> ColourSeen | None:
    if len(uv) < FEWEST_SEEN:
        return None
    widest = np.linalg.eigvalsh(covariance)[:, -1]
    doubt = NORMAL_95 * sqrt(max(0.0, float(np.median(widest))))
    middle = uv.mean(axis=0)
    return ColourSeen(word, len(uv), (float(middle[0]), float(middle[1])), np.cov(uv.T), doubt)


def _distance(one: Point, other: Point) -> float:
    return float(np.hypot(one[0] - other[0], one[1] - other[1]))
