"""The ranges a desk is drawn from, and how a pair becomes a number.

Where no source is named, a range is our own figure of what such desks, cameras and lamps show.
"""

import math
from dataclasses import dataclass, fields

import numpy as np

Pair = tuple[float, float]

WORDS = ("white", "red", "amber", "green", "blue", "off")
LAMP_KINDS = ("addressable, version 5", "addressable, older", "signal lamp", "board LED")
BOARDS = ("green", "black", "white", "blue", "red")
ROOMS = ("daylight", "filament", "white LED", "fluorescent")


@dataclass(frozen=True, slots=True)
class DeskRange:
    """What may be drawn: pairs (low, high), both included, and choices, each as likely. Equal figures fix a condition."""

    lamp_kinds: tuple[str, ...] = LAMP_KINDS
    #: Share of the lamp's full light that the firmware's brightness setting takes; drawn evenly in stops.
    brightness: Pair = (0.12, 1.0)
    boards: tuple[str, ...] = BOARDS

    distance_mm: Pair = (50.0, 600.0)
    angle_deg: Pair = (0.0, 50.0)
    field_deg: Pair = (55.0, 75.0)
    picture_width_px: tuple[int, ...] = (320, 640, 1280, 1920)
    #: How wide the lamp may be in the picture; what is drawn outside is drawn again.
    lamp_px: Pair = (4.0, 60.0)
    #: Radius of the disc a point is smeared to, in a picture 640 pixels wide.
    defocus_px: Pair = (0.0, 4.0)
    #: Share of the light that the lens scatters around the lamp.
    glare: Pair = (0.005, 0.05)

    #: Against an exposure that makes a white sheet in the room's light all but full.
    exposure_stops: Pair = (-4.0, 0.5)
    #: A darker room is exposed as if it were as bright as this: the camera was set by a lighter one.
    darkest_exposed_lux: float = 120.0
    #: Amplification of the sensor; 1 uses its wells fully. Goes up to 16 where the longest exposure is not enough.
    gain: Pair = (1.0, 4.0)
    full_well_electrons: Pair = (4000.0, 9000.0)
    read_noise_electrons: Pair = (2.0, 6.0)
    #: The white balance: off the room's light by this (a mired is a millionth of 1/K), or set anywhere within balance_kelvin.
    balance_error_mired: Pair = (-45.0, 45.0)
    balance_elsewhere: float = 0.2
    balance_kelvin: Pair = (2700.0, 7500.0)
    balance_tint: Pair = (-0.04, 0.04)
    #: How many nanometres the filters lie off the measured ones, and what part of a pixel's light its neighbours get.
    filter_shift_nm: Pair = (-5.0, 5.0)
    cross_talk: Pair = (0.0, 0.10)
    saturation: Pair = (0.9, 1.3)
    #: Share of the contrast-enhanced curve; half of the desks have none.
    contrast: Pair = (0.2, 0.8)
    sharpening: Pair = (0.0, 1.2)
    jpeg_quality: Pair = (60.0, 95.0)

    rooms: tuple[str, ...] = ROOMS
    ambient_lux: Pair = (0.0, 2000.0)
    #: Depth of the room light's 100 or 120 Hz ripple; daylight has none.
    ripple: Pair = (0.0, 0.4)
    #: Change of the room's light between unlit and lit pictures; with the share `cloudy` of desks, as a cloud's.
    ambient_change: Pair = (-0.10, 0.10)
    cloudy: float = 0.1
    cloud_change: Pair = (-0.30, 0.30)

    neighbours: Pair = (0.0, 3.0)
    neighbour_mm: Pair = (6.0, 40.0)

    #: The share of desks whose pictures may show the lamp's own switching as bands, and its frequency. Bands come about only
    #: where a period is no longer than the exposure: with a slower one, a lamp can be missing in a picture.
    banded: float = 0.3
    switching_hz: Pair = (400.0, 2000.0)
    #: Time from one row of a full picture to the next, in a picture 480 rows high.
    row_time_us: Pair = (30.0, 65.0)

    def __post_init__(self) -> None:
        """Check the pairs.

        Raises:
            ValueError: a pair's low figure is above its high one.
        """
        for field in fields(self):
            value = getattr(self, field.name)
            if field.type == Pair and value[0] > value[1]:
                raise ValueError(f"{field.name} goes from {value[0]} down to {value[1]}")


def evenly(rng: np.random.Generator, pair: Pair) -> float:
    """Draw a number, all as likely."""
    return float(rng.uniform(*pair))


def by_ratio(rng: np.random.Generator, pair: Pair) -> float:
    """Draw a positive number, all ratios as likely."""
    return math.exp(rng.uniform(math.log(pair[0]), math.log(pair[1])))


def one_of(rng: np.random.Generator, choices: tuple[str, ...]) -> str:
    """Draw one of several words."""
    return choices[int(rng.integers(len(choices)))]
