"""The lamp's colour as a word, for the screen only: verdicts read the recorded frames anew."""

import threading

import numpy as np

from hil.core.frames import Crops
from hil.lamp import OFF, DarkReference, colour_words, dark_reference, read_light
from hil.lamp.light import SRGB_DECODE, Planes

DARK_FRAMES = 12  # the supply is off when a run begins, so the first frames show the dark lamp
SWATCHES = {"white": "bright_white", "red": "red", "amber": "yellow", "green": "green", "blue": "blue"}


class LampWord:
    """Keeps the newest crop; names its colour when asked."""

    def __init__(self, curve: Planes = SRGB_DECODE) -> None:
        """Know nothing yet but the camera's curve."""
        self._curve = curve
        self._lock = threading.Lock()
        self._first: list[Crops] = []
        self._newest: Crops | None = None
        self._dark: DarkReference | None = None

    def see(self, crop: Crops) -> None:
        """Take a frame's crop."""
        with self._lock:
            if len(self._first) < DARK_FRAMES:
                self._first.append(crop)
            self._newest = crop

    def now(self) -> str:
        """The newest frame's colour word, "dark", or "not seen yet"."""
        with self._lock:
            newest, ready = self._newest, len(self._first) >= DARK_FRAMES
        if newest is None or not ready:
            return "not seen yet"
        try:
            self._dark = self._dark or dark_reference(self._first, self._curve)
            word = colour_words(read_light(newest[np.newaxis], self._dark))[0]
        except ValueError:
            return "unrecognised"
        return "dark" if word == OFF else word
