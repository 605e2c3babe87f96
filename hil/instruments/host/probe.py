"""The probe on a radio of the host: wpa_supplicant to join with, busybox's DHCP client for an address, in a namespace of its own.

What happens is told by wpa_supplicant's control socket and by the script that the DHCP client calls; each with the time it
came here. Pages go through the endpoint, which leads into that namespace only: hotspots of one and the same address may be
open at once, and the host's own network never changes.
"""

import contextlib
import socket
import time
from dataclasses import asdict
from pathlib import Path

from hil.core.errors import InstrumentGone
from hil.core.moments import Moment
from hil.core.timeline import Expired, Timeline
from hil.instruments.endpoint import ProxyEndpoint
from hil.instruments.host.lease_client import Bound, LeaseClient
from hil.instruments.host.namespace import Namespace
from hil.instruments.host.packets import AddressWatch, OnPacket, PacketEar
from hil.instruments.host.radio_station import RadioStation
from hil.instruments.stations import Details, Exchanged, Lease, Probe

DIAL_S = 5.0
LONGEST = 65536
# Why an attempt failed, by wpa_supplicant's own reports.
WRONG_KEY, NOT_FOUND = "reason=WRONG_KEY", "CTRL-EVENT-NETWORK-NOT-FOUND"


class HostProbe(Probe):
    """The probe of one slot."""

    def __init__(
        self,
        timeline: Timeline,
        interface: str,
        folder: Path,
        *,
        on_dhcp: OnPacket = lambda *_: None,
    ) -> None:
        """Take a radio over; it is silent until it joins. `on_dhcp` is told each DHCP message, and when (monotonic).

        Raises:
            InputError: there is no such radio.
            BenchError: this process may not, or a program is missing.
        """
        super().__init__(timeline)
        self._interface = interface
        folder.mkdir(parents=True, exist_ok=True)
        self.namespace = Namespace([interface])
        self._log = folder / "supplicant.log"
        self._client: LeaseClient | None = None
        with self.namespace.kept():
            self._station = RadioStation(self.namespace, interface, self._log, self._told, self.source)
            self._ear = PacketEar(self.namespace, interface, AddressWatch(on_dhcp).hear)
        self._endpoint = ProxyEndpoint(self._dial, self.source, on_reached=self._reached)

    @property
    def address(self) -> str:
        """Its hardware address."""
        return self.namespace.address_of(self._interface)

    def join(self, name: str, passphrase: str | None, limit_s: float) -> Lease | None:
        """Try until the limit."""
        clock, mark = self._timeline.clock, self._timeline.mark()
        until_s, why = clock.now_s() + limit_s, "no answer in time"
        self._station.select(name.encode(), passphrase)
        while (left_s := until_s - clock.now_s()) > 0.0:
            seen = self._timeline.wait(_tells, limit_s=left_s, awaited=f"the probe's lease on {name!r}", since=mark)
            if isinstance(seen, Expired):
                break
            if seen.kind == "leased":
                return Lease(name, seen.text("ip"), seen.text("router") or seen.text("server"), self._endpoint.url)
            why, mark = seen.text("why"), self._timeline.mark()
        self._ask()  # a failure counts only while the probe is there
        self._rest()
        self._timeline.add(self.source, "join failed", name=name, why=why)
        return None

    def leave(self) -> None:
        """Leave the network and fall silent."""
        self._rest()
        self._timeline.add(self.source, "left")

    def _rest(self) -> None:
        self._station.forget()
        self._end_client()
        self.namespace.flush(self._interface)

    def _told(self, report: str, came_s: float) -> None:
        if report.startswith("CTRL-EVENT-CONNECTED"):
            bssid = _word_after(report, "to")
            self._report("joined", came_s, {"bssid": bssid, "security": self._security_at(bssid)})
            self._ask_for_address()
        elif WRONG_KEY in report:
            self._report("attempt failed", came_s, {"why": "wrong key"})
        elif report.startswith(NOT_FOUND):
            self._report("attempt failed", came_s, {"why": "not found"})

    def _security_at(self, bssid: str) -> str:
        try:
            return self._station.security_at(bssid)
        except InstrumentGone:  # told to whoever asks for its status
            return ""

    def _ask_for_address(self) -> None:
        self._end_client()
        self._client = LeaseClient(self.namespace, self._interface, self._bound)

    def _bound(self, bound: Bound, came_s: float) -> None:
        self._report("leased", came_s, asdict(bound))

    def _end_client(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            client.end()

    def _ask(self) -> Details:
        if not self._station.answers:
            raise InstrumentGone(self.source, "its daemon is gone.", f"Look at {self._log}.")
        return {}

    def _dial(self, host: str, port: int) -> socket.socket:
        return self.namespace.dial(host, port, DIAL_S)

    def _exchange(self, host: str, port: int, octets: bytes, limit_s: float) -> Exchanged:
        """Ask from a port of our own, on which nothing but the answer from there is taken."""
        end = self.namespace.new_socket("datagram")
        with end:
            sent_s, until_s = time.monotonic(), time.monotonic() + self._timeline.clock.real_s(limit_s)
            with contextlib.suppress(OSError):  # no way there, or refused: nothing comes back
                end.connect((host, port))
                end.send(octets)
                if limit_s > 0.0:
                    end.settimeout(max(until_s - time.monotonic(), 0.001))
                    return Exchanged(sent_s, end.recv(LONGEST), time.monotonic())
        if limit_s > 0.0:
            self._ask()  # silence counts only while the probe is there
        return Exchanged(sent_s, None, time.monotonic())

    def close(self) -> None:
        """Give the radio back."""
        self._endpoint.close()
        self._end_client()
        self._station.close()
        self._ear.close()
        self.namespace.close()


def _tells(moment: Moment) -> bool:
    return moment.source == "probe" and moment.kind in ("leased", "attempt failed")


def _word_after(text: str, word: str) -> str:
    words = text.split(" ")
    return words[words.index(word) + 1] if word in words[:-1] else ""
