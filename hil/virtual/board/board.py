"""The virtual board, a process of its own: `python -m hil.virtual.board 'JSON-CONFIG'`.

It stands for a unit on the bench with its power switch and serial adapter: a chip that runs real firmware, a lamp that
the scene's camera sees, radios in the virtual air. It prints one JSON line with its ports when it is ready, and ends,
with all it started, when its standard input ends.
"""

import asyncio
import contextlib
import json
import sys
import time
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, PositiveFloat, ValidationError

from hil.virtual.board.air_antenna import AirAntenna
from hil.virtual.board.antenna import Antenna, Tell
from hil.virtual.board.chip import Cause, Chip, Make
from hil.virtual.board.flash import Flash
from hil.virtual.board.interpreter import Interpreter
from hil.virtual.board.link import Identity
from hil.virtual.board.serial_port import Serial, SerialPort
from hil.virtual.truth import NoTruth, TruthFile, TruthWriter
from hil.virtual.world_process import ask_for_priority, end_with_parent, say_ready, standard_input_ended

__all__ = ["Board", "Config", "main"]

Colour = tuple[int, int, int]
DARK: Colour = (0, 0, 0)

# What the supply sees, milliamperes at 5 V: usual figures for such a board, from memory.
HELD_IN_RESET_MA = 5.0
RUNNING_MA = 80.0
RADIO_MA = 40.0
LAMP_FULL_MA = 12.0
"""Of one of the lamp's three colours at full drive."""


LAST_WORDS_LIMIT_S = 1.0
"""How long those who serve clients may take to end, real seconds."""


class Config(BaseModel):
    """What the board is told on its command line."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    air_port: int
    scene_port: int | None = None
    flash_file: Path
    truth_file: Path | None = None
    speed: PositiveFloat = 1.0
    clock_ppm: float = 200.0
    address: str
    serial: str
    label_key: str
    interpreter: Literal["micropython", "cpython"] = "micropython"
    seed: int = 0
    rom_speaks: bool = True
    worn_flash_at: int | None = None

    def make(self) -> Make:
        """Return the chip this describes."""
        address = bytes.fromhex(self.address.replace(":", ""))
        if len(address) != 6:
            raise ValueError(f"address {self.address!r} has not 6 octets")
        return Make(
            identity=Identity(address, self.serial, self.label_key),
            flash=Flash(self.flash_file, self.worn_flash_at),
            interpreter=Interpreter(self.interpreter),
            scratch=self.flash_file.with_name(self.flash_file.name + ".unpacked"),
            make_antenna=self._make_antenna,
            speed=self.speed,
            clock_ppm=self.clock_ppm,
            seed=self.seed,
            rom_speaks=self.rom_speaks,
        )

    def _make_antenna(self, life: int, truth: TruthWriter, tell: Tell) -> Antenna:
        address, seed = bytes.fromhex(self.address.replace(":", "")), self.seed + 2 * life
        return AirAntenna(self.air_port, address, speed=self.speed, seed=seed, truth=truth, tell=tell)


class Board:
    """Supply, reset circuit, serial adapter, chip and lamp."""

    def __init__(self, make: Make, truth: TruthWriter, scene: asyncio.StreamWriter | None, serial: Serial) -> None:
        """Put the board together, off, within an event loop; `scene` is the control line of the scene that shows the lamp."""
        self._truth, self._scene = truth, scene
        self._powered = self._in_reset = self._boot_low = False
        self._cause = Cause.POWER
        self._lamp = DARK
        self._serial = serial
        serial.connect(self._on_input, self._on_pins)
        self._chip = Chip(make, say=self._serial.write, on_lamp=self._show, truth=truth)
        self._chip.prepare()

    def power(self, *, on: bool) -> float:
        """Switch the supply; return the time of `time.monotonic()` at which it switched."""
        now = time.monotonic()
        if on == self._powered:
            return now
        self._powered = on
        self._truth("power", on=on)
        if on:
            self._cause = Cause.POWER
            self._start()
        else:
            self._chip.cut()
            self._show(DARK)
        return now

    async def settled(self) -> None:
        """Wait, once the supply is off, until the chip has left nothing behind."""
        if not self._powered:
            await self._chip.gone()

    async def close(self) -> None:
        """Switch the supply off, and end all that the board has started."""
        self.power(on=False)
        await self.settled()
        await self._chip.close()
        self._serial.close()

    def state(self) -> dict[str, object]:
        """Return what the supply tells: on or off, and the current."""
        return {"on": self._powered, "current_ma": self.current_ma, "t": time.monotonic()}

    def kept_waiting_s(self) -> float:
        """How long the machine kept the firmware waiting since this was asked last; may be asked in any one thread."""
        return self._chip.kept_waiting_s()

    @property
    def powered(self) -> bool:
        """Whether the supply is on."""
        return self._powered

    @property
    def current_ma(self) -> float:
        """The supply's current in milliamperes."""
        if not self._powered:
            return 0.0
        lamp_ma = LAMP_FULL_MA * sum(self._lamp) / 255
        if self._in_reset:
            return HELD_IN_RESET_MA + lamp_ma
        return RUNNING_MA + (RADIO_MA if self._chip.radio_on else 0.0) + lamp_ma

    def _on_input(self, data: bytes) -> None:
        if self._powered:
            self._chip.feed(data)

    def _on_pins(self, enable_low: bool, boot_low: bool) -> None:
        self._boot_low = boot_low
        if enable_low == self._in_reset:
            return
        self._in_reset = enable_low
        self._truth("reset line", held=enable_low)
        if not self._powered:
            return
        if enable_low:
            self._cause = Cause.RESET_LINE
            self._chip.stop()
        else:
            self._start()

    def _start(self) -> None:
        if not self._in_reset:
            self._chip.start(self._cause, to_loader=self._boot_low)

    def _show(self, colour: Colour) -> None:
        """Light the lamp; it keeps its colour until told another or the supply goes, whatever the chip does."""
        if not self._powered:
            colour = DARK
        if colour == self._lamp:
            return
        self._lamp = colour
        self._truth("lamp", rgb=list(colour))
        if self._scene is not None and not self._scene.is_closing():
            self._scene.write(json.dumps({"lamp": "unit", "rgb": list(colour)}).encode() + b"\n")


class ControlPort:
    """The power switch and its readings, as JSON lines over TCP."""

    def __init__(self, board: Board) -> None:
        """Control `board`."""
        self._board = board
        self._clients: set[asyncio.StreamWriter] = set()

    def close(self) -> None:
        """Drop all clients."""
        for client in self._clients:
            client.close()

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Answer one client, line by line."""
        self._clients.add(writer)
        with contextlib.suppress(ConnectionError):
            async for line in reader:
                writer.write(json.dumps(await self._answer(line)).encode() + b"\n")
                await writer.drain()
        self._clients.discard(writer)
        writer.close()

    async def _answer(self, line: bytes) -> dict[str, object]:
        try:
            request: object = json.loads(line)
        except ValueError as error:
            return {"error": f"not JSON: {error}"}
        match request:
            case {"op": "power", "on": bool(on)}:
                switched_at = self._board.power(on=on)
                await self._board.settled()
                return {"ok": True, "t": switched_at, "on": on}
            case {"op": "state"}:
                return self._board.state()
        return {"error": f"no such request: {request!r}"}


async def run(config: Config) -> None:
    """Be the board until standard input ends."""
    truth = TruthFile(config.truth_file) if config.truth_file else NoTruth()
    make = config.make()
    scene = None
    if config.scene_port is not None:
        _, scene = await asyncio.open_connection("127.0.0.1", config.scene_port)
    serial = SerialPort()
    board = Board(make, truth, scene, serial)
    control = ControlPort(board)
    server = await asyncio.start_server(control.serve, "127.0.0.1", 0)
    ports = {"serial_port": await serial.open(), "control_port": server.sockets[0].getsockname()[1]}
    say_ready({**ports, "interpreter": make.interpreter.name}, board.kept_waiting_s)
    await standard_input_ended()
    server.close()
    await board.close()
    control.close()
    if serving := asyncio.all_tasks() - {asyncio.current_task()}:
        await asyncio.wait(serving, timeout=LAST_WORDS_LIMIT_S)


def main() -> int:
    """Run the board of the command line's configuration; exit code 2 when that is wrong."""
    end_with_parent()
    ask_for_priority()
    try:
        config = Config.model_validate_json(sys.argv[1] if len(sys.argv) == 2 else "")
    except ValidationError as error:
        print(f"board: wrong configuration: {error}", file=sys.stderr)
        return 2
    asyncio.run(run(config))
    return 0
