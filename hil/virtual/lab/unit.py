"""The lab's unit, a process of its own: `python -m hil.virtual.lab.unit 'JSON-CONFIG'`.

The board of the virtual bench, firmware and all, with the kernel's simulated parts around it: two radios with real daemons, a
USB serial port whose control lines reset it, a supply that speaks SCPI. It runs in real seconds. It prints one JSON line with
its ports when it is ready, and ends, with all it started, when its standard input ends.
"""

import asyncio
import queue
import threading
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict

from hil.virtual.board.antenna import Antenna, Tell, hotspot_address
from hil.virtual.board.board import Board
from hil.virtual.board.chip import Make
from hil.virtual.board.flash import Flash
from hil.virtual.board.interpreter import Interpreter
from hil.virtual.board.link import Identity
from hil.virtual.board.serial_port import OnInput, OnPins, ResetCircuit
from hil.virtual.lab.antenna import LabAntenna
from hil.virtual.lab.radios import UnitRadios
from hil.virtual.lab.supply import ScpiSupply
from hil.virtual.lab.usb_serial import UsbSerialPort
from hil.virtual.truth import TruthFile, TruthWriter
from hil.virtual.world_process import ask_for_priority, config_of, end_with_parent, say_ready, standard_input_ended

UNSENT = 256  # pieces that the adapter holds for a host that does not read; then it loses what comes


class Config(BaseModel):
    """What the unit is told on its command line; radios by their interfaces, station and hotspot."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    radios: tuple[str, str]
    scene_port: int
    flash_file: Path
    truth_file: Path
    log_folder: Path
    clock_ppm: float = 200.0
    address: str
    serial: str
    label_key: str
    interpreter: Literal["micropython", "cpython"] = "micropython"
    seed: int = 0


class UsbSerial:
    """The board's serial adapter: a device on the simulated USB bus."""

    def __init__(self, serial_number: str) -> None:
        """Plug it in, within an event loop; nobody is told of anything yet."""
        self._loop = asyncio.get_running_loop()
        self._on_input: OnInput = lambda _: None
        self._circuit = ResetCircuit(lambda *_: None)
        self._unsent: queue.Queue[bytes] = queue.Queue(UNSENT)
        self._usb = UsbSerialPort(serial_number, on_octets=self._took, on_lines=self._lines)
        self.port = self._usb.port
        threading.Thread(target=self._send, name="usb out", daemon=True).start()

    def connect(self, on_input: OnInput, on_pins: OnPins) -> None:
        """Hand what comes in to `on_input`, and changes of the pins to `on_pins`, from now on."""
        self._on_input, self._circuit = on_input, ResetCircuit(on_pins)

    def write(self, data: bytes) -> None:
        """Send what the chip says; lost where nobody reads it."""
        if data and not self._unsent.full():
            self._unsent.put_nowait(data)

    def close(self) -> None:
        """Be gone."""
        self._usb.close()

    def _send(self) -> None:
        while True:
            try:
                self._usb.say(self._unsent.get())
            except OSError:  # unplugged; what was to be said is lost
                continue

    def _took(self, octets: bytes) -> None:
        self._loop.call_soon_threadsafe(lambda: self._on_input(octets))

    def _lines(self, dtr: bool, rts: bool) -> None:
        self._loop.call_soon_threadsafe(lambda: self._circuit.set_lines(dtr=dtr, rts=rts))


async def run(config: Config) -> None:
    """Be the unit until standard input ends."""
    truth = TruthFile(config.truth_file)
    address = bytes.fromhex(config.address.replace(":", ""))
    radios = UnitRadios(*config.radios, (address, hotspot_address(address)), config.log_folder)

    def make_antenna(_life: int, truth: TruthWriter, tell: Tell) -> Antenna:
        return LabAntenna(radios, truth=truth, tell=tell)

    make = Make(
        identity=Identity(address, config.serial, config.label_key),
        flash=Flash(config.flash_file, None),
        interpreter=Interpreter(config.interpreter),
        scratch=config.flash_file.with_name(config.flash_file.name + ".unpacked"),
        make_antenna=make_antenna,
        speed=1.0,
        clock_ppm=config.clock_ppm,
        seed=config.seed,
    )
    _, scene = await asyncio.open_connection("127.0.0.1", config.scene_port)
    serial = UsbSerial(config.serial)
    board = Board(make, truth, scene, serial)
    supply = ScpiSupply(lambda on: board.power(on=on), lambda: (board.powered, board.current_ma))
    server = await asyncio.start_server(supply.serve, "127.0.0.1", 0)
    say_ready(
        {
            "serial_port": serial.port,
            "supply_port": server.sockets[0].getsockname()[1],
            "interpreter": make.interpreter.name,
        },
        board.kept_waiting_s,
    )
    await standard_input_ended()
    server.close()
    supply.close()
    await board.close()
    await asyncio.to_thread(radios.close)


def main() -> None:
    """Run the unit of the command line's configuration."""
    end_with_parent()
    ask_for_priority()
    asyncio.run(run(config_of(Config, "lab unit")))


if __name__ == "__main__":
    main()
