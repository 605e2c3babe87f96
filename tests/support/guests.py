"""A unit's radio as far as an access point can see it: one of the virtual air, one of the lab."""

import tempfile
from pathlib import Path
from typing import Protocol

from hil.instruments.namespace import Namespace
from hil.instruments.wpa_control import WpaControl
from hil.virtual.air.radio import Radio
from hil.virtual.bench_air import AirThread

LIMIT_S = 20.0
SPEED = {"virtual": 4.0, "lab": 1.0}  # unit seconds a real second, by place
ADDRESS_SCRIPT = """#!/bin/sh
[ "$1" = bound ] && ip address add "$ip/24" dev "$interface"
exit 0
"""


class Guest(Protocol):
    """What the contract has join and leave."""

    address: str

    def join(self, name: str, key: str | None) -> None:
        """Begin to try, and ask for an address once in."""

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
        self._interface, self._folder = interface, folder
        self.namespace = Namespace("unit-1", [interface])
        self.address = self.namespace.order("cat", f"/sys/class/net/{interface}/address").strip()
        self._script = folder / "bound"
        self._script.write_text(ADDRESS_SCRIPT, encoding="ascii")
        self._script.chmod(0o755)
        settings, sockets = folder / "supplicant.conf", Path(tempfile.mkdtemp(prefix="unit-"))
        settings.write_text(f"ctrl_interface={sockets}\n", encoding="ascii")
        self._log = (folder / "supplicant.log").open("ab")
        words = ["wpa_supplicant", "-i", interface, "-D", "nl80211", "-c", str(settings)]
        self._daemons = [self.namespace.start(words, self._log)]
        self._control = WpaControl(sockets / interface, "the unit's radio", self._told, LIMIT_S)

    def join(self, name: str, key: str | None) -> None:
        """Begin to try."""
        for order in ("REMOVE_NETWORK all",):
            self._control.order(order)
        number = self._control.ask("ADD_NETWORK")
        self._control.order(f"SET_NETWORK {number} ssid {name.encode().hex()}")
        self._control.order(f"SET_NETWORK {number} scan_ssid 1")
        secret = f'psk "{key}"' if key is not None else "key_mgmt NONE"
        self._control.order(f"SET_NETWORK {number} {secret}")
        self._control.order(f"SELECT_NETWORK {number}")

    def _told(self, report: str, _came_s: float) -> None:
        if report.startswith("CTRL-EVENT-CONNECTED"):
            words = [
                "busybox",
                "udhcpc",
                "-f",
                "-q",
                "-t",
                "20",
                "-T",
                "1",
                "-i",
                self._interface,
                "-s",
                str(self._script),
            ]
            self._daemons.append(self.namespace.start(words, self._log))

    def leave(self) -> None:
        """Say farewell."""
        self._control.order("DISCONNECT")

    def close(self) -> None:
        """Be gone."""
        self._control.close()
        for daemon in self._daemons:
            daemon.terminate()
            daemon.wait(LIMIT_S)
        self._log.close()
        self.namespace.close()
