"""The access point on the host's own radios: hostapd for the networks, dnsmasq for the addresses, in a namespace of their own.

All radios are bridged, so that a unit may go from one to another and keep its address. What happens is told by hostapd's
control socket, by what dnsmasq logs of DHCP, and by the bridge itself (ARP); each with the time it came here.
"""

import re
import shutil
import socket
import subprocess
import tempfile
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from hil.core.errors import BenchError, InputError, InstrumentGone
from hil.core.timeline import Timeline
from hil.instruments.endpoint import ProxyEndpoint
from hil.instruments.namespace import Namespace, end_program
from hil.instruments.stations import AccessPoint, Details, Lease, NetworkPlan, SpareAddress
from hil.instruments.wpa_control import WpaControl

ADDRESS, PREFIX = "198.51.100.1", 24  # RFC 5737, TEST-NET-2: in the namespace only
FIRST_LEASE, LAST_LEASE, SPARE = "198.51.100.10", "198.51.100.200", "198.51.100.240"
NETMASK = "255.255.255.0"
BRIDGE = "hil-br"
COUNTRY = re.compile(r"[A-Z]{2}")
START_S = 20.0  # with a country set the kernel first waits for its rules; seen: 7 s
DIAL_S = 5.0

OF_A_MEMBER = {
    "AP-STA-CONNECTED": "joined",
    "AP-STA-DISCONNECTED": "left",
    "AP-STA-POSSIBLE-PSK-MISMATCH": "wrong key",
}
# What dnsmasq logs of DHCP: `DHCPACK(hil-br) 198.51.100.10 02:00:00:00:05:00 name`.
DHCP = re.compile(r"(DHCP[A-Z]+)\(\S+\) (?:(\d+\.\d+\.\d+\.\d+) )?([0-9a-f]{2}(?::[0-9a-f]{2}){5})")
ASKED, GIVEN = ("DHCPDISCOVER", "DHCPREQUEST"), "DHCPACK"


@dataclass(frozen=True)
class _Radio:
    """One radio while it offers a network: its daemon and the way to it."""

    process: "subprocess.Popen[bytes]"
    control: WpaControl


class HostAccessPoint(AccessPoint):
    """The access point of one slot."""

    def __init__(
        self, timeline: Timeline, interfaces: Sequence[str], country: str, folder: Path, *, name: str = "hil-ap-1"
    ) -> None:
        """Take the radios over; none is on the air yet.

        Args:
            timeline: Where to book what happens.
            interfaces: The radios, by their interfaces: the first two are for the unit's networks.
            country: Two letters (ISO 3166-1) of where the bench stands: the rules of its radio law hold.
            folder: Where the daemons' settings and logs are kept.
            name: Of the namespace.

        Raises:
            InputError: no country, or no such radio.
            BenchError: this process may not, or a program is missing.
        """
        if not COUNTRY.fullmatch(country):
            remedy = 'Say where the bench stands, such as country = "DE": no access point starts without.'
            raise InputError("access point: country", f"{country!r} is no country code.", remedy)
        super().__init__(timeline)
        self._interfaces, self._country, self._folder = list(interfaces), country, folder
        self._radios: dict[int, _Radio] = {}
        self._radio_of: dict[str, int] = {}  # by a member's address
        self._leases: subprocess.Popen[bytes] | None = None
        folder.mkdir(parents=True, exist_ok=True)
        self.namespace = Namespace(name, self._interfaces)
        # Paths of sockets must be short, and on a file system that has some: not in the run folder.
        self._sockets = Path(tempfile.mkdtemp(prefix="hil-"))
        self.namespace.order("ip", "link", "add", BRIDGE, "type", "bridge")
        self.namespace.order("ip", "address", "add", f"{ADDRESS}/{PREFIX}", "dev", BRIDGE)
        self.namespace.order("ip", "link", "set", BRIDGE, "up")
        self._endpoint = ProxyEndpoint(self._dial, self.source, on_reached=self._reached)

    def _go_up(self, plan: NetworkPlan, radio: int) -> str:
        if plan.refuses_leases or plan.weaker_by_db:
            raise BenchError(self.source, "this one cannot refuse a lease, nor send more weakly.")
        interface, enabled = self._interfaces[radio], threading.Event()
        settings, log = self._folder / f"{interface}.conf", self._folder / f"{interface}.log"
        settings.write_text(self._settings(plan, interface), encoding="utf-8")
        with log.open("ab") as said:
            process = self.namespace.start(["hostapd", str(settings)], said)

        def on_report(report: str, came_s: float) -> None:
            if report.startswith("AP-ENABLED"):
                enabled.set()
            self._told(radio, report, came_s)

        try:
            control = WpaControl(self._sockets / interface, f"{self.source} ({interface})", on_report, START_S)
        except InstrumentGone:
            end_program(process)
            raise
        self._radios[radio] = _Radio(process, control)
        if "state=ENABLED" not in control.ask("STATUS") and not enabled.wait(START_S):
            self._go_down(radio)
            raise InstrumentGone(self.source, f"{interface} is not on the air within {START_S:g} s.", f"Look at {log}.")
        self._lease(plan)
        return self.namespace.order("cat", f"/sys/class/net/{interface}/address").strip()

    def _go_down(self, radio: int) -> None:
        gone = self._radios.pop(radio)
        # Taken down by the kernel first: hostapd would say farewell to its members.
        self.namespace.order("ip", "link", "set", self._interfaces[radio], "down")
        gone.control.close()
        end_program(gone.process)

    def _settings(self, plan: NetworkPlan, interface: str) -> str:
        lines = {
            "interface": interface,
            "bridge": BRIDGE,
            "driver": "nl80211",
            "ctrl_interface": str(self._sockets),
            "country_code": self._country,
            "ieee80211d": "1",
            "ssid2": plan.name.encode().hex(),
            "hw_mode": "g",
            "channel": str(plan.channel),
            "ignore_broadcast_ssid": "1" if plan.hidden else "0",
        }
        if plan.passphrase is not None:
            is_key = len(plan.passphrase) == 64
            lines |= {"wpa": "2", "wpa_key_mgmt": "WPA-PSK", "rsn_pairwise": "CCMP"}
            lines["wpa_psk" if is_key else "wpa_passphrase"] = plan.passphrase
        return "".join(f"{name}={value}\n" for name, value in lines.items())

    def _lease(self, plan: NetworkPlan) -> None:
        """Have addresses given as a plan says, from now on."""
        if self._leases is not None:
            end_program(self._leases)
            self._leases = None
        if plan.lease_delay_s is None:
            return
        words = [
            *("dnsmasq", "--keep-in-foreground", "--conf-file=/dev/null", "--no-resolv", "--no-hosts", "--port=0"),
            *(f"--interface={BRIDGE}", "--bind-interfaces", "--dhcp-authoritative", "--no-ping", "--log-dhcp"),
            *("--log-facility=-", f"--dhcp-leasefile={self._folder / 'leases'}", "--user=root"),
            f"--dhcp-range={FIRST_LEASE},{LAST_LEASE},{NETMASK},1h",
        ]
        if plan.lease_delay_s:
            words.append(f"--dhcp-reply-delay={round(plan.lease_delay_s)}")
        self._leases = self.namespace.start(words, subprocess.PIPE)
        threading.Thread(target=self._follow_leases, args=(self._leases,), name="leases", daemon=True).start()

    def _follow_leases(self, process: "subprocess.Popen[bytes]") -> None:
        assert process.stdout is not None
        with process.stdout, (self._folder / "leases.log").open("ab") as log:
            for line in process.stdout:
                came_s = time.monotonic()
                log.write(line)
                found = DHCP.search(line.decode("utf-8", "backslashreplace"))
                if found:
                    self._told_of_lease(found[1], found[2] or "", found[3], came_s)

    def _told_of_lease(self, message: str, ip: str, address: str, came_s: float) -> None:
        details = {"address": address, "bssid": self._bssid_of(address)}
        if message in ASKED:
            self._report("lease asked", came_s, {**details, "message": message.removeprefix("DHCP").lower()})
        elif message == GIVEN:
            self._report("leased", came_s, {**details, "ip": ip})

    def _told(self, radio: int, report: str, came_s: float) -> None:
        name, _, rest = report.partition(" ")
        kind = OF_A_MEMBER.get(name)
        if kind is None:
            return
        address = rest.split(" ")[0].lower()
        if kind == "joined":
            self._radio_of[address] = radio
        if kind == "left":
            self._radio_of.pop(address, None)
        self._report(kind, came_s, {"address": address, "bssid": self._bssids[radio]})

    def _bssid_of(self, address: str) -> str:
        return self._bssids[self._radio_of.get(address, 0)]

    def _ask(self) -> Details:
        for number, radio in self._radios.items():
            if radio.process.poll() is not None or radio.control.ask("PING") != "PONG":
                raise InstrumentGone(self.source, f"its daemon on {self._interfaces[number]} is gone.")
        return {"members": len(self._radio_of), "network": self.network}

    def _dial(self, host: str, port: int) -> socket.socket:
        return self.namespace.dial(host, port, DIAL_S)

    def lease_of_bench(self) -> Lease:
        """The bench stands in its own network."""
        return Lease(self.network, ADDRESS, ADDRESS, self._endpoint.url)

    def spare_address(self) -> SpareAddress:
        """One above those that are leased."""
        return SpareAddress(SPARE, NETMASK, ADDRESS)

    def close(self) -> None:
        """Take all off the air, and give the radios back."""
        self._endpoint.close()
        self.down()
        if self._leases is not None:
            end_program(self._leases)
        self.namespace.close()
        shutil.rmtree(self._sockets, ignore_errors=True)
