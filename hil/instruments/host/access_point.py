"""The access point on the host's own radios: hostapd for the networks, dnsmasq for the addresses, in a namespace of their own.

All radios are bridged, so that a unit may go from one to another and keep its address. What happens is told by hostapd's
control socket, and of addresses by the packets on the bridge (DHCP, ARP); each with the time it came here.
"""

import re
import secrets
import socket
from collections.abc import Mapping, Sequence
from pathlib import Path

from hil.core.errors import BenchError, InputError, InstrumentGone
from hil.core.timeline import Timeline
from hil.instruments.dhcp_messages import read_dhcp
from hil.instruments.endpoint import ProxyEndpoint
from hil.instruments.host.lease_server import LeaseServer, RefusingServer
from hil.instruments.host.namespace import Namespace
from hil.instruments.host.packets import AddressWatch, OnPacket, PacketEar
from hil.instruments.host.radio_network import OnReport, RadioNetwork, settings_of
from hil.instruments.keeper.room import BRIDGE
from hil.instruments.network_plan import NetworkPlan
from hil.instruments.stations import AccessPoint, Details, Lease, SpareAddress

ADDRESS, PREFIX = "198.51.100.1", 24  # RFC 5737, TEST-NET-2: in the namespace only
FIRST_LEASE, LAST_LEASE, SPARE = "198.51.100.10", "198.51.100.200", "198.51.100.240"
NETMASK = "255.255.255.0"
COUNTRY = re.compile(r"[A-Z]{2}")
DIAL_S = 5.0

OF_A_MEMBER = {
    "AP-STA-CONNECTED": "joined",
    "AP-STA-DISCONNECTED": "left",
    "AP-STA-POSSIBLE-PSK-MISMATCH": "wrong key",
}
ASKED, GIVEN = ("discover", "request"), "ack"


class HostAccessPoint(AccessPoint):
    """The access point of one slot."""

    def __init__(
        self,
        timeline: Timeline,
        interfaces: Sequence[str],
        country: str,
        folder: Path,
        *,
        control: str | None = None,
        on_dhcp: OnPacket = lambda *_: None,
    ) -> None:
        """Take the radios over; none is on the air yet.

        Args:
            timeline: Where to book what happens.
            interfaces: The radios of the unit's networks, by their interfaces.
            country: Two letters (ISO 3166-1) of where the bench stands: the rules of its radio law hold.
            folder: Where the daemons' settings and logs are kept.
            control: The radio of the control network.
            on_dhcp: Told each DHCP message in its networks, and when (monotonic).

        Raises:
            InputError: no country, or no such radio.
            BenchError: this process may not, or a program is missing.
        """
        if not COUNTRY.fullmatch(country):
            remedy = 'Say where the bench stands, such as country = "DE": no access point starts without.'
            raise InputError("access point: country", f"{country!r} is no country code.", remedy)
        super().__init__(timeline)
        self._interfaces, self._country, self._folder = list(interfaces), country, folder
        self._networks: dict[int, RadioNetwork] = {}
        self._radio_of: dict[str, int] = {}  # by a member's address
        self._impaired: set[str] = set()
        self._leases: LeaseServer | RefusingServer | None = None
        self._on_dhcp = on_dhcp
        folder.mkdir(parents=True, exist_ok=True)
        self._control_interface = control
        self._control_network: RadioNetwork | None = None
        self.namespace = Namespace([*self._interfaces, *([control] if control else [])])
        with self.namespace.kept():
            self.namespace.make_bridge(f"{ADDRESS}/{PREFIX}")
            self._ear = PacketEar(self.namespace, BRIDGE, AddressWatch(self._hear_dhcp, self._announced).hear)
        self._endpoint = ProxyEndpoint(self._dial, self.source, on_reached=self._reached)

    @property
    def addresses(self) -> list[str]:
        """The hardware addresses of all its radios."""
        control = self._control_interface
        return [self.namespace.address_of(name) for name in (*self._interfaces, *([control] if control else []))]

    def start_control(self, name: str, channel: int) -> None:
        """Put the control network on the air, until the end, with a key that nobody knows.

        Raises:
            BenchError: there is no radio for it, or it does not come on the air.
        """
        if self._control_interface is None:
            raise BenchError(self.source, "it has no radio for the control network.")
        settings = settings_of(name.encode(), secrets.token_hex(16), channel, country=self._country)
        self._control_network = self._on_air(self._control_interface, settings, lambda *_: None)

    def _go_up(self, plan: NetworkPlan, radio: int) -> str:
        if plan.weaker_by_db:
            raise InstrumentGone(self.source, "this one cannot send so much more weakly.")
        if radio >= len(self._interfaces):
            raise InstrumentGone(self.source, "it has too few radios.", "Name another in access_point.radios.")
        interface = self._interfaces[radio]
        settings = settings_of(
            plan.name.encode(),
            plan.passphrase,
            plan.channel,
            hidden=plan.hidden,
            country=self._country,
            key_management=plan.key_management,
            protected_frames=plan.protection,
            mode=plan.mode,
        )
        self._networks[radio] = self._on_air(
            interface, {**settings, "bridged": True}, lambda report, came_s: self._told(radio, report, came_s)
        )
        self._impair(interface, plan)
        self._lease(plan)
        return self.namespace.address_of(interface)

    def _on_air(self, interface: str, settings: Mapping[str, object], on_report: OnReport) -> RadioNetwork:
        return RadioNetwork(self.namespace, interface, settings, self._folder, on_report, self.source)

    def _go_down(self, radio: int) -> None:
        self._networks.pop(radio).silence()

    def _impair(self, interface: str, plan: NetworkPlan) -> None:
        """Have what a radio brings to its members delayed and lost as a plan says, by the kernel's netem."""
        is_wanted = bool(plan.delay_s or plan.loss)
        if not is_wanted and interface not in self._impaired:
            return
        try:
            self.namespace.impair(interface, plan.delay_s, plan.loss)
        except BenchError as error:
            remedy = "It takes tc of iproute2, and sch_netem of the kernel."
            raise InstrumentGone(self.source, f"it can neither delay nor lose: {error.problem}", remedy) from error
        self._impaired = self._impaired | {interface} if is_wanted else self._impaired - {interface}

    def _lease(self, plan: NetworkPlan) -> None:
        """Have addresses given as a plan says, from now on."""
        self._end_leases()
        if plan.lease_delay_s is None:
            return
        if plan.refuses_leases:
            self._leases = RefusingServer(self.namespace, BRIDGE, ADDRESS, FIRST_LEASE, NETMASK)
            return
        addresses = (FIRST_LEASE, LAST_LEASE, NETMASK)
        self._leases = LeaseServer(
            self.namespace, BRIDGE, addresses, self._folder, delay_s=plan.lease_delay_s, lease_s=plan.lease_s
        )

    def _end_leases(self) -> None:
        leases, self._leases = self._leases, None  # who asks meanwhile is not to find one that has ended
        if leases is not None:
            leases.end()

    def _hear_dhcp(self, octets: bytes, came_s: float) -> None:
        self._on_dhcp(octets, came_s)
        message = read_dhcp(octets)
        if message is None:
            return
        details = {"address": message.address, "bssid": self._bssid_of(message.address)}
        if message.kind in ASKED:
            self._report("lease asked", came_s, {**details, "message": message.kind})
        elif message.kind == GIVEN:
            self._report("leased", came_s, {**details, "ip": message.ip})

    def _announced(self, address: str, ip: str, came_s: float) -> None:
        self._report("announced", came_s, {"address": address, "ip": ip, "bssid": self._bssid_of(address)})

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
        for network in self._on_the_air():
            if not network.answers and network in self._on_the_air():  # it was not taken off meanwhile
                raise InstrumentGone(self.source, f"its daemon on {network.interface} is gone.")
        leases = self._leases
        if leases is not None and not leases.running and leases is self._leases:
            raise InstrumentGone(self.source, "its DHCP server is gone.", f"Look at {self._folder / 'leases.log'}.")
        return {"members": len(self._radio_of), "network": self.network}

    def _on_the_air(self) -> list[RadioNetwork]:
        control = self._control_network
        return [*self._networks.values(), *([control] if control is not None else [])]

    def _dial(self, host: str, port: int) -> socket.socket:
        return self.namespace.dial(host, port, DIAL_S)

    def _listen(self, port: int) -> socket.socket:
        return self.namespace.listen(ADDRESS, port)

    def lease_of_bench(self) -> Lease:
        """The bench stands in its own network."""
        return Lease(self.network, ADDRESS, ADDRESS, self._endpoint.url)

    def spare_address(self) -> SpareAddress:
        """One above those that are leased."""
        return SpareAddress(SPARE, NETMASK, ADDRESS)

    def close(self) -> None:
        """Take all off the air, and give the radios back."""
        self._endpoint.close()
        self.take_no_reports()
        self.down()
        if self._control_network is not None:
            self._control_network.silence()
        self._end_leases()
        self._ear.close()
        self.namespace.close()
