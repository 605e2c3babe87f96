"""How radios and monitors speak with the air: messages over one TCP connection, both ways.

A message is its length (two octets, big-endian, of what follows), a mark, and the content:

    FRAME   to the air: channel, 802.11 frame     from it: channel, signal in dBm, time stamp, frame
    DHCP    to the air: address of the receiver, DHCP message     from it: time stamp, DHCP message
    ARP     to the air: address of the receiver, ARP packet       from it: time stamp, ARP packet
    DATAGRAM  to the air: IPv4 packet                             from it: time stamp, IPv4 packet
    ORDER   a JSON object: who we are, what we listen to, who is in which network

Time stamps are `time.monotonic()` of the air when it carried the frame. Streams have connections of their own, to the
port told in the air's welcome.
"""

import asyncio
import json
import struct
import time
from collections.abc import Callable, Iterable, Mapping
from typing import cast

FRAME, DHCP, ARP, DATAGRAM, ORDER = b"F"[0], b"D"[0], b"A"[0], b"U"[0], b"O"[0]
FRAME_HEAD = struct.Struct(">Bbd")
STAMP = struct.Struct(">d")
_LENGTH = struct.Struct(">H")
_HEAD = struct.Struct(">HB")
WELCOME_LIMIT_S = 10.0
"""Real seconds for the air's welcome; ample for a process on the same machine. Common practice, no source."""

Order = Mapping[str, object]


class MessageStream(asyncio.Protocol):
    """Cuts a TCP stream into messages and puts them together; no streams API, for it costs a task switch each."""

    def __init__(self, on_message: Callable[[int, bytes], None], on_end: Callable[[], None]) -> None:
        """Call `on_message(mark, content)` for each message, `on_end()` once when the connection ends."""
        self._on_message, self._on_end = on_message, on_end
        self._transport: asyncio.Transport | None = None
        self._rest = b""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Keep the transport."""
        self._transport = cast("asyncio.Transport", transport)

    def connection_lost(self, exc: Exception | None) -> None:  # noqa: ARG002 - the shape is asyncio's
        """Tell the owner, whatever ended it."""
        self._transport = None
        self._on_end()

    def data_received(self, data: bytes) -> None:
        """Hand on each whole message."""
        data = self._rest + data if self._rest else data
        at = 0
        while at + 2 <= len(data):
            end = at + 2 + _LENGTH.unpack_from(data, at)[0]
            if end > len(data):
                break
            self._on_message(data[at + 2], data[at + 3 : end])
            at = end
        self._rest = data[at:]

    def send(self, mark: int, content: bytes) -> None:
        """Send one message; nothing once the connection has ended."""
        if self._transport is not None:
            self._transport.write(_HEAD.pack(len(content) + 1, mark) + content)

    def send_order(self, order: Order) -> None:
        """Send a JSON object."""
        self.send(ORDER, json.dumps(order).encode())

    @property
    def connected(self) -> bool:
        """Say whether the connection stands."""
        return self._transport is not None

    @property
    def backlog_octets(self) -> int:
        """Octets the other side has not taken yet."""
        return self._transport.get_write_buffer_size() if self._transport else 0

    def close(self) -> None:
        """End the connection at once."""
        if self._transport is not None:
            self._transport.abort()
            self._transport = None


def read_order(content: bytes) -> dict[str, object]:
    """Read a JSON object; an empty one when it is none."""
    try:
        order: object = json.loads(content)
    except ValueError:
        return {}
    return order if isinstance(order, dict) else {}


class AirLink:
    """A radio's or monitor's end of the connection."""

    def __init__(self, air_port: int, hello: Order, on_message: Callable[[int, bytes], None]) -> None:
        """Say `hello` when opened, and hand every message but the welcome to `on_message(mark, content)`."""
        self._air_port, self._hello, self._on_message = air_port, hello, on_message
        self._stream: MessageStream | None = None
        self._welcome: asyncio.Future[dict[str, object]] | None = None
        self._over = asyncio.Event()

    async def open(self) -> dict[str, object]:
        """Connect and return the air's welcome.

        Raises:
            OSError: nothing listens there.
            TimeoutError: no welcome within 10 s.
        """
        loop = asyncio.get_running_loop()
        self._over.clear()
        self._welcome = loop.create_future()
        async with asyncio.timeout(WELCOME_LIMIT_S):
            _, self._stream = await loop.create_connection(
                lambda: MessageStream(self._take, self._ended), "127.0.0.1", self._air_port
            )
            self._stream.send_order(self._hello)
            return await self._welcome

    async def close(self) -> None:
        """Fall silent at once; returns when the socket is closed."""
        if self._stream is not None:
            stream, self._stream = self._stream, None
            stream.close()
            await self._over.wait()

    @property
    def connected(self) -> bool:
        """Say whether the air still holds the connection."""
        return self._stream is not None and self._stream.connected

    def send(self, mark: int, content: bytes) -> None:
        """Send a message; a closed link swallows it, as a dead radio would."""
        if self._stream is not None:
            self._stream.send(mark, content)

    def send_order(self, order: Order) -> None:
        """Send a JSON object, or swallow it."""
        if self._stream is not None:
            self._stream.send_order(order)

    def _take(self, mark: int, content: bytes) -> None:
        if self._welcome is not None and not self._welcome.done() and mark == ORDER:
            self._welcome.set_result(read_order(content))
        else:
            self._on_message(mark, content)

    def _ended(self) -> None:
        self._over.set()
        if self._welcome is not None and not self._welcome.done():
            self._welcome.set_exception(ConnectionResetError("the air closed the connection before its welcome."))


class StationLink:
    """What the two roles of a radio share: its address, its pace, its sequence numbers, and sending."""

    def __init__(
        self, link: AirLink, address: bytes, speed: float, on_sent: Callable[[bytes, float], None] = lambda *_: None
    ) -> None:
        """Send by `link` as `address`; unit seconds pass `speed` times as fast as real ones.

        `on_sent` is called with each frame that went out, and when (`time.monotonic()`).
        """
        self._link = link
        self._on_sent = on_sent
        self.address = address
        self.speed = speed
        self._sequence = 0
        self._retired = False
        self._watched: dict[str, tuple[frozenset[int], str]] = {}

    def retire(self) -> None:
        """Send nothing ever again: what an ended life of the radio still has under way must not reach its next one."""
        self._retired = True

    def next_sequence(self) -> int:
        """Return the next 802.11 sequence number, modulo 4096."""
        self._sequence = (self._sequence + 1) & 0xFFF
        return self._sequence

    async def pause(self, unit_s: float) -> None:
        """Wait unit seconds."""
        await asyncio.sleep(unit_s / self.speed)

    def send_frame(self, channel: int, frame: bytes | bytearray) -> None:
        """Put a frame on the air."""
        sent_s = time.monotonic()
        self._send(FRAME, bytes((channel,)) + frame)
        self._on_sent(bytes(frame), sent_s)

    def send_dhcp(self, receiver: bytes, message: bytes) -> None:
        """Send a DHCP message to another station."""
        self._send(DHCP, receiver + message)

    def send_arp(self, receiver: bytes, packet: bytes) -> None:
        """Send an ARP packet to another station."""
        self._send(ARP, receiver + packet)

    def tune(self, role: str, channels: Iterable[int], beacons_of: str = "none") -> None:
        """Say which channels a role hears, and whose beacons: "none", "all", or one BSSID in hex."""
        self._watched[role] = (frozenset(channels), beacons_of)
        heard = sorted(frozenset().union(*(channels for channels, _ in self._watched.values())))
        whose = sorted({beacons for _, beacons in self._watched.values()})
        self._send_order({"tune": heard, "beacons": whose})

    def claim(self, bssid: bytes, ip: str | None) -> None:
        """Say that we hold that address in that network; None: no longer."""
        self._send_order({"claim": bssid.hex(), "ip": ip})

    def admit(self, member: bytes, ip: str | None) -> None:
        """As an access point, say that a station is a member with that address; None: no longer."""
        self._send_order({"admit": member.hex(), "ip": ip})

    def send_weaker(self, by_db: float) -> None:
        """Send everything so many dB weaker than usual from now on."""
        self._send_order({"weaker_by_db": by_db})

    def send_impaired(self, delay_s: float, loss: float) -> None:
        """Send all by IP so many unit seconds late from now on, and have that share of it lost."""
        self._send_order({"delay_real_s": delay_s / self.speed, "loss": loss})

    def end_network(self) -> None:
        """As an access point, say that the network is over."""
        self._send_order({"end": True})

    def _send(self, mark: int, content: bytes) -> None:
        if not self._retired:
            self._link.send(mark, content)

    def _send_order(self, order: Order) -> None:
        if not self._retired:
            self._link.send_order(order)
