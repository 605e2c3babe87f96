"""The board's radio side during one life of its chip, whatever air it is in, and the doors from the firmware to far streams."""

import asyncio
from abc import ABC, abstractmethod
from collections.abc import Callable

from hil.virtual.air.radio import FixedAddress, HotspotPlan, SeenNetwork

__all__ = ["Antenna", "Doors", "Stream", "Tell", "hotspot_address"]

Tell = Callable[[dict[str, object]], None]
Stream = tuple[asyncio.StreamReader, asyncio.StreamWriter]

HOTSPOT_BIT = 0x04


def hotspot_address(station: bytes) -> bytes:
    """Return the address under which a station's own hotspot is on the air."""
    return bytes([station[0] ^ HOTSPOT_BIT]) + station[1:]


class Antenna(ABC):
    """Station and hotspot, both silent until the firmware first uses them, and silent at once when closed.

    The firmware is told of its station, as of `RadioEvent`: "joined", "leased", "addressed", "join failed", "left"; and of
    each datagram to a port that it has bound.
    """

    @property
    @abstractmethod
    def active(self) -> bool:
        """Whether a radio is powered."""

    @property
    @abstractmethod
    def signal_dbm(self) -> int | None:
        """Signal of the joined network."""

    @property
    @abstractmethod
    def guests(self) -> int:
        """How many stations are on the hotspot."""

    @abstractmethod
    async def scan(self) -> list[SeenNetwork]:
        """Scan all channels."""

    @abstractmethod
    async def join(
        self, ssid: bytes, passphrase: bytes | None, fixed: FixedAddress | None = None, bssid: bytes | None = None
    ) -> None:
        """Begin to join a network, with a fixed address or for a lease; events say how it goes.

        With a `bssid` it is that access point and no other.
        """

    @abstractmethod
    async def leave(self) -> None:
        """Leave the network or drop the attempt."""

    @abstractmethod
    async def host(self, plan: HotspotPlan) -> None:
        """Put the hotspot on the air."""

    @abstractmethod
    async def unhost(self) -> None:
        """Take the hotspot off the air."""

    @abstractmethod
    def listen(self, port: int, local_port: int) -> None:
        """Offer a service in both networks."""

    @abstractmethod
    def bind(self, port: int) -> None:
        """Have datagrams to a port of ours told to the firmware."""

    @abstractmethod
    def send_datagram(self, port: int, ip: str, to_port: int, payload: bytes) -> None:
        """Send a datagram from a port of ours, by the network whose address is ours; without one it is lost."""

    @abstractmethod
    async def dial(self, ip: str, port: int) -> int:
        """Open a stream to another station; return the local port at which the firmware gets it, once.

        Raises:
            Refused: no such service there.
            Silent: nobody there.
        """

    @abstractmethod
    async def close(self) -> None:
        """Fall silent, with no farewell."""


class Doors:
    """Local ports, each for one connection of the firmware's, that lead on to a far stream."""

    def __init__(self) -> None:
        """Begin with none."""
        self._doors: list[asyncio.Server] = []
        self._relays: set[asyncio.Task[None]] = set()

    async def lead_to(self, far: Stream) -> int:
        """Open one to a stream; return its port."""

        def admit(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            door.close()
            self.relay((reader, writer), far)

        door = await asyncio.start_server(admit, "127.0.0.1", 0)
        self._doors.append(door)
        local: int = door.sockets[0].getsockname()[1]
        return local

    def relay(self, near: Stream, far: Stream) -> None:
        """Carry both ways until either is over, or `close`."""
        relay = asyncio.create_task(_relay(near, far))
        self._relays.add(relay)
        relay.add_done_callback(self._relays.discard)

    async def close(self) -> None:
        """Let nobody in, and carry nothing any more: far sides are left hanging, as by a lost supply."""
        for door in self._doors:
            door.close()
        for relay in self._relays:
            relay.cancel()
        await asyncio.gather(*self._relays, return_exceptions=True)


async def _relay(near: Stream, far: Stream) -> None:
    """Carry a stream both ways to its end; when cancelled, the far side is left hanging, as by a lost supply."""
    try:
        async with asyncio.TaskGroup() as ways:
            ways.create_task(_carry(near[0], far[1]))
            ways.create_task(_carry(far[0], near[1]))
    except* ConnectionError:
        pass
    finally:
        near[1].close()
    far[1].close()


async def _carry(source: asyncio.StreamReader, sink: asyncio.StreamWriter) -> None:
    while data := await source.read(65536):
        sink.write(data)
        await sink.drain()
    if sink.can_write_eof():
        sink.write_eof()
