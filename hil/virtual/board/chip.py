"""The virtual board's processor: its ROM, and one life after another of the firmware.

A life begins when the chip comes out of reset with its supply on, and ends when either goes; within it the chip may
restart by itself (asked by software, after a crash, because of a bad image). Only one life is there at a time: the
next waits until the process and the radio of the one before are gone.
"""

import asyncio
import time
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from hil.virtual.board.antenna import Antenna, Tell
from hil.virtual.board.flash import Flash, FlashChip
from hil.virtual.board.image import SLOTS, read_payload, selected_slot, unpack_payload
from hil.virtual.board.interpreter import Interpreter, RunningFirmware, Standby
from hil.virtual.board.link import Identity, Link, Surroundings
from hil.virtual.board.loader import DOWNLOAD_BANNER, Loader
from hil.virtual.truth import TruthWriter

__all__ = ["Cause", "Chip", "Make"]

PANIC_PAUSE_S = 0.5
BAD_IMAGE_PAUSE_S = 1.0


class Cause(StrEnum):
    """Why the chip started."""

    POWER = "power"
    RESET_LINE = "reset line"
    SOFTWARE = "software"
    PANIC = "panic"
    WATCHDOG = "watchdog"


#: Code and name in the ROM's first line. Source: the chip vendor's ROM header with the list of reset reasons; that the
#: enable pin counts as power-on, and a panic ends in the same code as a wanted restart, is as seen on such boards.
RESET_REASONS = {
    Cause.POWER: "0x1 (POWERON_RESET)",
    Cause.RESET_LINE: "0x1 (POWERON_RESET)",
    Cause.SOFTWARE: "0xc (SW_CPU_RESET)",
    Cause.PANIC: "0xc (SW_CPU_RESET)",
    Cause.WATCHDOG: "0x10 (RTCWDT_RTC_RESET)",
}


def banner(cause: Cause) -> bytes:
    """Return what the ROM prints when it starts from flash."""
    lines = (
        "ets Jul 29 2019 12:21:46",
        "",
        f"rst:{RESET_REASONS[cause]},boot:0x13 (SPI_FAST_FLASH_BOOT)",
        "mode:DIO, clock div:2",
    )
    return "".join(f"{line}\r\n" for line in lines).encode()


MakeAntenna = Callable[[int, TruthWriter, Tell], Antenna]
"""Given which life of the chip it is for, the truth, and how the firmware is told."""


@dataclass(frozen=True)
class Make:
    """How this chip was made and mounted: what stays the same over all its lives."""

    identity: Identity
    flash: Flash
    interpreter: Interpreter
    scratch: Path
    make_antenna: MakeAntenna
    speed: float
    clock_ppm: float
    seed: int
    rom_speaks: bool = True

    @property
    def tick_rate(self) -> float:
        """Ticks of the chip's own second in a real second."""
        return self.speed * (1 + self.clock_ppm * 1e-6)


class Chip:
    """The processor with its flash and radio."""

    def __init__(
        self,
        make: Make,
        *,
        say: Callable[[bytes], None],
        on_lamp: Callable[[tuple[int, int, int]], None],
        truth: TruthWriter,
    ) -> None:
        """Mount the chip; `say` takes its console output, `on_lamp` the colour (red, green, blue) it sends out."""
        self._make, self._say, self._truth = make, say, truth
        self._flash = FlashChip(make.flash, speed=make.speed, seed=make.seed, truth=truth)
        self._slot = 0
        self._around = Surroundings(make.identity, self._flash, truth, on_lamp, self._kill, lambda: self._slot)
        self._standby = Standby(make.interpreter, make.speed)
        self._turn = asyncio.Lock()
        self._life: asyncio.Task[None] | None = None
        self._firmware: RunningFirmware | None = None
        self._link: Link | None = None
        self._started_s = 0.0
        self._input: Callable[[bytes], None] | None = None
        self._lives = 0

    @property
    def radio_on(self) -> bool:
        """Whether the firmware has a radio powered."""
        return self._link is not None and self._link.antenna.active

    def kept_waiting_s(self) -> float:
        """How long the machine kept the firmware waiting since this was asked last; may be asked in any one thread."""
        firmware = self._firmware
        return firmware.kept_waiting_s() if firmware is not None else 0.0

    def prepare(self) -> None:
        """Make ready for the first life."""
        self._standby.prepare()

    def start(self, cause: Cause, *, to_loader: bool) -> None:
        """Begin a life: from flash, or in the ROM's serial loader."""
        self.stop()
        self._life = asyncio.create_task(self._live(cause, to_loader=to_loader))

    def stop(self) -> None:
        """End the life at once, whatever the firmware is doing; what remains is cleared away in the background."""
        self._kill()
        self._input = None
        if self._life is not None:
            self._life.cancel()
            self._life = None

    def cut(self) -> None:
        """Lose the supply: as `stop`, and what the flash was doing is torn."""
        self._flash.cut()
        self.stop()

    async def gone(self) -> None:
        """Wait until a stopped life has left nothing behind."""
        async with self._turn:
            pass

    async def close(self) -> None:
        """End for good, after the last life is gone."""
        await self._standby.close()

    def feed(self, data: bytes) -> None:
        """Take bytes from the serial line; a chip that does not run loses them."""
        if self._input is not None:
            self._input(data)

    def _kill(self) -> None:
        if self._firmware is not None:
            self._firmware.kill()

    async def _live(self, cause: Cause, *, to_loader: bool) -> None:
        async with self._turn:
            if to_loader:
                cause = await self._load(cause)
            while True:
                cause = await self._boot(cause)

    async def _load(self, cause: Cause) -> Cause:
        self._truth("chip start", cause=cause, mode="loader")
        self._say(DOWNLOAD_BANNER)
        loader = Loader(self._make.flash, self._make.identity.address)
        left = asyncio.Event()

        def feed(data: bytes) -> None:
            self._say(loader.feed(data))
            if loader.restart_wanted:
                left.set()

        self._input = feed
        try:
            await left.wait()
        finally:
            self._input = None
            self._truth("chip end")
        return Cause.SOFTWARE

    async def _boot(self, cause: Cause) -> Cause:
        """Start from flash, and return why the chip starts again."""
        self._truth("chip start", cause=cause, mode="flash")
        self._started_s = time.monotonic()
        self._say_of_start(banner(cause))
        try:
            folder = self._unpack()
            if folder is not None:
                next_cause, pause_s = await self._run(folder, cause)
            else:
                next_cause, pause_s = Cause.WATCHDOG, BAD_IMAGE_PAUSE_S
        finally:
            self._truth("chip end")
        await asyncio.sleep(pause_s / self._make.speed)
        return next_cause

    def _say_of_start(self, octets: bytes) -> None:
        """Say what the ROM has to say of a start from flash; it may have been told to be silent."""
        if self._make.rom_speaks:
            self._say(octets)

    def _unpack(self) -> Path | None:
        """Return the files of the selected slot's image, or of the other's where that one is damaged."""
        selected = selected_slot(self._make.flash)
        for slot in (selected, 1 - selected):
            payload = read_payload(self._make.flash, SLOTS[slot])
            folder = None if payload is None else unpack_payload(payload, self._make.scratch)
            if folder is not None:
                self._slot = slot
                self._truth("image", at=SLOTS[slot], folder=folder.name)
                return folder
            if slot == selected:
                self._say_of_start(f"invalid image at {SLOTS[slot]:#x}\r\n".encode())
        return None

    async def _run(self, folder: Path, cause: Cause) -> tuple[Cause, float]:
        """Run the firmware to its end; return the cause of the next start and the pause before it, unit seconds."""
        self._lives += 1
        life = self._lives
        self._link = link = Link(self._around, cause, lambda tell: self._make.make_antenna(life, self._truth, tell))
        try:
            port = await link.open()
            environment = {
                "HIL_LINK": str(port),
                "HIL_TICK_RATE": repr(self._make.tick_rate),
                "HIL_STARTED": repr(self._started_s),
            }
            self._firmware = firmware = await self._standby.take()
            firmware.go(folder, environment)
            self._input = firmware.write
            await firmware.run(self._say)
            return (Cause.SOFTWARE, 0.0) if link.reset_asked else (Cause.PANIC, PANIC_PAUSE_S)
        finally:
            self._input = None
            await self._clear_away(link)

    async def _clear_away(self, link: Link) -> None:
        # The radio first: what the kernel says to peers of a killed process must not reach the air.
        firmware, self._firmware = self._firmware, None
        if firmware is not None:
            firmware.kill()
        await link.close()
        self._link = None
        if firmware is not None:
            await firmware.bury(self._say)
