"""A unit's radio as far as an access point can see it: one of the virtual air, one of the lab."""

import errno
import socket
import time
from pathlib import Path
from typing import Protocol

from hil.instruments.host.lease_client import LeaseClient
from hil.instruments.host.namespace import Namespace
from hil.instruments.host.radio_station import RadioStation
from hil.instruments.network_plan import KeyManagement
from hil.virtual.air.radio import Radio
from hil.virtual.bench_air import AirThread

LIMIT_S = 20.0
SPEED = {"virtual": 4.0, "lab": 1.0, "desk": 1.0}  # unit seconds a real second, by place


class Guest(Protocol):
    """What the contract has join and leave."""

    address: str

    def join(self, name: str, key: str | None) -> None:
        """Begin to try, and ask for an address once in."""

    def dial(self, host: str, port: int) -> socket.socket:
        """Connect to somebody in the network, who may refuse."""

    def leave(self) -> None:
        """Say farewell."""

    def close(self) -> None:
        """Be gone."""


class VirtualGuest:
    """On the virtual air."""

    def __init__(self, air: AirThread, port: int, address: bytes, speed: float) -> None:
        """Switch the radio on."""
        self.address = address.hex(":")
        self._air = air
        self._radio = Radio(port, address, speed=speed, on_event=lambda _event: None)
        air.run(self._radio.open())

    def join(self, name: str, key: str | None) -> None:
        """Begin to try."""
        self._air.run(self._radio.join(name.encode(), None if key is None else key.encode()))

    def dial(self, host: str, port: int) -> socket.socket:
        """Connect by the radio."""
        return self._air.dial(self._radio, host, port)

    def leave(self) -> None:
        """Say farewell."""
        self._air.run(self._radio.leave())

    def close(self) -> None:
        """Be gone."""
        self._air.run(self._radio.close())


class HostGuest:
    """wpa_supplicant and busybox's DHCP client on a radio of this machine, in a namespace of its own."""

    def __init__(self, interface: str, folder: Path) -> None:
        """Take the radio over."""
        folder.mkdir(parents=True, exist_ok=True)
        self._interface = interface
        self.namespace = Namespace([interface])
        self.address = self.namespace.address_of(interface)
        self.knows: KeyManagement = "wpa2"  # as on the virtual air
        self._clients: list[LeaseClient] = []
        self._station = RadioStation(
            self.namespace, interface, folder / "supplicant.log", self._told, "the unit's radio"
        )

    def join(self, name: str, key: str | None) -> None:
        """Begin to try."""
        self._station.select(name.encode(), key, knows=self.knows)

    def _told(self, report: str, _came_s: float) -> None:
        if report.startswith("CTRL-EVENT-CONNECTED"):
            self._clients.append(LeaseClient(self.namespace, self._interface, lambda *_: None))

    def dial(self, host: str, port: int) -> socket.socket:
        """Connect from the namespace, once the DHCP client has set the address that it was given."""
        until_s = time.monotonic() + LIMIT_S
        while True:
            try:
                return self.namespace.dial(host, port, LIMIT_S)
            except OSError as error:
                if error.errno != errno.ENETUNREACH or time.monotonic() > until_s:
                    raise
            time.sleep(0.05)

    def leave(self) -> None:
        """Say farewell."""
        self._station.forget()

    def close(self) -> None:
        """Be gone."""
        for client in self._clients:
            client.end()
        self._station.close()
        self.namespace.close()
