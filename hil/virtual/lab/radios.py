"""The unit's two radios in the lab: simulated ones of the kernel, in a namespace that is the unit's own.

wpa_supplicant runs on the station for as long as the unit is there; hostapd on the other while the firmware wants a hotspot.
A unit without supply says no farewell: its radios are put where no other radio hears them (the simulation's groups).
"""

import socket
import subprocess
from collections.abc import Callable, Sequence
from pathlib import Path

from hil.core.errors import BenchError
from hil.instruments.host.lease_client import Bound, LeaseClient
from hil.instruments.host.lease_server import LeaseServer
from hil.instruments.host.namespace import Namespace
from hil.instruments.host.radio_network import RadioNetwork, settings_of
from hil.instruments.host.radio_station import RadioStation
from hil.virtual.air.radio import FixedAddress, HotspotPlan

ORDER_S = 10.0
GROUPS = "/sys/kernel/debug/ieee80211/{phy}/hwsim/group"
EVERYBODY, NOBODY = "1", "2"
PREFIX = 24
LEASED = (10, 200)

OnReport = Callable[[str, float], None]


class UnitRadios:
    """Station and hotspot. All methods block for as long as the daemons take; they are for one thread at a time."""

    def __init__(self, station: str, hotspot: str, addresses: tuple[bytes, bytes], folder: Path) -> None:
        """Take two radios over, by their interfaces, and give them these addresses of 6 octets; both are silent.

        Raises:
            InputError: there is no such radio.
            BenchError: a daemon does not start.
        """
        self._interface, self._hotspot, self._folder = station, hotspot, folder
        folder.mkdir(parents=True, exist_ok=True)
        phys = [Path(f"/sys/class/net/{name}/phy80211/name").read_text().strip() for name in (station, hotspot)]
        self._groups = [Path(GROUPS.format(phy=phy)) for phy in phys]
        self.namespace = Namespace([station, hotspot])
        for interface, address in zip((station, hotspot), addresses, strict=True):
            self._order("ip", "link", "set", interface, "down")
            self._order("ip", "link", "set", interface, "address", address.hex(":"))
        self.silence()
        self.on_report: OnReport = lambda *_: None
        self.station = RadioStation(self.namespace, station, folder / "supplicant.log", self._told, "the unit's radio")
        self._client: LeaseClient | None = None
        self._network: RadioNetwork | None = None
        self._server: LeaseServer | None = None

    def silence(self) -> None:
        """Neither heard nor hearing, at once."""
        self._join_group(NOBODY)

    def wake(self) -> None:
        """Heard by all, and hearing them."""
        self._join_group(EVERYBODY)

    def select(self, ssid: bytes, passphrase: bytes | None, bssid: bytes | None) -> None:
        """Begin to join a network."""
        self.leave()
        key = passphrase.decode() if passphrase else None
        self.station.select(ssid, key, bssid.hex(":") if bssid else "", knows="wpa2")  # as the virtual board's radio

    def ask_for_address(self, on_bound: Callable[[Bound, float], None]) -> None:
        """Ask for one on the station's network."""
        self._end_client()
        self._client = LeaseClient(self.namespace, self._interface, on_bound)

    def hold_address(self, fixed: FixedAddress) -> None:
        """Have a fixed one on the station's network, and announce it (RFC 5227, 2.3)."""
        place = ("dev", self._interface)
        self._order("ip", "address", "replace", f"{fixed.ip}/{fixed.mask}", *place)
        self._order("ip", "route", "replace", "default", "via", fixed.router, *place)
        words = ["busybox", "arping", "-U", "-c", "2", "-I", self._interface, fixed.ip]
        subprocess.Popen(self._here(words), stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL)

    def leave(self) -> None:
        """Leave the network, or drop the attempt."""
        self.station.forget()
        self._end_client()
        self._flush(self._interface)

    def host(self, plan: HotspotPlan, on_report: OnReport) -> None:
        """Put the hotspot on the air, with its addresses."""
        key = plan.passphrase.decode() if plan.passphrase else None
        settings = settings_of(plan.ssid, key, plan.channel, hidden=plan.hidden)
        self._network = RadioNetwork(self.namespace, self._hotspot, settings, self._folder, on_report, "the unit")
        self._order("ip", "address", "replace", f"{plan.ip}/{PREFIX}", "dev", self._hotspot)
        if plan.lease_delay_s is None:
            return
        net = plan.ip.rpartition(".")[0]
        addresses = (f"{net}.{LEASED[0]}", f"{net}.{LEASED[1]}", "255.255.255.0")
        server = plan.ip if plan.tells_name_server else ""
        self._server = LeaseServer(
            self.namespace, self._hotspot, addresses, self._folder, delay_s=plan.lease_delay_s, name_server=server
        )

    def unhost(self) -> None:
        """Take the hotspot off the air."""
        network, server, self._network, self._server = self._network, self._server, None, None
        if network is not None:
            network.end()
            self._flush(self._hotspot)
        if server is not None:
            server.end()

    def socket(self, kind: socket.SocketKind, port: int = 0) -> socket.socket:
        """A socket on all addresses of the unit, not blocking; with port 0 on none yet."""
        end = self.namespace.new_socket("stream" if kind is socket.SOCK_STREAM else "datagram")
        end.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if port:
            end.bind(("0.0.0.0", port))
        end.setblocking(False)
        return end

    def close(self) -> None:
        """Give the radios back."""
        self.silence()
        self.unhost()
        self._end_client()
        self.station.close()
        self.namespace.close()

    def _told(self, report: str, came_s: float) -> None:
        self.on_report(report, came_s)

    def _join_group(self, number: str) -> None:
        for group in self._groups:
            group.write_text(number, encoding="ascii")

    def _end_client(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            client.end()

    def _flush(self, interface: str) -> None:
        self.namespace.flush(interface)

    def _order(self, *words: str) -> None:
        """What only the lab's unit does in its namespace, and no keeper of a desk: the lab is root's."""
        done = subprocess.run(self._here(words), capture_output=True, text=True, timeout=ORDER_S, check=False)
        if done.returncode:
            raise BenchError("the unit's radios", f"`{' '.join(words)}` failed: {done.stderr.strip()}.")

    def _here(self, words: Sequence[str]) -> list[str]:
        return ["nsenter", f"--net={self.namespace.path}", *words]
