"""The virtual board's serial adapter: an RFC 2217 server for one client, and the reset circuit behind its lines."""

import asyncio
import contextlib
import struct
from collections.abc import Callable
from typing import Protocol, cast

from serial import rfc2217

__all__ = ["LINE_RATE_BAUD", "OnInput", "OnPins", "ResetCircuit", "Serial", "SerialPort", "pins_of"]

LINE_RATE_BAUD = 115_200
PAIR_LIMIT_S = 0.25
"""How long the second of two line changes may lag behind the first, real seconds (see `ResetCircuit`)."""
LEAVING_LIMIT_S = 0.25
"""How long a new client waits for the one before it to be gone, real seconds."""
UNSENT_LIMIT = 1 << 20
"""Bytes a client may leave unread before the adapter loses what comes, as an adapter with a full buffer does."""

OnInput = Callable[[bytes], None]
OnPins = Callable[[bool, bool], None]


class Serial(Protocol):
    """The board's serial adapter, whatever line it is at."""

    def connect(self, on_input: OnInput, on_pins: OnPins) -> None:
        """Hand what comes in to `on_input`, and changes of the pins to `on_pins`, from now on."""

    def write(self, data: bytes) -> None:
        """Send what the chip says; lost where nobody reads it."""

    def close(self) -> None:
        """Be gone."""


def pins_of(*, dtr: bool, rts: bool) -> tuple[bool, bool]:
    """Return (enable is low, boot pin is low) for asserted lines: the usual circuit of two crossed transistors."""
    return rts and not dtr, dtr and not rts


class ResetCircuit:
    """Turns DTR and RTS into the chip's enable and boot pins.

    Into the loader the lines go from "RTS alone" to "DTR alone". A local adapter changes both by one request; RFC 2217
    carries one at a time, some 50 ms apart, and between them both lines are asserted, which by the table lets the chip
    start with its boot pin high. On boards a capacitor at the enable pin bridges such a gap. Here, enable stays
    low in that one passage until the second change comes, or `PAIR_LIMIT_S` is over.
    """

    def __init__(self, on_pins: OnPins) -> None:
        """Report each change as on_pins(enable is low, boot pin is low)."""
        self._on_pins = on_pins
        self._pins = (False, False)
        self._late: asyncio.TimerHandle | None = None

    def set_lines(self, *, dtr: bool, rts: bool) -> None:
        """Take the lines as they are from now on."""
        if self._late is not None:
            self._late.cancel()
            self._late = None
        pins = pins_of(dtr=dtr, rts=rts)
        in_reset = self._pins[0]
        if in_reset and dtr and rts:
            self._late = asyncio.get_running_loop().call_later(PAIR_LIMIT_S, self._settle, pins)
        else:
            self._settle(pins)

    def _settle(self, pins: tuple[bool, bool]) -> None:
        if pins != self._pins:
            self._pins = pins
            self._on_pins(*pins)


class _Lines:
    """The adapter's settings and lines, in the shape that pyserial's `PortManager` works on."""

    def __init__(self, circuit: ResetCircuit) -> None:
        self._circuit = circuit
        self._dtr = self._rts = False
        self.baudrate, self.bytesize, self.parity, self.stopbits = LINE_RATE_BAUD, 8, "N", 1
        self.xonxoff = self.rtscts = self.break_condition = False
        self.cts = self.dsr = self.cd = True
        self.ri = False

    @property
    def dtr(self) -> bool:
        return self._dtr

    @dtr.setter
    def dtr(self, asserted: bool) -> None:
        self._dtr = asserted
        self._circuit.set_lines(dtr=self._dtr, rts=self._rts)

    @property
    def rts(self) -> bool:
        return self._rts

    @rts.setter
    def rts(self, asserted: bool) -> None:
        self._rts = asserted
        self._circuit.set_lines(dtr=self._dtr, rts=self._rts)

    def reset_input_buffer(self) -> None:
        """Nothing to do: the adapter keeps nothing back."""

    def reset_output_buffer(self) -> None:
        """The same."""


class SerialPort:
    """An RFC 2217 server on a free port of 127.0.0.1. A second client is told "busy" and closed."""

    def __init__(self, on_input: OnInput = lambda _: None, on_pins: OnPins = lambda *_: None) -> None:
        """Hand on what comes, as of `connect`."""
        self.connect(on_input, on_pins)
        self._server: asyncio.Server | None = None
        self._client: asyncio.StreamWriter | None = None
        self._free = asyncio.Event()
        self._free.set()

    def connect(self, on_input: OnInput, on_pins: OnPins) -> None:
        """Hand what the client sends to `on_input`, and pin changes to `on_pins`."""
        self._on_input, self._circuit = on_input, ResetCircuit(on_pins)

    async def open(self) -> int:
        """Listen; return the port's number."""
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", 0)
        port: int = self._server.sockets[0].getsockname()[1]
        return port

    def close(self) -> None:
        """Stop listening and drop the client."""
        if self._server is not None:
            self._server.close()
        if self._client is not None:
            self._client.close()

    def write(self, data: bytes) -> None:
        """Send what the chip says. Nobody there, or nobody reading: it is lost, as on a real line."""
        client = self._client
        if client is None or client.is_closing() or client.transport.get_write_buffer_size() > UNSENT_LIMIT:
            return
        client.write(data.replace(rfc2217.IAC, rfc2217.IAC_DOUBLED))

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if not await self._take_over(writer):
            writer.write(b"busy: another client has this port\r\n")
            await _shut(writer)
            return
        try:
            await self._talk(reader, writer)
        finally:
            # As a local port does when it is closed: both lines fall, and together.
            self._circuit.set_lines(dtr=False, rts=False)
            self._client = None
            self._free.set()
            await _shut(writer)

    async def _take_over(self, writer: asyncio.StreamWriter) -> bool:
        """Become the client; a client that is just leaving is waited for."""
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._free.wait(), LEAVING_LIMIT_S)
        if self._client is not None:
            return False
        self._free.clear()
        self._client = writer
        return True

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        lines = cast("rfc2217.Serial", _Lines(self._circuit))
        manager = rfc2217.PortManager(lines, cast("rfc2217.Serial", writer))
        # A malformed request ends the connection: pyserial's manager raises what it stumbled over.
        with contextlib.suppress(ConnectionError, TypeError, KeyError, IndexError, struct.error):
            while data := await reader.read(4096):
                if received := b"".join(manager.filter(data)):
                    self._on_input(received)


async def _shut(writer: asyncio.StreamWriter) -> None:
    writer.close()
    with contextlib.suppress(ConnectionError):
        await writer.wait_closed()
