"""A small camera for these tests, as the fixture `lab`: glow, blown-out core, leaking channels, ambient light, noise.

Written for the tests alone, apart from the virtual bench's scene and from the reader.
"""

from dataclasses import dataclass, field
from types import SimpleNamespace

import numpy as np
import pytest

from hil.lamp import colour_words, dark_reference, read_light
from hil.lamp.doubt import Floats
from hil.lamp.light import Crops

# Linear light in camera R, G, B for lamps of each word at full, before the leak between channels.
LAMPS = {
    "off": (0.0, 0.0, 0.0),
    "white": (1.0, 1.0, 1.0),
    "red": (1.0, 0.0, 0.0),
    "amber": (1.0, 0.38, 0.0),
    "yellow": (1.0, 0.85, 0.0),
    "green": (0.0, 1.0, 0.0),
    "blue": (0.0, 0.0, 1.0),
    "cyan": (0.0, 0.75, 1.0),  # as cameras see it of an addressable lamp: they are more sensitive to its blue
    "magenta": (1.0, 0.0, 1.0),
}
# Row: a camera channel; column: how much it takes from lamp R, G, B. Invented, of the size cameras have.
LEAKS = {
    "none": np.eye(3),
    "even": np.array([[1.0, 0.05, 0.02], [0.04, 1.0, 0.10], [0.02, 0.12, 1.0]]),
    "warm": np.array([[1.1, 0.10, 0.03], [0.03, 1.0, 0.06], [0.01, 0.15, 0.85]]),
    "cold": np.array([[0.85, 0.03, 0.05], [0.05, 1.0, 0.14], [0.03, 0.20, 1.15]]),
}


def encode(linear: Floats) -> Floats:
    """Encode linear light as 8-bit sRGB codes (IEC 61966-2-1), clipped."""
    value = np.clip(linear, 0.0, 1.0)
    return 255.0 * np.where(value <= 0.0031308, 12.92 * value, 1.055 * value ** (1 / 2.4) - 0.055)


@dataclass
class Camera:
    """Takes crops of one lamp."""

    seed: int = 1
    leak: str = "even"
    ambient: float = 0.03
    noise_codes: float = 1.5
    gain: float = 3.0
    size: int = 40
    glow: float = 7.0
    random: np.random.Generator = field(init=False)

    def __post_init__(self) -> None:
        self.random = np.random.default_rng(self.seed)
        y, x = np.mgrid[0 : self.size, 0 : self.size] - (self.size - 1) / 2
        radius = np.hypot(x, y)
        self.shape = self.gain * (np.exp(-((radius / self.glow) ** 2) / 2) + 0.03 * np.exp(-radius / 12))
        # The board round the lamp is dark, the lamp's package light.
        self.board = self.ambient * np.where(radius < 5, 2.5, 1.0)[..., None] * np.array([1.0, 0.95, 0.85])

    def crops(self, lamp_rgb: Floats, ambient_gain: float = 1.0) -> Crops:
        """Take one crop for each row of lamp light, shape (n, 3), linear; returns (n, h, w, 3) uint8, BGR."""
        light = np.atleast_2d(np.asarray(lamp_rgb, dtype=float)) @ LEAKS[self.leak].T
        linear = self.shape[None, :, :, None] * light[:, None, None, :] + ambient_gain * self.board
        codes = encode(linear) + self.noise_codes * self.random.standard_normal(linear.shape)
        return np.clip(np.rint(codes), 0, 255).astype(np.uint8)[..., ::-1]

    def of(self, word: str, frames: int = 1, brightness: float = 1.0) -> Crops:
        """Take crops of a lamp of one colour."""
        return self.crops(brightness * np.tile(LAMPS[word], (frames, 1)))

    def dark(self, frames: int = 8) -> Crops:
        """Take crops of the dark lamp."""
        return self.of("off", frames)


def light_at_frames(plan: list[tuple[float, str]], times_s: Floats, exposure_s: float) -> Floats:
    """Integrate a plan, (from this time on, colour word) in order, over exposures centred on stamps: shape (n, 3)."""
    starts = np.array([begin for begin, _ in plan])
    ends = np.append(starts[1:], np.inf)
    rgb = np.array([LAMPS[word] for _, word in plan])
    opened, closed = times_s - exposure_s / 2, times_s + exposure_s / 2
    overlap = np.minimum(closed[:, None], ends) - np.maximum(opened[:, None], starts)
    return np.clip(overlap, 0.0, None) / exposure_s @ rgb


def flashing(word: str, hz: float, begin_s: float, end_s: float, duty: float = 0.5) -> list[tuple[float, str]]:
    """Give a plan of a flash that begins lit."""
    plan, at = [], begin_s
    while at < end_s - 1e-9:
        plan += [(at, word), (at + duty / hz, "off")]
        at += 1.0 / hz
    return [(when, colour) for when, colour in plan if when < end_s]


def frame_times(
    begin_s: float,
    end_s: float,
    interval_s: float,
    random: np.random.Generator,
    jitter_sd_s: float = 0.0,
    drop: float = 0.0,
) -> Floats:
    """Give stamps of frames: a random first phase, normal jitter of the true times, some frames dropped."""
    times = np.arange(begin_s + interval_s * random.random(), end_s, interval_s)
    times = times + np.clip(jitter_sd_s * random.standard_normal(len(times)), -interval_s / 3, interval_s / 3)
    return times[random.random(len(times)) >= drop]


def watch(
    plan: list[tuple[float, str]], times_s: Floats, exposure_s: float, **camera: object
) -> tuple[list[str], Floats]:
    """Let a small camera watch a plan; returns the words and the luminance of its frames."""
    taken = Camera(**{"size": 20, "glow": 4.0, **camera})
    dark = dark_reference(taken.dark())
    light = read_light(taken.crops(light_at_frames([(-1e3, "off"), *plan], times_s, exposure_s)), dark)
    return colour_words(light), light.luminance


@pytest.fixture
def lab() -> SimpleNamespace:
    """Hand the camera and the plans to a test."""
    return SimpleNamespace(
        Camera=Camera,
        LAMPS=LAMPS,
        LEAKS=LEAKS,
        encode=encode,
        flashing=flashing,
        frame_times=frame_times,
        light_at_frames=light_at_frames,
        watch=watch,
    )
