"""The bench's two stations: the access point the unit is to join, and the probe that joins the unit's hotspot.

Each leads into its network through an endpoint of its own (`ProxyEndpoint`), so that a page is bound to the network and
lease it came through.
"""

import socket
import time
from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from hil.core.errors import InstrumentGone
from hil.core.lag import Lag
from hil.core.moments import Json
from hil.core.timeline import Timeline
from hil.instruments.lookups import NAMES_PORT, NUMBERS, Question, read_answer
from hil.instruments.network_plan import NetworkPlan
from hil.instruments.report_receiver import Report, ReportReceiver

LAG_AT_FIRST_REAL_S = 0.02  # until enough of a daemon's answers were timed; common practice, no source
RADIOS = 2  # of the access point: so many networks at once
Details = Mapping[str, Json]
Manner = Literal["answers", "is silent", "refuses"]


@dataclass(frozen=True, slots=True)
class Lease:
    """An address on a network: where pages may be fetched from, and how."""

    network: str
    address: str
    router: str
    endpoint_url: str


@dataclass(frozen=True, slots=True)
class SpareAddress:
    """An address of the access point's network that its DHCP server gives to nobody, and what goes with it."""

    ip: str
    netmask: str
    gateway: str


@dataclass(frozen=True, slots=True)
class Exchanged:
    """A datagram sent, and the one that came back: when, on the host's monotonic clock; None where none came by then."""

    sent_s: float
    octets: bytes | None
    until_s: float


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
    """The access point, with some radios, each of which offers a network or is silent.

    Books `up` (with all of a plan but its key) and `down` by the radio's number and address, and with that address of its
    members `joined`, `left`, `wrong key`, `lease asked` (each DHCP message), `leased`, and `announced` (an address that a
    member holds by its own word: an ARP announcement, RFC 5227). Where it takes reports: `takes reports` whenever the manner
    changes, `called` for each connection, `report` for each request.
    """

    source = "access point"

    def __init__(self, timeline: Timeline) -> None:
        """Begin with nothing on the air."""
        super().__init__(timeline)
        self._plans: list[NetworkPlan | None] = [None] * RADIOS
        self._bssids = [""] * RADIOS
        self._receiver: ReportReceiver | None = None

    def up(self, *plans: NetworkPlan | None) -> None:
        """Offer these networks, in place of all others: the first by the first radio, and so on; None: it is silent.

        A radio that offers this very plan already goes on. Others fall silent first.

        Raises:
            BenchError: a radio or its daemon refuses.
        """
        wanted = [*plans, *[None] * (RADIOS - len(plans))]
        changed = [radio for radio in range(RADIOS) if wanted[radio] != self._plans[radio]]
        for radio in changed:
            self._silence(radio)
        for radio in changed:
            plan = wanted[radio]
            if plan is not None:
                self._offer(plan, radio)

    def down(self) -> None:
        """Stop offering any, at once and without farewell; the control network stays on the air."""
        self.up()

    def take_reports(self, port: int, manner: Manner) -> None:
        """Have what is sent by HTTP to a port of the bench's own address answered, left without an answer, or refused."""
        self.take_no_reports()
        self._timeline.add(self.source, "takes reports", port=port, manner=manner)
        if manner != "refuses":
            listener = self._listen(port)
            self._receiver = ReportReceiver(listener, self._called, self._reported, answers=manner == "answers")

    def take_no_reports(self) -> None:
        """Have nobody listen for any."""
        receiver, self._receiver = self._receiver, None
        if receiver is not None:
            self._unlisten()
            receiver.close()

    def ask_status(self) -> None:
        """Ask the daemon, and look whether reports are taken."""
        if self._receiver is not None and not self._receiver.running:
            raise InstrumentGone(self.source, "it takes no more reports.")
        super().ask_status()

    def _called(self, monotonic_s: float) -> None:
        self._report("called", monotonic_s, {})

    def _reported(self, report: Report, monotonic_s: float) -> None:
        told: Details = {
            "method": report.method,
            "path": report.path,
            "authorization": report.authorization,
            "content_type": report.content_type,
            "body": report.body.decode("utf-8", "backslashreplace"),
        }
        self._report("report", monotonic_s, told)

    def _silence(self, radio: int) -> None:
        if self._plans[radio] is not None:
            self._go_down(radio)
            self._plans[radio] = None
            self._timeline.add(self.source, "down", radio=radio, bssid=self._bssids[radio])

    def _offer(self, plan: NetworkPlan, radio: int) -> None:
        bssid = self._bssids[radio] = self._go_up(plan, radio)
        self._plans[radio] = plan
        self._timeline.add(
            self.source,
            "up",
            name=plan.name,
            channel=plan.channel,
            radio=radio,
            bssid=bssid,
            security=plan.security,
            protected_frames=plan.protection,
            mode=plan.mode,
            delay_s=plan.delay_s,
            loss=plan.loss,
            hidden=plan.hidden,
            lease_delay_s=plan.lease_delay_s,
            refuses_leases=plan.refuses_leases,
            lease_s=plan.lease_s,
            weaker_by_db=plan.weaker_by_db,
        )

    @property
    def bssids(self) -> tuple[str, ...]:
        """The address of each radio, as it was on the air last; empty where it never was."""
        return tuple(self._bssids)

    @property
    def network(self) -> str:
        """The name of the network on the air, by the first radio that offers one; empty where there is none."""
        return next((plan.name for plan in self._plans if plan is not None), "")

    @abstractmethod
    def _go_up(self, plan: NetworkPlan, radio: int) -> str:
        """Put a network on the air by a radio; returns its bssid.

        Raises:
            BenchError: the radio or its daemon refuses.
        """

    @abstractmethod
    def _go_down(self, radio: int) -> None:
        """Take a radio's network off the air, at once and without farewell."""

    @abstractmethod
    def _listen(self, port: int) -> socket.socket:
        """A listening socket for members of its networks, at a port of the bench's own address there."""

    def _unlisten(self) -> None:
        """Have that port refuse, before the socket is closed; where closing it does so there is nothing to do."""

    @abstractmethod
    def lease_of_bench(self) -> Lease:
        """The bench's own way into this network."""

    @abstractmethod
    def spare_address(self) -> SpareAddress:
        """An address that is free for a unit to be given by hand."""


class Probe(Station):
    """The bench's own station. Books `joined`, `leased`, `join failed`, `left`, and what it asks for by datagrams.

    With `joined` it tells how the network is secured, by its own scan.
    Of each question for a name: `asks for a name`, then `name answered` or `name unanswered`, by its number; of what is
    sent without waiting for an answer `sends a datagram`.
    """

    source = "probe"

    def __init__(self, timeline: Timeline) -> None:
        """Begin with no question asked."""
        super().__init__(timeline)
        self._questions = 0

    def look_up(self, server: str, name: str, kind: str, limit_s: float) -> None:
        """Ask a name server of this network for a name's record (`A`, `AAAA`...), and wait for an answer up to the limit.

        Raises:
            BenchError: the probe is gone.
        """
        self._questions += 1
        question = Question(self._questions % NUMBERS, name, kind)
        exchanged = self._exchange(server, NAMES_PORT, question.octets(), limit_s)
        asked: Details = {"number": self._questions, "name": name, "type": kind}
        self._report("asks for a name", exchanged.sent_s, {**asked, "server": server})
        if exchanged.octets is None:
            self._report("name unanswered", exchanged.until_s, asked)
            return
        said: Details = {"octets": exchanged.octets.hex(), **read_answer(question, exchanged.octets)}
        self._report("name answered", exchanged.until_s, {**asked, **said})

    def send_datagram(self, host: str, port: int, octets: bytes, purpose: str) -> None:
        """Send a datagram, and wait for nothing.

        Raises:
            BenchError: the probe is gone.
        """
        exchanged = self._exchange(host, port, octets, 0.0)
        details: Details = {"host": host, "port": port, "purpose": purpose, "octets": octets.hex()}
        self._report("sends a datagram", exchanged.sent_s, details)

    @abstractmethod
    def _exchange(self, host: str, port: int, octets: bytes, limit_s: float) -> Exchanged:
        """Send a datagram by this network and take the first that comes back from there, up to the limit (0: none).

        Raises:
            BenchError: the probe is gone.
        """

    @abstractmethod
    def join(self, name: str, passphrase: str | None, limit_s: float) -> Lease | None:
        """Join a network and get an address; None (and booked why) where the unit does not let it within the limit."""

    @abstractmethod
    def leave(self) -> None:
        """Leave the network."""
