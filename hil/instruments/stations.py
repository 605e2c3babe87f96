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
    """A network the access point is to offer, on one channel: WPA2, or open where there is no passphrase.

    A `hidden` one leaves its name out of its beacons. `lease_delay_s` is how long its DHCP server keeps an offer back; None:
    it never answers. One that `refuses_leases` makes an offer, and a NAK of every request for it (RFC 2131, 3.1 step 4).
    """

    name: str
    passphrase: str | None
    channel: int
    hidden: bool = False
    lease_delay_s: float | None = 0.0
    refuses_leases: bool = False

    @property
    def security(self) -> str:
        """As a beacon announces it."""
        return "open" if self.passphrase is None else "wpa2"


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
    """The access point. Books `up` (with all of its plan but the key), `down`, `joined`, `left`, `wrong key`, `leased`."""

    source = "access point"

    def __init__(self, timeline: Timeline) -> None:
        """Begin with nothing on the air."""
        super().__init__(timeline)
        self._plan: NetworkPlan | None = None

    def up(self, plan: NetworkPlan) -> None:
        """Offer a network, in place of another one; nothing to do where this very plan is on the air already.

        Raises:
            BenchError: the radio or its daemon refuses.
        """
        if plan == self._plan:
            return
        self.down()
        bssid = self._go_up(plan)
        self._plan = plan
        self._timeline.add(
            self.source,
            "up",
            name=plan.name,
            channel=plan.channel,
            bssid=bssid,
            security=plan.security,
            hidden=plan.hidden,
            lease_delay_s=plan.lease_delay_s,
            refuses_leases=plan.refuses_leases,
        )

    def down(self) -> None:
        """Stop offering it, at once and without farewell; the control network stays on the air."""
        if self._plan is not None:
            self._go_down()
            self._plan = None
            self._timeline.add(self.source, "down")

    @property
    def network(self) -> str:
        """The name of the network on the air; empty where there is none."""
        return self._plan.name if self._plan else ""

    @abstractmethod
    def _go_up(self, plan: NetworkPlan) -> str:
        """Put a network on the air; returns its bssid.

        Raises:
            BenchError: the radio or its daemon refuses.
        """

    @abstractmethod
    def _go_down(self) -> None:
        """Take it off the air, at once and without farewell."""

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
