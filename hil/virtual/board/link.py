"""The line between the firmware's hardware shims and the virtual board: JSON lines over a local connection.

One link serves one life of the chip. A message with an "id" is answered with that id; others are orders without an
answer. What the chip asks of the flash or the radio may take its time: messages are served side by side, the flash's
in their order.
"""

import asyncio
import contextlib
import json
from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from hil.virtual.air.radio import FixedAddress, HotspotPlan, Refused, Silent
from hil.virtual.board.antenna import Antenna, Tell, hotspot_address
from hil.virtual.board.flash import FlashChip
from hil.virtual.truth import TruthWriter

__all__ = ["Identity", "Link", "Surroundings"]

MAX_LINE = 1 << 20
Answer = dict[str, object]


@dataclass(frozen=True)
class Identity:
    """What is burnt into this board and printed on its label."""

    address: bytes
    serial: str
    label_key: str


@dataclass(frozen=True)
class Surroundings:
    """What of the board the link reaches beyond the radio."""

    identity: Identity
    flash: FlashChip
    truth: TruthWriter
    on_lamp: Callable[[tuple[int, int, int]], None]
    on_reset: Callable[[], None]
    running_slot: Callable[[], int]


class Message:
    """One message of the chip, read with a check of each field's type."""

    def __init__(self, line: bytes) -> None:
        """Parse a line; ValueError if it is no JSON object with an "op"."""
        fields: object = json.loads(line)
        if not isinstance(fields, dict):
            raise ValueError(f"not a JSON object: {line!r}")
        self._fields: dict[object, object] = fields
        self.op = self.text("op")

    def text(self, key: str) -> str:
        """Return a string."""
        value = self._fields.get(key)
        if not isinstance(value, str):
            raise ValueError(f'"{key}" is {value!r}, not a string')
        return value

    def octets(self, key: str) -> bytes:
        """Return what a string of hex digits says."""
        return bytes.fromhex(self.text(key))

    def has(self, key: str) -> bool:
        """Say whether a field is given."""
        return key in self._fields

    def number(self, key: str) -> int:
        """Return an integer."""
        value = self._fields.get(key)
        if not isinstance(value, int):
            raise ValueError(f'"{key}" is {value!r}, not an integer')
        return value

    def seconds(self, key: str) -> float:
        """Return a duration in unit seconds; 0 where it is left out."""
        value = self._fields.get(key, 0.0)
        if not isinstance(value, int | float):
            raise ValueError(f'"{key}" is {value!r}, not a number')
        return float(value)

    @property
    def id(self) -> int | None:
        """The number its answer shall carry, if it wants one."""
        return self.number("id") if "id" in self._fields else None


class Link:
    """The board's end of the line to one running firmware."""

    def __init__(self, surroundings: Surroundings, cause: str, make_antenna: Callable[[Tell], Antenna]) -> None:
        """Serve a firmware that was started because of `cause`; `make_antenna` is given the way to tell it events."""
        self._around, self._cause = surroundings, cause
        self.antenna = make_antenna(self._tell)
        self._server: asyncio.Server | None = None
        self._chip: asyncio.StreamWriter | None = None
        self._work: set[asyncio.Task[None]] = set()
        self.reset_asked = False
        self._ops: dict[str, Callable[[Message], Awaitable[Answer | None]]] = {
            "lamp": self._lamp,
            "listen": self._listen,
            "reset": self._reset,
            "read": self._read,
            "erase": self._erase,
            "program": self._program,
            "identity": self._identity,
            "scan": self._scan,
            "dial": self._dial,
            "bind": self._bind,
            "send": self._send,
            "join": self._join,
            "leave": self._leave,
            "host": self._host,
            "unhost": self._unhost,
            "guests": self._guests,
            "signal": self._signal,
        }

    async def open(self) -> int:
        """Listen on a free local port for the chip; return its number."""
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", 0, limit=MAX_LINE)
        port: int = self._server.sockets[0].getsockname()[1]
        return port

    async def close(self) -> None:
        """Silence the radio and stop serving."""
        if self._server is not None:
            self._server.close()
        work = tuple(self._work)
        for task in work:
            task.cancel()
        await self.antenna.close()
        if self._chip is not None:
            self._chip.close()
        await asyncio.gather(*work, return_exceptions=True)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if self._chip is not None:
            writer.close()
            return
        self._chip = writer
        with contextlib.suppress(ConnectionError):
            async for line in reader:
                task = asyncio.create_task(self._obey(line))
                self._work.add(task)
                task.add_done_callback(self._work.discard)

    async def _obey(self, line: bytes) -> None:
        number: int | None = None
        try:
            message = Message(line)
            number = message.id
            if message.op not in self._ops:
                raise ValueError(f"no such operation: {message.op}")
            answer = await self._ops[message.op](message)
        except (ValueError, OSError) as error:
            answer = {"error": f"{type(error).__name__}: {error}"}
            self._around.truth("link error", line=line.decode(errors="replace"), **answer)
        if number is not None:
            self._tell({"id": number, **(answer or {"ok": True})})

    def _tell(self, message: Answer) -> None:
        if self._chip is not None and not self._chip.is_closing():
            self._chip.write(json.dumps(message).encode() + b"\n")

    # -- lamp, services, restart

    async def _lamp(self, message: Message) -> None:
        green, red, blue = message.octets("wire")[:3]
        self._around.on_lamp((red, green, blue))

    async def _listen(self, message: Message) -> None:
        self.antenna.listen(message.number("port"), message.number("local"))

    async def _reset(self, _message: Message) -> None:
        self.reset_asked = True
        self._around.truth("reset op")
        self._around.on_reset()

    async def _identity(self, _message: Message) -> Answer:
        identity = self._around.identity
        return {
            "address": identity.address.hex(":"),
            "hotspot_address": hotspot_address(identity.address).hex(":"),
            "serial": identity.serial,
            "label_key": identity.label_key,
            "cause": self._cause,
            "slot": self._around.running_slot(),
        }

    # -- flash

    async def _read(self, message: Message) -> Answer:
        return {"data": (await self._around.flash.read(message.number("at"), message.number("n"))).hex()}

    async def _erase(self, message: Message) -> None:
        await self._around.flash.erase(message.number("at"))

    async def _program(self, message: Message) -> None:
        await self._around.flash.program(message.number("at"), message.octets("data"))

    # -- radio

    async def _scan(self, _message: Message) -> Answer:
        return {
            "networks": [
                {
                    "ssid": seen.ssid.hex(),
                    "bssid": seen.bssid.hex(":"),
                    "channel": seen.channel,
                    "signal": seen.signal_dbm,
                    "security": seen.security,
                }
                for seen in await self.antenna.scan()
            ]
        }

    async def _dial(self, message: Message) -> Answer:
        try:
            return {"local": await self.antenna.dial(message.text("host"), message.number("port"))}
        except Refused:
            return {"error": "refused"}
        except Silent:
            return {"error": "silent"}

    async def _bind(self, message: Message) -> None:
        self.antenna.bind(message.number("port"))

    async def _send(self, message: Message) -> None:
        port, to_port, payload = message.number("port"), message.number("to_port"), message.octets("data")
        self.antenna.send_datagram(port, message.text("to"), to_port, payload)

    async def _join(self, message: Message) -> None:
        fixed = None
        if message.has("ip"):
            fixed = FixedAddress(message.text("ip"), message.text("mask"), message.text("router"))
        bssid = bytes.fromhex(message.text("bssid").replace(":", "")) if message.has("bssid") else None
        await self.antenna.join(message.octets("ssid"), message.octets("key") or None, fixed, bssid)

    async def _leave(self, _message: Message) -> None:
        await self.antenna.leave()

    async def _host(self, message: Message) -> None:
        ssid, key = message.octets("ssid"), message.octets("key") or None
        channel, ip = message.number("channel"), message.text("ip")
        delay_s, tells = message.seconds("lease_delay_s"), not message.has("no_name_server")
        await self.antenna.host(HotspotPlan(ssid, key, channel, ip, lease_delay_s=delay_s, tells_name_server=tells))

    async def _unhost(self, _message: Message) -> None:
        await self.antenna.unhost()

    async def _guests(self, _message: Message) -> Answer:
        return {"count": self.antenna.guests}

    async def _signal(self, _message: Message) -> Answer:
        return {"dbm": self.antenna.signal_dbm}
