"""The unit's supply: switched by the bench, its state read back as its control."""

import time
from abc import ABC, abstractmethod
from dataclasses import dataclass

from hil.core.moments import Json, Moment
from hil.core.timeline import Timeline


@dataclass(frozen=True, slots=True)
class SupplyState:
    """What a supply tells of itself.

    `current_ma` is in milliamperes and `stamp_s` the supply's own clock, each where it can tell. An answer with an old
    stamp is a supply that stands still.
    """

    on: bool
    current_ma: float | None = None
    stamp_s: float | None = None


class Power(ABC):
    """A supply. An implementation says how it is switched and how its state is read.

    `by_hand` is one that a person switches. One that does not cut the supply (`cuts_supply`) holds the unit in reset instead, and
    says so in all that it books: nothing that is promised of a unit whose supply is cut, or comes, is judged by it.
    """

    by_hand, cuts_supply = False, True

    def __init__(self, timeline: Timeline) -> None:
        """Book what happens on a timeline."""
        self._timeline = timeline

    @abstractmethod
    def _switch(self, on: bool) -> None:
        """Switch the supply.

        Raises:
            BenchError: the supply does not obey.
        """

    @abstractmethod
    def _read(self) -> SupplyState:
        """Ask the supply for its state.

        Raises:
            BenchError: the supply does not answer.
        """

    def on(self, asked_by: str) -> Moment:
        """Switch on; the moment's doubt is half the time the order took."""
        return self._ordered(on=True, asked_by=asked_by)

    def off(self, asked_by: str) -> Moment:
        """Switch off."""
        return self._ordered(on=False, asked_by=asked_by)

    def read_back(self) -> bool:
        """Read the state: the control of this witness."""
        begun_s = time.monotonic()
        state = self._read()
        time_s, doubt_s = self._middle(begun_s)
        told: dict[str, Json] = {"on": state.on, "current_ma": state.current_ma, "stamp_s": state.stamp_s}
        self._timeline.add("power", "state", time_s=time_s, doubt_s=doubt_s, details=told | self._kind)
        return state.on

    def _ordered(self, *, on: bool, asked_by: str) -> Moment:
        begun_s = time.monotonic()
        self._switch(on)
        time_s, doubt_s = self._middle(begun_s)
        kind, told = "on" if on else "off", {"asked_by": asked_by} | self._kind
        return self._timeline.add("power", kind, time_s=time_s, doubt_s=doubt_s, details=told)

    @property
    def _kind(self) -> dict[str, Json]:
        return {} if self.cuts_supply else {"in_reset": True}

    def _middle(self, begun_s: float) -> tuple[float, float]:
        """The middle of an order that began then and is done now, and half its duration, in unit seconds."""
        clock, ended_s = self._timeline.clock, time.monotonic()
        return clock.at((begun_s + ended_s) / 2.0), clock.unit_s((ended_s - begun_s) / 2.0)
