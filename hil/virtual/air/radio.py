"""A radio in the virtual air: one station, able to host a hotspot and to join one, by asyncio."""

import asyncio
import json
import random
from collections.abc import Callable

from hil.virtual.air import frames
from hil.virtual.air.air_link import (
    ARP,
    DATAGRAM,
    DHCP,
    FRAME,
    FRAME_HEAD,
    ORDER,
    STAMP,
    WELCOME_LIMIT_S,
    AirLink,
    StationLink,
    read_order,
)
from hil.virtual.air.air_streams import ACCEPTED, REFUSED
from hil.virtual.air.datagrams import Datagram, parse
from hil.virtual.air.frames import Kind
from hil.virtual.air.hotspot import Hotspot
from hil.virtual.air.radio_records import (
    FixedAddress,
    HotspotPlan,
    OnEvent,
    RadioEvent,
    Refused,
    SeenNetwork,
    Silent,
    Value,
    check_ssid,
)
from hil.virtual.air.station import Station

__all__ = ["FixedAddress", "HotspotPlan", "Radio", "RadioEvent", "Refused", "SeenNetwork", "Silent"]

_STATUS_MARGIN_S = 1.0
"""Real seconds more than a dial's limit that the air gets to say so itself."""


class Radio:
    """One station of the air. Both roles may be on at once; all methods belong to one asyncio loop."""

    def __init__(
        self,
        air_port: int,
        address: bytes,
        *,
        speed: float,
        on_event: OnEvent,
        seed: int = 0,
        on_sent: Callable[[bytes, float], None] = lambda *_: None,
        on_datagram: Callable[[Datagram], None] = lambda _: None,
    ) -> None:
        """Prepare a radio of that 6-octet address.

        `speed` is unit seconds per real second; `seed` and the address make its random numbers (nonces, lease waits).
        `on_event` is called in the loop, and `on_sent` there with each frame that went out and when, and `on_datagram`
        with each datagram that came; they must not block.
        """
        if len(address) != 6:
            raise ValueError(f"address {address.hex()} has {len(address)} octets, not 6.")
        self._on_event, self._on_sent, self._on_datagram = on_event, on_sent, on_datagram
        self._speed, self._address = speed, address
        self._rng = random.Random(f"{seed} {address.hex()}")
        self._link = AirLink(air_port, {"hello": "station", "address": address.hex()}, self._take)
        self._services: dict[int, int] = {}
        self._stream_port = 0
        self._echoed = asyncio.Event()
        self._begin_anew()

    def _begin_anew(self) -> None:
        self._station_link = StationLink(self._link, self._address, self._speed, self._on_sent)
        self._station = Station(self._station_link, self._emit, self._rng)
        self._hotspot: Hotspot | None = None

    async def open(self) -> None:
        """Power the radio: connect to the air, in place of another radio of this address. Opens again after close().

        Raises:
            OSError: no air at that port.
            TimeoutError: the air does not answer.
        """
        if self._link.connected:
            return
        await self.close()
        welcome = await self._link.open()
        self._stream_port = int(str(welcome["streams"]))
        for port, local_port in self._services.items():
            self.listen(port, local_port)

    async def close(self) -> None:
        """Fall silent at once, with no farewell frame, as in a power cut; services are remembered."""
        self._station_link.retire()
        self._station.stop()
        if self._hotspot is not None:
            self._hotspot.stop(farewell=False)
        self._begin_anew()
        await self._link.close()

    async def host(self, plan: HotspotPlan) -> None:
        """Start the access point role, in place of an older plan (whose members get a farewell)."""
        await self.unhost()
        self._hotspot = Hotspot(plan, self._station_link, self._emit, self._rng)
        self._hotspot.start()

    async def unhost(self, *, farewell: bool = True) -> None:
        """End the access point role; with a farewell: a broadcast deauthentication, reason 3."""
        if self._hotspot is not None:
            self._hotspot.stop(farewell=farewell)
            self._hotspot = None

    async def join(
        self, ssid: bytes, passphrase: bytes | None, fixed: FixedAddress | None = None, *, bssid: bytes | None = None
    ) -> None:
        """Begin one attempt in the background; an older attempt or network is left first.

        Of several networks of that name the strongest is joined, with a passphrase the strongest secured one; with a
        `bssid` that one and no other.

        It ends in the events "joined" then "leased", or in "join failed"; with a fixed address "addressed" takes the
        place of "leased", and nobody is asked for a lease.

        Raises:
            ValueError: the SSID has over 32 octets.
        """
        check_ssid(ssid)
        self._station.join(ssid, passphrase, fixed, bssid)

    async def leave(self) -> None:
        """Deauthenticate (reason 3) and forget the network; no event, an attempt under way is dropped."""
        self._station.leave()

    async def scan(self) -> list[SeenNetwork]:
        """Scan channels 1 to 13 and return the networks heard, strongest first."""
        return await self._station.scan()

    async def echo(self) -> None:
        """Ask the air for a sign of life and wait for it: the way every message of the air takes.

        Raises:
            OSError: the air is gone or does not answer.
        """
        if not self._link.connected:
            raise OSError("the radio is gone from the air")
        self._echoed.clear()
        self._link.send_order({"echo": True})
        try:
            async with asyncio.timeout(WELCOME_LIMIT_S):
                await self._echoed.wait()
        except TimeoutError as error:
            raise OSError("the air gives no sign of life") from error

    def send_datagram(self, datagram: Datagram) -> None:
        """Send a datagram from one of our addresses to a member of our network; what cannot be brought there is lost."""
        self._link.send(DATAGRAM, datagram.pack())

    def listen(self, port: int, local_port: int) -> None:
        """Offer a TCP service on every address of this station; it really listens on 127.0.0.1:local_port."""
        self._services[port] = local_port
        self._link.send_order({"listen": port, "local": local_port})

    def unlisten(self, port: int) -> None:
        """Take a service away: dialling it is then refused."""
        self._services.pop(port, None)
        self._link.send_order({"unlisten": port})

    async def dial(
        self, ip: str, port: int, *, limit_s: float = 5.0
    ) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        """Open a stream to a member of our network; limit in unit seconds.

        Raises:
            Refused: a member has that address, and no service on that port.
            Silent: nobody answered in time, or we are in no network.
        """
        real_limit_s = limit_s / self._speed
        silent = Silent(f"{ip}:{port} did not answer within {limit_s} s.")
        if not self._link.connected:
            await asyncio.sleep(real_limit_s)
            raise silent
        reader, writer = await asyncio.open_connection("127.0.0.1", self._stream_port)
        order = {"from": self._address.hex(), "ip": ip, "port": port, "limit_s": real_limit_s}
        writer.write(json.dumps(order).encode() + b"\n")
        try:
            async with asyncio.timeout(real_limit_s + _STATUS_MARGIN_S):
                status = await reader.readexactly(1)
        except (TimeoutError, asyncio.IncompleteReadError, ConnectionError):
            status = b""
        if status == ACCEPTED:
            return reader, writer
        writer.close()
        if status == REFUSED:
            raise Refused(f"{ip}:{port} refused.")
        raise silent

    @property
    def connected(self) -> bool:
        """Say whether the radio has power and the air still hears it."""
        return self._link.connected

    @property
    def signal_dbm(self) -> int | None:
        """Signal of the network we are joined to, as last heard; None when in none."""
        return self._station.signal_dbm

    @property
    def members(self) -> dict[bytes, str | None]:
        """Access point role: address of each member, and its leased IP address if it has one."""
        return self._hotspot.members if self._hotspot else {}

    def _emit(self, kind: str, data: dict[str, Value]) -> None:
        self._on_event(RadioEvent(kind, data=data))

    def _take(self, mark: int, content: bytes) -> None:
        if mark == FRAME:
            channel, signal_dbm, _ = FRAME_HEAD.unpack_from(content)
            self._take_frame(content[FRAME_HEAD.size :], channel, signal_dbm)
        elif mark == DHCP:
            payload = content[STAMP.size :]
            # A BOOTP message says in its first octet whether it asks (1) or answers (2).
            if payload[:1] == b"\x02":
                self._station.take_dhcp(payload)
            elif self._hotspot is not None:
                self._hotspot.take_dhcp(payload)
        elif mark == ARP and self._hotspot is not None:
            self._hotspot.take_arp(content[STAMP.size :])
        elif mark == DATAGRAM and (datagram := parse(content[STAMP.size :])) is not None:
            self._on_datagram(datagram)
        elif mark == ORDER and "echo" in read_order(content):
            self._echoed.set()

    def _take_frame(self, raw: bytes, channel: int, signal_dbm: int) -> None:
        frame = frames.parse(raw)
        if frame is None:
            return
        if frame.kind is Kind.PROBE_REQUEST or frame.bssid == self._address:
            if self._hotspot is not None and channel == self._hotspot.plan.channel:
                self._hotspot.take_frame(frame)
        else:
            self._station.take_frame(frame, channel, signal_dbm)
