"""The bench's own lamp in the camera's picture.

Switched by the bench in an irregular rhythm: a camera that shows the changes was awake, and the time from order to
picture is its delay, measured without the unit.
"""

import time
from abc import ABC, abstractmethod

from hil.core.timeline import Timeline


class BenchLamp(ABC):
    """A lamp on a spare line of the bench."""

    def __init__(self, timeline: Timeline) -> None:
        """Book each switching on a timeline."""
        self._timeline = timeline
        self.is_on = False

    @abstractmethod
    def _switch(self, on: bool) -> None:
        """Switch the lamp.

        Raises:
            BenchError: it does not obey.
        """

    def switch(self, on: bool) -> None:
        """Switch and book it, with half the order's duration as doubt."""
        clock = self._timeline.clock
        begun_s = time.monotonic()
        self._switch(on)
        ended_s = time.monotonic()
        self.is_on = on
        self._timeline.add(
            "bench lamp",
            "switched",
            time_s=clock.at((begun_s + ended_s) / 2.0),
            doubt_s=clock.unit_s((ended_s - begun_s) / 2.0),
            on=on,
        )
