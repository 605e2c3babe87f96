"""The ROM serial loader of the virtual chip: the vendor's published serial protocol over a flash model.

SLIP frames (RFC 1055) carry requests `00 command length checksum payload` and answers `01 command length value data
status`. The ROM's status is four bytes (failed, reason, two spare), that of the second-stage loader which a host may
upload (the "stub") two. Reasons and payloads: the vendor's page "Serial Protocol". The stub's code is not run: once
one is uploaded and its entry lies in what was uploaded, this module greets as it would and knows its commands too.

Two liberties: erasing and programming take no time, and the whole range is erased when a write begins, as the ROM
does, where the stub erases sector by sector as it comes to them.
"""

import hashlib
import struct
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import Enum
from typing import Protocol

from hil.virtual.board.registers import Registers
from hil.virtual.board.slip import FrameReader, framed

#: What the chip's ROM says on its console when it starts with the boot pin low.
DOWNLOAD_BANNER = (
    b"ets Jul 29 2019 12:21:46\r\n\r\n"
    b"rst:0x1 (POWERON_RESET),boot:0x3 (DOWNLOAD_BOOT(UART0/UART1/SDIO_REI_REO_V2))\r\n"
    b"waiting for download\r\n"
)

SECTOR, PAGE = 4096, 256
SYNC_PAYLOAD = b"\x07\x07\x12\x20" + b"\x55" * 32
#: The ROM leaves the first word of the payload in the answer to SYNC, the stub zero: how a host tells them apart.
SYNC_VALUE = int.from_bytes(SYNC_PAYLOAD[:4], "little")
SYNC_ANSWERS = 8
STUB_GREETING = b"OHAI"
#: The ROM's slow read always answers this many bytes.
SLOW_READ = 64


class LoaderFlash(Protocol):
    """What the loader wants of the flash: plain calls, no waits."""

    @property
    def size(self) -> int:
        """Size in bytes."""

    def read(self, at: int, n: int) -> bytes:
        """Return `n` bytes from `at`."""

    def erase_sector(self, at: int) -> None:
        """Set the 4096 bytes of the sector beginning at `at` to 0xFF."""

    def program(self, at: int, data: bytes) -> None:
        """Clear bits from `at`; the loader never crosses a 256-byte page in one call."""


class Reason(Enum):
    """Why a request is refused: the ROM's code and the stub's."""

    INVALID = (0x05, 0xC0)
    FAILED = (0x06, 0xC4)
    CHECKSUM = (0x07, 0xC1)
    DEFLATE = (0x0B, 0xC7)
    NOT_WRITING = (0x06, 0xC6)
    TOO_MUCH = (0x06, 0xC9)
    UNKNOWN = (0x05, 0xFF)


class _RefusedError(Exception):
    """A request that the loader answers with a failure."""

    def __init__(self, reason: Reason) -> None:
        self.reason = reason
        super().__init__(reason.name)


@dataclass(frozen=True)
class _Answer:
    """A good answer: value and data of the response, how often it is sent, and bare frames that follow it."""

    value: int = 0
    data: bytes = b""
    times: int = 1
    frames: tuple[bytes, ...] = ()


@dataclass
class _Write:
    """A write under way: where the next byte goes, how many are left, and how blocks become bytes."""

    at: int
    left: int
    unpack: Callable[[bytes], bytes]
    sequence: int = 0


@dataclass
class _Read:
    """A read under way: the blocks not yet sent, how many bytes are sent, and how many may be unconfirmed."""

    data: bytes
    block: int
    window: int
    sent: int = 0

    def next_frames(self, confirmed: int) -> tuple[bytes, ...]:
        """Return the frames that may go now; the digest comes when everything is confirmed."""
        frames = []
        while self.sent < len(self.data) and self.sent - confirmed < self.window * self.block:
            frames.append(self.data[self.sent : self.sent + self.block])
            self.sent += len(frames[-1])
        if confirmed >= len(self.data):
            frames.append(hashlib.md5(self.data, usedforsecurity=False).digest())
        return tuple(frames)


@dataclass
class _Memory:
    """A download to memory: ranges announced so far, and the bytes still to come in the last."""

    ranges: list[range] = field(default_factory=list)
    left: int = 0


class Loader:
    """One stay in the ROM loader, from a reset with the boot pin low to the next reset."""

    def __init__(self, flash: LoaderFlash, address: bytes) -> None:
        """Speak for a chip with this flash and this address of 6 bytes (its base address in eFuse)."""
        self._flash = flash
        self._registers = Registers(address, flash.size)
        self._frames = FrameReader()
        self._memory = _Memory()
        self._write: _Write | None = None
        self._read: _Read | None = None
        self._attached = False
        self._stub = False
        self._restart = False
        self._rom_commands: dict[int, Callable[[bytes], _Answer | None]] = {
            0x02: self._flash_begin,
            0x03: self._flash_data,
            0x04: self._flash_end,
            0x05: self._memory_begin,
            0x06: self._memory_end,
            0x07: self._memory_data,
            0x08: self._sync,
            0x09: self._write_register,
            0x0A: self._read_register,
            0x0B: self._set_parameters,
            0x0D: self._attach,
            0x0E: self._read_slow,
            0x0F: self._change_rate,
            0x10: self._deflate_begin,
            0x11: self._flash_data,
            0x12: self._flash_end,
            0x13: self._digest,
        }
        self._stub_commands = self._rom_commands | {
            0xD0: self._erase_all,
            0xD1: self._erase_region,
            0xD2: self._read_begin,
            0xD3: self._run_user_code,
        }

    @property
    def restart_wanted(self) -> bool:
        """Whether the host asked the chip to leave the loader and start its firmware."""
        return self._restart

    def feed(self, data: bytes) -> bytes:
        """Take bytes from the serial line; return the bytes to send back."""
        return b"".join(self._handle(frame) for frame in self._frames.feed(data))

    def _handle(self, frame: bytes) -> bytes:
        if self._read is not None and len(frame) == 4:
            return self._confirm(int.from_bytes(frame, "little"))
        if len(frame) < 8 or frame[0] != 0:
            return b""
        command, length, checksum = struct.unpack_from("<BHI", frame, 1)
        payload = frame[8:]
        self._read = None
        try:
            if length != len(payload):
                raise _RefusedError(Reason.INVALID)
            if command in (0x03, 0x07, 0x11):
                _check_sum(payload, checksum)
            answer = self._commands.get(command, _unknown)(payload)
        except _RefusedError as refused:
            return self._response(command, _Answer(), refused.reason)
        return b"" if answer is None else self._response(command, answer, None)

    @property
    def _commands(self) -> dict[int, Callable[[bytes], _Answer | None]]:
        return self._stub_commands if self._stub else self._rom_commands

    def _response(self, command: int, answer: _Answer, refused: Reason | None) -> bytes:
        # The greeting of a stub that has just started follows an answer that the ROM still gave.
        as_stub = self._stub and STUB_GREETING not in answer.frames
        status = bytes([1, refused.value[1 if as_stub else 0]]) if refused else b"\x00\x00"
        data = answer.data + status + (b"" if as_stub else b"\x00\x00")
        frame = struct.pack("<BBHI", 1, command, len(data), answer.value) + data
        return b"".join(map(framed, (frame,) * answer.times + answer.frames))

    # -- the link

    def _sync(self, payload: bytes) -> _Answer:
        if payload != SYNC_PAYLOAD:
            raise _RefusedError(Reason.INVALID)
        return _Answer(value=0 if self._stub else SYNC_VALUE, times=SYNC_ANSWERS)

    def _change_rate(self, payload: bytes) -> _Answer:
        # The line has no rate of its own here: any is right.
        _words(payload, 2)
        return _Answer()

    # -- registers

    def _read_register(self, payload: bytes) -> _Answer:
        (at,) = _words(payload, 1)
        return _Answer(value=self._registers.read(at))

    def _write_register(self, payload: bytes) -> _Answer:
        if not payload or len(payload) % 16:
            raise _RefusedError(Reason.INVALID)
        for at, value, mask, _delay_us in struct.iter_unpack("<IIII", payload):
            self._registers.write(at, value, mask)
        return _Answer()

    # -- memory, which only matters for starting a stub

    def _memory_begin(self, payload: bytes) -> _Answer:
        size, _blocks, _block_size, at = _words(payload, 4)
        self._memory.ranges.append(range(at, at + size))
        self._memory.left = size
        return _Answer()

    def _memory_data(self, payload: bytes) -> _Answer:
        size = len(payload) - 16
        if size > self._memory.left:
            raise _RefusedError(Reason.TOO_MUCH)
        self._memory.left -= size
        return _Answer()

    def _memory_end(self, payload: bytes) -> _Answer:
        stay, entry = _words(payload, 2)
        if self._memory.left:
            raise _RefusedError(Reason.FAILED)
        ranges, self._memory = self._memory.ranges, _Memory()
        if stay or not any(entry in loaded for loaded in ranges):
            return _Answer()
        self._stub = self._attached = True
        return _Answer(frames=(STUB_GREETING,))

    # -- flash

    def _attach(self, payload: bytes) -> _Answer:
        if len(payload) not in (4, 8):
            raise _RefusedError(Reason.INVALID)
        self._attached = True
        return _Answer()

    def _set_parameters(self, payload: bytes) -> _Answer:
        _words(payload, 6)
        return _Answer()

    def _flash_begin(self, payload: bytes) -> _Answer:
        return self._begin(payload, bytes)

    def _deflate_begin(self, payload: bytes) -> _Answer:
        return self._begin(payload, zlib.decompressobj().decompress)

    def _begin(self, payload: bytes, unpack: Callable[[bytes], bytes]) -> _Answer:
        # The stub's form has a fifth word, for encrypted writes, which this chip does not do.
        size, _blocks, _block_size, at, *_encrypt = _words(payload, 5 if self._stub else 4)
        self._check_range(at, size)
        first = at - at % SECTOR
        self._erase(first, at + size - first)
        self._write = _Write(at, size, unpack)
        return _Answer()

    def _flash_data(self, payload: bytes) -> _Answer:
        write, block = self._write, payload[16:]
        if write is None:
            raise _RefusedError(Reason.NOT_WRITING)
        size, sequence = struct.unpack_from("<II", payload)
        if size != len(block) or sequence != write.sequence:
            raise _RefusedError(Reason.INVALID)
        self._program(write, block)
        write.sequence += 1
        return _Answer()

    def _program(self, write: _Write, block: bytes) -> None:
        try:
            data = write.unpack(block)
        except zlib.error:
            raise _RefusedError(Reason.DEFLATE) from None
        # A plain last block is filled up with the erased value, which programs nothing.
        if data[write.left :].strip(b"\xff"):
            raise _RefusedError(Reason.TOO_MUCH)
        data = data[: write.left]
        while data:
            piece = data[: PAGE - write.at % PAGE]
            self._flash.program(write.at, piece)
            write.at, write.left, data = write.at + len(piece), write.left - len(piece), data[len(piece) :]

    def _flash_end(self, payload: bytes) -> _Answer:
        (stay,) = _words(payload, 1)
        self._write = None
        # The ROM leaves whatever the word says; the stub stays if asked to.
        self._restart = not (self._stub and stay)
        return _Answer()

    def _digest(self, payload: bytes) -> _Answer:
        at, size, _spare, _spare_too = _words(payload, 4)
        self._check_range(at, size)
        digest = hashlib.md5(self._flash.read(at, size), usedforsecurity=False)
        return _Answer(data=digest.digest() if self._stub else digest.hexdigest().encode())

    def _read_slow(self, payload: bytes) -> _Answer:
        at, size = _words(payload, 2)
        self._check_range(at, size)
        if size > SLOW_READ:
            raise _RefusedError(Reason.INVALID)
        return _Answer(data=self._flash.read(at, size).ljust(SLOW_READ, b"\x00"))

    def _erase_all(self, payload: bytes) -> _Answer:
        _words(payload, 0)
        self._erase(0, self._flash.size)
        return _Answer()

    def _erase_region(self, payload: bytes) -> _Answer:
        at, size = _words(payload, 2)
        if at % SECTOR or size % SECTOR:
            raise _RefusedError(Reason.INVALID)
        self._check_range(at, size)
        self._erase(at, size)
        return _Answer()

    def _read_begin(self, payload: bytes) -> _Answer:
        at, size, block, window = _words(payload, 4)
        self._check_range(at, size)
        if not 0 < block <= SECTOR or not window:
            raise _RefusedError(Reason.INVALID)
        self._read = _Read(self._flash.read(at, size), block, window)
        return _Answer(frames=self._read.next_frames(0))

    def _confirm(self, confirmed: int) -> bytes:
        assert self._read is not None
        frames = self._read.next_frames(confirmed)
        if confirmed >= len(self._read.data):
            self._read = None
        return b"".join(map(framed, frames))

    def _run_user_code(self, payload: bytes) -> None:
        _words(payload, 0)
        self._restart = True

    def _check_range(self, at: int, size: int) -> None:
        # A host also begins a write of nothing, flash attached or not, to leave the loader by ending it.
        if (size and not self._attached) or at + size > self._flash.size:
            raise _RefusedError(Reason.FAILED)

    def _erase(self, at: int, size: int) -> None:
        for sector in range(at, at + size, SECTOR):
            self._flash.erase_sector(sector)


def _words(payload: bytes, count: int) -> tuple[int, ...]:
    """Return the payload as exactly `count` little-endian words of 32 bits."""
    if len(payload) != 4 * count:
        raise _RefusedError(Reason.INVALID)
    return struct.unpack(f"<{count}I", payload)


def _check_sum(payload: bytes, checksum: int) -> None:
    """Refuse a block whose bytes do not give the checksum of the header (exclusive or, begun with 0xEF)."""
    if len(payload) < 16:
        raise _RefusedError(Reason.INVALID)
    total = 0xEF
    for byte in payload[16:]:
        total ^= byte
    if total != checksum & 0xFF:
        raise _RefusedError(Reason.CHECKSUM)


def _unknown(_payload: bytes) -> _Answer:
    raise _RefusedError(Reason.UNKNOWN)
