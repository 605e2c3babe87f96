"""The bench's two stations: the access point the unit is to join, and the probe that joins the unit's hotspot.

Each leads into its network through an endpoint of its own (`ProxyEndpoint`), so that a page is bound to the network and
lease it came through.
"""

import time
from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass

from hil.core.lag import Lag
from hil.core.moments import Json
from hil.core.timeline import Timeline

LAG_AT_FIRST_REAL_S = 0.02  # until enough of a daemon's answers were timed; common practice, no source
Details = Mapping[str, Json]


@dataclass(frozen=True, slots=True)
class NetworkPlan:
    """A network the access point is to offer: WPA2 with a passphrase, on one channel."""

    name: str
    passphrase: str
    channel: int


@dataclass(frozen=True, slots=True)
class Lease:
    """An address on a network: where pages may be fetched from, and how."""

    network: str
    address: str
    router: str
    endpoint_url: str


class Station(ABC):
    """One of the two. Its daemon's answers are its control, and their round trips give the doubt of what it reports."""

    source: str

    def __init__(self, timeline: Timeline) -> None:
        """Book what happens on a timeline."""
        self._timeline = timeline
        self._lag = Lag(timeline.clock.unit_s(LAG_AT_FIRST_REAL_S))

    @abstractmethod
    def _ask(self) -> Details:
        """Ask the daemon for its status, by the way its reports come.

        Raises:
            BenchError: it does not answer.
        """

    def ask_status(self) -> None:
        """Ask the daemon for its status and book that it answered: the control of this witness."""
        begun_s = time.monotonic()
        details = self._ask()
        took_s = self._timeline.clock.unit_s(time.monotonic() - begun_s)
        self._lag.measured(took_s)  # in full: a report comes one way, but all of the lag may lie on that one
        self._timeline.add(self.source, "answering", details={**details, "took_s": took_s})

    def _report(self, kind: str, monotonic_s: float, details: Details) -> None:
        """Book what the daemon reported at a time of the host's monotonic clock."""
        time_s = self._timeline.clock.at(monotonic_s)
        self._timeline.add(self.source, kind, time_s=time_s, doubt_s=self._lag.bound_s, details=details)

    def _reached(self, host: str, port: int, begun_monotonic_s: float, took_s: float) -> None:
        """Book when a service was dialled and how long reaching it took; the doubt is the lag of either way."""
        clock = self._timeline.clock
        details: Details = {"host": host, "port": port, "took_s": clock.unit_s(took_s)}
        time_s, doubt_s = clock.at(begun_monotonic_s), self._lag.bound_s
        self._timeline.add(self.source, "reached", time_s=time_s, doubt_s=doubt_s, details=details)


class AccessPoint(Station):
    """The access point. Books `up` (with name, channel and bssid), `down`, `joined`, `left`, `wrong key`, `leased`."""

    source = "access point"

    @abstractmethod
    def up(self, plan: NetworkPlan) -> None:
        """Offer a network.

        Raises:
            BenchError: the radio or its daemon refuses.
        """

    @abstractmethod
    def down(self) -> None:
        """Stop offering it, at once and without farewell; the control network stays on the air."""

    @abstractmethod
    def lease_of_bench(self) -> Lease:
        """The bench's own way into this network."""


class Probe(Station):
    """The bench's own station. Books `joined`, `leased`, `join failed`, `left`."""

    source = "probe"

    @abstractmethod
    def join(self, name: str, passphrase: str | None, limit_s: float) -> Lease | None:
        """Join a network and get an address; None (and booked why) where the unit does not let it within the limit."""

    @abstractmethod
    def leave(self) -> None:
        """Leave the network."""
