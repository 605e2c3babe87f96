"""The serial NOR flash of the virtual board: its cells, and the time its operations take.

`Flash` holds the cells in a file: erasing sets a whole sector, programming only clears bits. `FlashChip` stands
before them while the firmware runs: an operation takes its time, goes on when only the processor is reset, and is torn
when the supply is cut under it. Torn means that each bit of the change has come about or not, by a seeded draw.
"""

import asyncio
import mmap
import random
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from hil.virtual.truth import TruthWriter

__all__ = ["FLASH_SIZE", "PAGE_PROGRAM_S", "PAGE_SIZE", "SECTOR_ERASE_S", "SECTOR_SIZE", "Flash", "FlashChip"]

FLASH_SIZE = 1 << 20
SECTOR_SIZE = 4096
PAGE_SIZE = 256
ERASED = 0xFF

SECTOR_ERASE_S = 0.045
"""Typical, unit seconds: data sheet of the W25Q32JV serial flash, table of AC characteristics (from memory)."""
PAGE_PROGRAM_S = 0.0007
"""Typical, unit seconds: the same table's older issues (newer parts are quicker; from memory)."""


class Flash:
    """The cells of a 1 MiB serial NOR flash, kept in a file. Nothing here takes time.

    An octet that is worn reads as zero, whatever was done to it.

    Raises (every method):
        ValueError: the range lies outside the flash, is not a sector, or crosses a page.
    """

    def __init__(self, path: Path, worn_at: int | None = None) -> None:
        """Map `path`; a file that is missing or of another size becomes an erased flash. `worn_at` is where one is worn."""
        if not path.exists() or path.stat().st_size != FLASH_SIZE:
            path.write_bytes(bytes([ERASED]) * FLASH_SIZE)
        with path.open("r+b") as file:
            self._cells = mmap.mmap(file.fileno(), FLASH_SIZE)
        self._worn_at = worn_at

    @property
    def size(self) -> int:
        """Size in bytes."""
        return FLASH_SIZE

    def read(self, at: int, n: int) -> bytes:
        """Return `n` bytes from `at`."""
        _check_range(at, n)
        octets = self._cells[at : at + n]
        if self._worn_at is None or not at <= self._worn_at < at + n:
            return octets
        worn = self._worn_at - at
        return octets[:worn] + b"\0" + octets[worn + 1 :]

    def erase_sector(self, at: int) -> None:
        """Set the 4096 bytes of the sector that begins at `at` to 0xFF."""
        check_sector(at)
        self._cells[at : at + SECTOR_SIZE] = bytes([ERASED]) * SECTOR_SIZE

    def program(self, at: int, data: bytes) -> None:
        """Clear the bits from `at` that are clear in `data` (within one page of 256 bytes)."""
        check_page(at, data)
        self._cells[at : at + len(data)] = _and(self.read(at, len(data)), data)

    def tear(self, at: int, wanted: bytes, done: float, draw: random.Random) -> None:
        """Leave a change to `wanted` half made: each bit has changed with the chance `done` (0 to 1)."""
        old = self.read(at, len(wanted))
        changed = (_random_byte(done, draw) for _ in wanted)
        torn = bytes(was & ~mask | new & mask for was, new, mask in zip(old, wanted, changed, strict=True))
        self._cells[at : at + len(torn)] = torn

    def close(self) -> None:
        """Write back and unmap."""
        self._cells.close()


@dataclass(frozen=True)
class _Operation:
    """One erase or program under way."""

    what: str
    at: int
    size: int
    wanted: Callable[[], bytes]
    apply: Callable[[], None]
    timer: asyncio.TimerHandle
    done: "asyncio.Future[None]"


class FlashChip:
    """The flash as the running firmware meets it: operations one after another, each taking its time."""

    def __init__(self, flash: Flash, *, speed: float, seed: int, truth: TruthWriter) -> None:
        """Stand before `flash`; `speed` is unit seconds per real second, `seed` decides what a cut tears."""
        self._flash, self._speed, self._truth = flash, speed, truth
        self._draw = random.Random(seed)
        self._turn = asyncio.Lock()
        self._running: _Operation | None = None

    async def read(self, at: int, n: int) -> bytes:
        """Return `n` bytes from `at`, once a running operation is over."""
        async with self._turn:
            await self._until_idle()
            return self._flash.read(at, n)

    async def erase(self, at: int) -> None:
        """Erase the sector that begins at `at`."""
        check_sector(at)
        await self._run(
            ("flash erase", at, SECTOR_SIZE),
            SECTOR_ERASE_S,
            lambda: bytes([ERASED]) * SECTOR_SIZE,
            lambda: self._flash.erase_sector(at),
        )

    async def program(self, at: int, data: bytes) -> None:
        """Program `data` from `at`, within one page."""
        check_page(at, data)
        await self._run(
            ("flash program", at, len(data)),
            PAGE_PROGRAM_S,
            lambda: _and(self._flash.read(at, len(data)), data),
            lambda: self._flash.program(at, data),
        )

    def cut(self) -> None:
        """Lose the supply now: a running operation stays half done, and whoever waits for it is cancelled."""
        running, self._running = self._running, None
        if running is None:
            return
        running.timer.cancel()
        self._flash.tear(running.at, running.wanted(), self._draw.random(), self._draw)
        self._book(running, "torn")
        running.done.cancel()

    async def _run(
        self, subject: tuple[str, int, int], time_s: float, wanted: Callable[[], bytes], apply: Callable[[], None]
    ) -> None:
        async with self._turn:
            await self._until_idle()
            loop = asyncio.get_running_loop()
            timer = loop.call_later(time_s / self._speed, self._finish)
            self._running = running = _Operation(*subject, wanted, apply, timer, loop.create_future())
            self._book(running, "begin")
            # A reset of the processor cancels the one who waits, not the flash.
            await asyncio.shield(running.done)

    async def _until_idle(self) -> None:
        if self._running is not None:
            await asyncio.wait({self._running.done})

    def _finish(self) -> None:
        running, self._running = self._running, None
        if running is None:
            return
        running.apply()
        self._book(running, "end")
        running.done.set_result(None)

    def _book(self, operation: _Operation, phase: str) -> None:
        self._truth(operation.what, phase=phase, at=operation.at, size=operation.size)


def check_sector(at: int) -> None:
    """Raise ValueError unless a sector of the flash begins at `at`."""
    _check_range(at, SECTOR_SIZE)
    if at % SECTOR_SIZE:
        raise ValueError(f"{at:#x} is not the beginning of a sector of {SECTOR_SIZE} bytes.")


def check_page(at: int, data: bytes) -> None:
    """Raise ValueError unless `data` from `at` lies within one page."""
    _check_range(at, len(data))
    if at % PAGE_SIZE + len(data) > PAGE_SIZE:
        raise ValueError(f"{len(data)} bytes from {at:#x} cross the end of a page of {PAGE_SIZE} bytes.")


def _check_range(at: int, n: int) -> None:
    if at < 0 or n < 0 or at + n > FLASH_SIZE:
        raise ValueError(f"{n} bytes from {at:#x} lie outside the flash of {FLASH_SIZE:#x} bytes.")


def _and(old: bytes, data: bytes) -> bytes:
    return bytes(was & new for was, new in zip(old, data, strict=True))


def _random_byte(chance: float, draw: random.Random) -> int:
    return sum(1 << bit for bit in range(8) if draw.random() < chance)
