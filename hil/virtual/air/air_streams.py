"""Which station is in which network, and the IP streams between members of one network.

A stream is carried while both ends are in one network: the access point has admitted the station under that address and
the station believes so too. When that ceases, bytes (and the ends of streams) wait, as with a peer out of reach; they
go on when it is back, and break off when a station of the same address comes back with a new life.
"""

import asyncio
import json
import random
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Protocol

from hil.virtual.truth import TruthWriter

ACCEPTED, REFUSED, SILENT = b"+", b"R", b"S"
_CHUNK_OCTETS = 65536
_REPEAT_S = 1.0
"""Unit seconds until a segment without an answer is sent again (RFC 6298, 2.1 and 2.4)."""
_END_GRACE_S = 0.01
"""Real seconds between a service's end and telling it: when a whole unit dies, its radio is seen to go first."""


@dataclass
class Membership:
    """What one connected station says of itself. `admitted` is not None while it hosts a network."""

    address: bytes
    services: dict[int, int] = field(default_factory=dict)
    claims: dict[bytes, str] = field(default_factory=dict)
    admitted: dict[bytes, str] | None = None
    weaker_by_db: float = 0.0
    delay_real_s: float = 0.0
    loss: float = 0.0

    def loses(self, rng: random.Random) -> bool:
        """Say whether a packet that it sends by IP is lost."""
        return bool(self.loss) and rng.random() < self.loss


class Networks:
    """All stations and their networks."""

    def __init__(self) -> None:
        """Begin with nobody."""
        self._stations: dict[bytes, Membership] = {}
        self._changed = asyncio.Event()

    def add(self, station: Membership) -> None:
        """A station came; it replaces an older one of its address."""
        self._stations[station.address] = station
        self.tell_change()

    def remove(self, station: Membership) -> None:
        """A station went."""
        if self._stations.get(station.address) is station:
            del self._stations[station.address]
            self.tell_change()

    def tell_change(self) -> None:
        """Wake all who wait for a change."""
        self._changed.set()
        self._changed = asyncio.Event()

    async def change(self) -> None:
        """Wait for the next change."""
        await self._changed.wait()

    def current(self, address: bytes) -> Membership | None:
        """Return the station of that address, None when it is off."""
        return self._stations.get(address)

    def addresses_of(self, station: Membership) -> dict[bytes, str]:
        """Return the IP address of a station in each network (by BSSID) that both it and the access point agree on."""
        agreed: dict[bytes, str] = {}
        for bssid, ip in station.claims.items():
            host = self._stations.get(bssid)
            if host is None or host.admitted is None:
                continue
            if host is station or host.admitted.get(station.address) == ip:
                agreed[bssid] = ip
        return agreed

    def find(self, dialer: Membership, ip: str) -> Membership | None:
        """Return the member at that IP address of a network the dialer is in."""
        mine = self.addresses_of(dialer)
        for station in self._stations.values():
            if any(there == ip and bssid in mine for bssid, there in self.addresses_of(station).items()):
                return station
        return None

    def together(self, one: Membership, other: Membership) -> bool:
        """Say whether two stations are in one network now."""
        return bool(self.addresses_of(one).keys() & self.addresses_of(other).keys())


class Writer(Protocol):
    """The part of `asyncio.StreamWriter` a pump needs."""

    def write(self, data: bytes) -> None:
        """Send."""

    async def drain(self) -> None:
        """Wait for room."""

    def write_eof(self) -> None:
        """Send the end."""


@dataclass(frozen=True)
class Path:
    """The way between two stations."""

    networks: Networks
    dialer: Membership
    target: Membership
    late_s: Callable[[Membership], float]
    """How late, in real seconds, a piece comes that one of the two sends."""

    async def open(self) -> None:
        """Wait until both ends are in one network.

        Raises:
            ConnectionResetError: an end came back with a new life, and knows nothing of the stream.
        """
        while not self.networks.together(self.dialer, self.target):
            for end in (self.dialer, self.target):
                if self.networks.current(end.address) not in (None, end):
                    raise ConnectionResetError("the peer has started anew")
            await self.networks.change()

    async def pump(
        self, sender: Membership, reader: asyncio.StreamReader, writer: Writer, came: Callable[[bytes], None]
    ) -> None:
        """Carry a sender's bytes until their end, which is carried too; calls `came` with each piece, empty for the end."""
        while True:
            data = await _read(reader)
            came(data)
            late_s = self.late_s(sender) if data else max(self.late_s(sender), _END_GRACE_S)
            if late_s:
                await asyncio.sleep(late_s)
            await self.open()
            if not data:
                writer.write_eof()
                return
            writer.write(data)
            await writer.drain()


async def _read(reader: asyncio.StreamReader) -> bytes:
    """Read what is there; a broken connection counts as an end."""
    try:
        return await reader.read(_CHUNK_OCTETS)
    except ConnectionError:
        return b""


class Streams:
    """Serves the connections that stations make to dial each other.

    The dialer sends one JSON line {"from": address, "ip", "port", "limit_s": real seconds} and gets one octet: accepted,
    refused or silent; after "accepted" the connection is the stream.
    """

    def __init__(
        self, networks: Networks, delay_s: float, truth: TruthWriter, rng: random.Random, speed: float
    ) -> None:
        """Carry streams of `networks`, each piece `delay_s` real seconds late; say in `truth` when pieces came."""
        self._networks, self._delay_s, self._truth = networks, delay_s, truth
        self._rng, self._repeat_s = rng, _REPEAT_S / speed
        self._count = 0
        self._tasks: set[asyncio.Task[None]] = set()

    def accept(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Serve one dialling connection, to its end, in a task of its own."""
        task = asyncio.ensure_future(self._serve_to_end(reader, writer))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _serve_to_end(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            await self._serve(reader, writer)
        except (OSError, ValueError):
            pass  # an end that hangs up, even while it is told of the other's end, or talks nonsense: the air goes on
        finally:
            writer.close()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        order: object = json.loads(await reader.readline())
        dialled_s = time.monotonic()
        if not isinstance(order, dict):
            return
        limit = order.get("limit_s")
        limit_s = float(limit) if isinstance(limit, int | float) else 0.0
        path = await self._find_path(order, limit_s)
        late_s = sum(self._late_s(end) for end in (path.dialer, path.target)) if path else 0.0  # SYN, and its answer
        await asyncio.sleep(min(late_s, limit_s))
        if path is None or late_s > limit_s:
            writer.write(SILENT)
            return
        try:
            there = await asyncio.open_connection("127.0.0.1", path.target.services[int(order["port"])])
        except (KeyError, ConnectionError):
            writer.write(REFUSED)
            return
        writer.write(ACCEPTED)
        self._count += 1
        truth = partial(self._truth, "stream", number=self._count, of=path.target.address.hex(), port=order["port"])
        truth(t=dialled_s, way="dialled", octets=0)
        await _carry(path, (reader, writer), there, truth)

    def _piece_late_s(self, sender: Membership) -> float:
        return self._delay_s + self._late_s(sender)

    def _late_s(self, sender: Membership) -> float:
        """How late a segment of a station comes, real seconds: a lost one is sent again, each time after twice as long."""
        late_s, repeat_s = sender.delay_real_s, self._repeat_s
        while sender.loses(self._rng):
            late_s, repeat_s = late_s + repeat_s, 2.0 * repeat_s
        return late_s

    async def _find_path(self, order: Mapping[str, object], limit_s: float) -> Path | None:
        """Look for the target until the limit: a station that joins meanwhile still answers, as retried dials do."""
        address = bytes.fromhex(str(order.get("from")))
        try:
            async with asyncio.timeout(limit_s):
                while True:
                    dialer = self._networks.current(address)
                    target = self._networks.find(dialer, str(order.get("ip"))) if dialer else None
                    if dialer and target:
                        return Path(self._networks, dialer, target, self._piece_late_s)
                    await self._networks.change()
        except TimeoutError:
            return None


Ends = tuple[asyncio.StreamReader, asyncio.StreamWriter]


async def _carry(path: Path, dialer: Ends, target: Ends, say: Callable[..., None]) -> None:
    """Carry both ways until both ended, or one broke; say when each piece came."""
    ends = 0
    both_ended = asyncio.Event()

    def came(way: str, data: bytes) -> None:
        nonlocal ends
        say(way=way, octets=len(data))
        ends += not data
        if ends == 2:
            both_ended.set()

    pumps = asyncio.gather(
        path.pump(path.dialer, dialer[0], target[1], partial(came, "to")),
        path.pump(path.target, target[0], dialer[1], partial(came, "from")),
    )
    # With both ends gone nobody is left to wait for a path that is closed.
    over = asyncio.ensure_future(_after(both_ended))
    try:
        await asyncio.wait((pumps, over), return_when=asyncio.FIRST_COMPLETED)
        if pumps.done():
            pumps.result()
    finally:
        over.cancel()
        pumps.cancel()
        await asyncio.gather(pumps, over, return_exceptions=True)
        target[1].close()


async def _after(both_ended: asyncio.Event) -> None:
    await both_ended.wait()
    await asyncio.sleep(10 * _END_GRACE_S)
