"""The virtual board's radio side on the virtual air: station and hotspot, and streams to other stations."""

import asyncio
from ipaddress import IPv4Address, IPv4Network
from typing import Literal

from hil.virtual.air.datagrams import Datagram
from hil.virtual.air.frames import Kind
from hil.virtual.air.radio import FixedAddress, HotspotPlan, Radio, RadioEvent, SeenNetwork
from hil.virtual.board.antenna import Antenna, Doors, Tell, hotspot_address
from hil.virtual.truth import TruthWriter

__all__ = ["AirAntenna"]

Role = Literal["station", "hotspot"]

#: What the firmware is told of each event of its station.
TOLD: dict[str, tuple[str, ...]] = {
    "joined": ("bssid", "channel"),
    "leased": ("ip", "mask", "router"),
    "addressed": ("ip", "mask", "router"),
    "join failed": ("why", "reason"),
    "left": ("reason",),
}


class AirAntenna(Antenna):
    """Two radios, each opened when the firmware first uses it, and silent at once when closed."""

    def __init__(
        self, air_port: int, address: bytes, *, speed: float, seed: int, truth: TruthWriter, tell: Tell
    ) -> None:
        """Prepare the radios of the station `address`; `tell` passes events to the firmware."""
        self._truth, self._tell = truth, tell
        self._radios: dict[Role, Radio] = {
            "station": Radio(
                air_port,
                address,
                speed=speed,
                on_event=self._on_station_event,
                seed=seed,
                on_sent=self._book_search,
                on_datagram=self._take_datagram,
            ),
            "hotspot": Radio(
                air_port,
                hotspot_address(address),
                speed=speed,
                on_event=self._on_hotspot_event,
                seed=seed + 1,
                on_sent=self._book_first_beacon,
                on_datagram=self._take_datagram,
            ),
        }
        self._beacon_sent = False
        self._open: set[Role] = set()
        self._turn = asyncio.Lock()
        self._services: dict[int, int] = {}
        self._bound: set[int] = set()
        self._own_ip: dict[Role, str] = {}
        self._hosting = False
        self._doors = Doors()

    @property
    def active(self) -> bool:
        """Whether a radio is powered."""
        return bool(self._open)

    @property
    def signal_dbm(self) -> int | None:
        """Signal of the joined network."""
        return self._radios["station"].signal_dbm

    @property
    def guests(self) -> int:
        """How many stations are on the hotspot."""
        return len(self._radios["hotspot"].members)

    async def scan(self) -> list[SeenNetwork]:
        """Scan all channels."""
        return await (await self._opened("station")).scan()

    async def join(
        self, ssid: bytes, passphrase: bytes | None, fixed: FixedAddress | None = None, bssid: bytes | None = None
    ) -> None:
        """Begin to join a network, with a fixed address or for a lease; events say how it goes.

        With a `bssid` it is that access point and no other.
        """
        self._truth("joining", ssid=ssid.hex())
        await (await self._opened("station")).join(ssid, passphrase, fixed, bssid=bssid)

    async def leave(self) -> None:
        """Leave the network or drop the attempt."""
        if "station" in self._open:
            await self._radios["station"].leave()

    async def host(self, plan: HotspotPlan) -> None:
        """Put the hotspot on the air."""
        radio = await self._opened("hotspot")
        self._beacon_sent = False
        await radio.host(plan)
        self._own_ip["hotspot"] = plan.ip
        self._hosting = True
        self._truth("hotspot up", ssid=plan.ssid.hex(), channel=plan.channel)

    async def unhost(self) -> None:
        """Take the hotspot off the air."""
        if self._hosting:
            await self._radios["hotspot"].unhost()
            self._hotspot_is_down()

    def listen(self, port: int, local_port: int) -> None:
        """Offer a service in both networks."""
        self._services[port] = local_port
        for role in self._open:
            self._radios[role].listen(port, local_port)

    def bind(self, port: int) -> None:
        """Have datagrams to a port of ours told to the firmware."""
        self._bound.add(port)

    def send_datagram(self, port: int, ip: str, to_port: int, payload: bytes) -> None:
        """Send a datagram from a port of ours, by the network whose address is ours; without one it is lost."""
        for role, own_ip in self._own_ip.items():
            if role in self._open and IPv4Address(ip) in IPv4Network(f"{own_ip}/24", strict=False):
                self._radios[role].send_datagram(Datagram(own_ip, port, ip, to_port, payload))
                return

    async def dial(self, ip: str, port: int) -> int:
        """Open a stream to another station; return the local port at which the firmware gets it, once.

        Raises:
            Refused: no such service there.
            Silent: nobody there.
        """
        return await self._doors.lead_to(await (await self._opened("station")).dial(ip, port))

    async def close(self) -> None:
        """Fall silent, with no farewell."""
        for role in tuple(self._open):
            await self._radios[role].close()
        self._open.clear()
        if self._hosting:
            self._hotspot_is_down()
        await self._doors.close()

    async def _opened(self, role: Role) -> Radio:
        radio = self._radios[role]
        async with self._turn:
            if role not in self._open:
                await radio.open()
                self._open.add(role)
                for port, local_port in self._services.items():
                    radio.listen(port, local_port)
        return radio

    def _on_station_event(self, event: RadioEvent) -> None:
        if event.kind in ("joined", "leased", "addressed"):
            self._truth(event.kind, **_plain(event))
        if event.kind in TOLD:
            plain = _plain(event)
            self._tell({"event": event.kind, **{key: plain.get(key) for key in TOLD[event.kind]}})
        if "ip" in event.data:
            self._own_ip["station"] = str(event.data["ip"])

    def _on_hotspot_event(self, event: RadioEvent) -> None:
        self._truth(f"hotspot: {event.kind}", **_plain(event))

    def _take_datagram(self, datagram: Datagram) -> None:
        if datagram.target_port in self._bound:
            source = {"from": datagram.source, "from_port": datagram.source_port}
            self._tell({"datagram": datagram.payload.hex(), "port": datagram.target_port, **source})

    def _book_search(self, frame: bytes, sent_s: float) -> None:
        if frame[0] == Kind.PROBE_REQUEST:
            self._truth("seeks", t=sent_s)

    def _book_first_beacon(self, frame: bytes, sent_s: float) -> None:
        if frame[0] == Kind.BEACON and not self._beacon_sent:
            self._beacon_sent = True
            self._truth("first beacon", t=sent_s)

    def _hotspot_is_down(self) -> None:
        self._hosting = False
        self._truth("hotspot down")


def _plain(event: RadioEvent) -> dict[str, object]:
    """Return an event's data as JSON can carry it: bytes as hex digits."""
    return {key: value.hex() if isinstance(value, bytes) else value for key, value in event.data.items()}
