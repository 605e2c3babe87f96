"""Keeps the witnesses' controls going while a run lasts, each in a thread of its own, so that none waits for another.

The supply's state is read back, access point and probe are asked for their status, and the bench's own lamp is switched in
an irregular rhythm. An instrument that does not answer is booked once; its witness is asleep from then on, which the
evidence shows by the missing controls.
"""

import random
import threading
from collections.abc import Callable
from dataclasses import dataclass

from hil.core.errors import BenchError
from hil.core.lateness import LateWatch
from hil.core.timeline import Timeline
from hil.instruments.bench_lamp import BenchLamp
from hil.instruments.power import Power
from hil.instruments.stations import AccessPoint, Probe


@dataclass(frozen=True)
class _Control:
    """What is done, and the least and longest pause between two times, in unit seconds."""

    name: str
    task: Callable[[], object]
    pause_s: tuple[float, float]


class Controls:
    """The threads. Their pauses are far below the gaps that evidence allows (1 s, 2 s, 1 s)."""

    def __init__(
        self, timeline: Timeline, power: Power, stations: tuple[AccessPoint, Probe], lamp: BenchLamp | None, seed: int
    ) -> None:
        """Name the instruments; `start` sets off."""
        self._timeline = timeline
        self._random = random.Random(seed)
        self._stop = threading.Event()
        self._late = LateWatch(timeline.held_up)
        controls = (
            _Control("power", power.read_back, (0.3, 0.3)),
            *(_Control(station.source, station.ask_status, (0.5, 0.5)) for station in stations),
            *([_Control("bench lamp", lambda: lamp.switch(not lamp.is_on), (0.3, 0.7))] if lamp else []),
        )
        self._threads = [
            threading.Thread(target=self._keep_going, args=(control,), name=f"control of {control.name}", daemon=True)
            for control in controls
        ]

    def start(self) -> None:
        """Set off."""
        self._late.start()
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """Stop and wait for the end of it."""
        self._late.stop()
        self._stop.set()
        for thread in self._threads:
            thread.join(timeout=5.0)

    def _keep_going(self, control: _Control) -> None:
        clock = self._timeline.clock
        while not self._stop.wait(clock.real_s(self._random.uniform(*control.pause_s))):
            try:
                control.task()
            except BenchError as error:
                self._timeline.add(control.name, "gone", why=str(error))
                return
