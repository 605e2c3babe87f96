"""What changes from frame to frame and from row to row: the room's ripple, the lamp's switching, blinking neighbours.

A rolling shutter exposes each row a little later than the one above. A row takes the mean of the light over its own exposure.
"""

import math

import numpy as np
from numpy.typing import NDArray

from hil.virtual.desk.conditions import Neighbour, Room, Settings
from hil.virtual.desk.spectra import Floats

PerRow = NDArray[np.float32]


def row_starts_s(settings: Settings, frame: int, rows: int) -> Floats:
    """Give when the exposure of each row begins, counted from frame 0."""
    return np.asarray(frame * settings.frame_time_s + np.arange(rows) * settings.row_time_s, np.float64)


def ripple(room: Room, starts_s: Floats, exposure_s: float) -> PerRow:
    """Give the room's light at each row against its mean: a sine averaged over the exposure."""
    left = room.ripple * float(np.sinc(room.ripple_hz * exposure_s))
    turn = 2 * math.pi * room.ripple_hz * (starts_s + exposure_s / 2) + room.ripple_phase
    return np.asarray(1 + left * np.cos(turn), np.float32)


def switched(hz: float, duty: float, starts_s: Floats, exposure_s: float) -> PerRow:
    """Give the share of each row's exposure during which a lamp is on that is switched `hz` times a second."""

    def on_periods(time_s: Floats) -> Floats:
        periods = np.floor(time_s * hz)
        return np.asarray(periods * duty + np.minimum(time_s * hz - periods, duty), np.float64)

    return np.asarray((on_periods(starts_s + exposure_s) - on_periods(starts_s)) / (hz * exposure_s), np.float32)


def is_on(neighbour: Neighbour, frame: int) -> bool:
    """Say whether a neighbour is lit in a frame; a blinking one is so half the time."""
    if neighbour.blink_frames == 0.0:
        return True
    return (frame / neighbour.blink_frames + neighbour.blink_phase) % 1.0 < 0.5
