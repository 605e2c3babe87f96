"""The board's process, held against pyserial's client, the chip vendor's esptool and the kernel's own word on processes."""

import asyncio
import contextlib
import io
import json
import os
import select
import signal
import socket
import struct
import subprocess
import sys
import tarfile
import time
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import cast
from unittest.mock import ANY

import pytest
from esptool import cmds
from esptool.targets import ESP32ROM
from serial import rfc2217

from hil.virtual.air.radio import HotspotPlan, Radio, RadioEvent, Refused, Silent
from hil.virtual.board.flash import FLASH_SIZE, SECTOR_SIZE
from hil.virtual.board.image import IMAGE_AT, SELECTION_AT, SLOT_SIZE, SLOTS, pack_image

LIMIT_S = 20.0
SPEED = 4.0
SECTOR_AT = 0x90000
ADDRESS = "02:00:00:12:34:56"
HOTSPOT_ADDRESS = bytes.fromhex("060000123456")
KEY = b"label key of this unit"

# pyserial 3.5's client still calls methods of threads that Python has renamed.
pytestmark = pytest.mark.filterwarnings("ignore:set(Daemon|Name)\\(\\) is deprecated:DeprecationWarning")

# A firmware of the test's own: it does what it is told on its console. "order" sends a line to the board, "ask" waits
# for the answer too and says it, "event" says the next one.
FIRMWARE = b"""
import json, os, socket, sys
board = socket.socket()
board.connect(socket.getaddrinfo("127.0.0.1", int(os.getenv("HIL_LINK")))[0][-1])
unread, events = b"", []
def order(message):
    board.send((json.dumps(message) + "\\n").encode())
def receive():
    global unread
    while b"\\n" not in unread:
        unread += board.recv(4096)
    line, unread = unread.split(b"\\n", 1)
    return json.loads(line)
def ask(message):
    order(message)
    while True:
        answer = receive()
        if "id" in answer:
            return answer
        events.append(answer)
print("tick rate", os.getenv("HIL_TICK_RATE"))
print("ready")
while True:
    word, _, rest = sys.stdin.readline().strip().partition(" ")
    if word == "order":
        order(json.loads(rest))
    elif word == "ask":
        print("answer", json.dumps(ask(json.loads(rest))))
    elif word == "event":
        print("event", json.dumps(events.pop(0) if events else receive()))
    elif word == "fetch":
        far = socket.socket()
        far.connect(socket.getaddrinfo("127.0.0.1", int(rest))[0][-1])
        far.send(b"question\\n")
        print("fetched", far.recv(100).decode())
    elif word == "spin":
        print("spinning")
        while True:
            pass
    elif word == "crash":
        raise ValueError("on purpose")
    print("done")
"""


def pack(main: bytes) -> bytes:
    """Return the image of an application that is this one file."""
    payload = io.BytesIO()
    with tarfile.open(fileobj=payload, mode="w") as archive:
        entry = tarfile.TarInfo("main.py")
        entry.size = len(main)
        archive.addfile(entry, io.BytesIO(main))
    return pack_image(payload.getvalue())


class QuickSerial(rfc2217.Serial):
    """pyserial's client, which spares sending all settings again (100 ms) when only a time limit of its own changes."""

    def __init__(self, url: str) -> None:
        super().__init__(None, timeout=LIMIT_S)
        self._sent: tuple[object, ...] | None = None
        self.port = url

    def _reconfigure_port(self) -> None:
        settings = (self.baudrate, self.bytesize, self.parity, self.stopbits)
        if self._sent != settings:
            super()._reconfigure_port()  # type: ignore[misc]  # the published types leave it out
            self._sent = settings


class Console:
    """The client's end of the serial line."""

    def __init__(self, port: int) -> None:
        self.line = QuickSerial(f"rfc2217://127.0.0.1:{port}")
        self.line.dtr = self.line.rts = False
        self.line.open()

    def until(self, mark: bytes) -> bytes:
        """Return what comes up to and with the mark."""
        got = self.line.read_until(mark)
        assert got.endswith(mark), got
        return got

    def do(self, command: str) -> str:
        """Have the firmware do a command; return what it says of it."""
        self.line.write(command.encode() + b"\n")
        return self.until(b"done\n").decode()[: -len("done\n")].strip()

    def ask(self, **message: object) -> dict[str, object]:
        """Have the firmware ask the board."""
        said = self.do("ask " + json.dumps({"id": 7, **message})).removeprefix("answer ")
        return {str(key): value for key, value in json.loads(said).items() if key != "id"}

    def event(self) -> dict[str, object]:
        """Return the next event that the board told the firmware."""
        return cast("dict[str, object]", json.loads(self.do("event").removeprefix("event ")))


class Board:
    """A board's process with what a bench has of it."""

    def __init__(self, folder: Path, **config: object) -> None:
        self.flash_file, self.truth_file = folder / "flash", folder / "truth"
        self.config = {
            "air_port": 1,
            "flash_file": str(self.flash_file),
            "truth_file": str(self.truth_file),
            "speed": SPEED,
            "address": ADDRESS,
            "serial": "MV2-000123",
            "label_key": KEY.decode(),
            **config,
        }
        self.process = start_world("board", self.config)
        assert self.process.stdout is not None
        self.ready: dict[str, object] = json.loads(self.process.stdout.readline())
        self._control = socket.create_connection(("127.0.0.1", int(str(self.ready["control_port"]))), timeout=LIMIT_S)
        self._answers = self._control.makefile("rb")
        self.console = Console(int(str(self.ready["serial_port"])))

    def order(self, **request: object) -> dict[str, object]:
        self._control.sendall(json.dumps(request).encode() + b"\n")
        return cast("dict[str, object]", json.loads(self._answers.readline()))

    def power(self, *, on: bool) -> None:
        assert self.order(op="power", on=on).items() >= {"ok": True, "on": on}.items()

    @property
    def current_ma(self) -> float:
        return float(str(self.order(op="state")["current_ma"]))

    def truth(self, what: str) -> list[dict[str, object]]:
        lines = [json.loads(line) for line in self.truth_file.read_text().splitlines()]
        return [line for line in lines if line["what"] == what]

    @property
    def starts(self) -> list[object]:
        """Causes of all starts of the chip."""
        return [line["cause"] for line in self.truth("chip start")]

    def chip(self) -> int:
        """Return a handle of the process that runs the firmware (of the kernel's pidfd kind), to be closed."""
        limit_s = time.monotonic() + LIMIT_S
        while not (running := [one for one in self.children() if self._runs_firmware(one)]):
            assert time.monotonic() < limit_s, "no process runs the firmware"
            time.sleep(0.01)  # a process of another process: nothing to wait on
        (number,) = running
        return os.pidfd_open(number)

    def standby(self) -> int:
        """Return a handle of the process that waits for the next life, to be closed; it comes a second after a start."""
        limit_s = time.monotonic() + LIMIT_S
        while not (waiting := [one for one in self.children() if not self._runs_firmware(one)]):
            assert time.monotonic() < limit_s, "no interpreter waits"
            time.sleep(0.01)  # a process of another process: nothing to wait on
        (number,) = waiting
        return os.pidfd_open(number)

    def children(self) -> list[int]:
        """Return the numbers of the processes that the board has started and that live."""
        listed = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text()
        return [int(number) for number in listed.split()]

    def _runs_firmware(self, process: int) -> bool:
        return Path(f"/proc/{process}/cwd").resolve().is_relative_to(self.flash_file.with_name("flash.unpacked"))

    def close(self) -> None:
        self._answers.close()
        self._control.close()
        self.console.line.close()
        end_world(self.process)


def start_world(name: str, config: dict[str, object]) -> "subprocess.Popen[bytes]":
    return subprocess.Popen(
        [sys.executable, "-m", f"hil.virtual.{name}", json.dumps(config)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        start_new_session=True,  # in which it is served first, as on a bench
    )


def end_world(process: "subprocess.Popen[bytes]") -> int:
    """End a process of the world by the end of its standard input; return its exit code."""
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.close()
    code = process.wait(LIMIT_S)
    process.stdout.close()
    return code


def is_over(handle: int, limit_s: float = LIMIT_S) -> bool:
    """Say whether the process of a pidfd ends within the limit."""
    return bool(select.select([handle], [], [], limit_s)[0])


MakeBoard = Callable[..., Board]


@pytest.fixture
def make_board(tmp_path: Path) -> Iterator[MakeBoard]:
    """Make a board whose flash holds an image (the test's own firmware unless another is given)."""
    with contextlib.ExitStack() as boards:

        def make(image: bytes = pack(FIRMWARE), **config: object) -> Board:
            cells = bytearray(b"\xff" * FLASH_SIZE)
            cells[IMAGE_AT : IMAGE_AT + len(image)] = image
            (tmp_path / "flash").write_bytes(cells)
            board = Board(tmp_path, **config)
            boards.callback(board.close)
            return board

        yield make


@pytest.fixture
def board(make_board: MakeBoard) -> Board:
    """A board that has been switched on and is ready."""
    board = make_board()
    board.power(on=True)
    board.console.until(b"ready\n")
    return board


@pytest.mark.parametrize("interpreter", ["micropython", "cpython"])
def test_it_boots_and_talks_under_either_interpreter(make_board: MakeBoard, interpreter: str) -> None:
    board = make_board(interpreter=interpreter, clock_ppm=250.0)
    assert board.ready["interpreter"] == interpreter
    board.power(on=True)
    said = board.console.until(b"ready\n")
    # Form and words of the ROM's line: the chip vendor's flashing guide, "Boot mode selection".
    assert b"rst:0x1 (POWERON_RESET),boot:0x13 (SPI_FAST_FLASH_BOOT)\r\n" in said
    assert float(said.split(b"tick rate ")[1].split(b"\n")[0]) == SPEED * 1.00025
    assert board.console.ask(op="identity") == {
        "address": ADDRESS,
        "hotspot_address": HOTSPOT_ADDRESS.hex(":"),
        "serial": "MV2-000123",
        "label_key": KEY.decode(),
        "cause": "power",
        "slot": 0,
    }


def test_opening_setting_and_closing_the_port_resets_nothing(board: Board) -> None:
    line = board.console.line
    for _ in range(2):
        line.baudrate = 9600
        line.close()
        line.baudrate = 115_200
        line.open()
        assert board.console.ask(op="identity")["cause"] == "power"
    assert board.starts == ["power"]


def test_the_reset_line_holds_and_restarts_even_a_spinning_chip(board: Board) -> None:
    board.console.line.write(b"spin\n")
    board.console.until(b"spinning\n")
    chip = board.chip()
    board.console.line.rts = True
    assert is_over(chip)
    os.close(chip)
    assert len(board.truth("chip end")) == 1
    board.console.line.rts = False
    assert b"rst:0x1 (POWERON_RESET)" in board.console.until(b"ready\n")
    assert board.console.ask(op="identity")["cause"] == "reset line"


def test_power_that_comes_while_reset_is_held_starts_nothing(make_board: MakeBoard) -> None:
    board = make_board()
    board.console.line.rts = True
    board.power(on=True)
    assert board.starts == []
    board.console.line.rts = False
    board.console.until(b"ready\n")
    assert board.starts == ["power"]


def test_esptool_flashes_over_the_serial_port_and_the_new_build_runs(board: Board) -> None:
    esp = ESP32ROM(board.console.line)
    esp.connect("default-reset")
    assert esp.read_mac() == tuple(bytes.fromhex(ADDRESS.replace(":", "")))
    cmds.attach_flash(esp)
    cmds.write_flash(esp, [(IMAGE_AT, pack(b"print('second build')\nwhile True: pass\n"))], compress=False)
    esp.hard_reset()
    board.console.until(b"second build\n")
    assert [(line["cause"], line["mode"]) for line in board.truth("chip start")] == [
        ("power", "flash"),
        ("reset line", "loader"),
        ("reset line", "flash"),
    ]


def test_a_power_cut_ends_a_spinning_firmware(board: Board) -> None:
    board.console.line.write(b"spin\n")
    board.console.until(b"spinning\n")
    chip = board.chip()
    board.power(on=False)
    # The answer comes when it is gone: no waiting here.
    assert is_over(chip, 0)
    os.close(chip)
    assert board.current_ma == 0.0
    board.power(on=True)
    board.console.until(b"ready\n")
    assert board.starts == ["power", "power"]


def test_power_cuts_in_a_row_leave_one_chip(board: Board) -> None:
    for _ in range(25):
        board.power(on=False)
        board.power(on=True)
    board.console.until(b"ready\n")
    os.close(board.chip())
    starts, ends = len(board.truth("chip start")), len(board.truth("chip end"))
    assert starts == ends + 1


def test_a_software_restart(board: Board) -> None:
    # Right after the order the chip spins, as a real one does until the restart comes.
    board.console.line.write(b'order {"op": "reset"}\nspin\n')
    # Reset reason 12 (0xc) is a software restart of the processor: the vendor's ROM header.
    assert b"rst:0xc (SW_CPU_RESET)" in board.console.until(b"ready\n")
    assert board.console.ask(op="identity")["cause"] == "software"
    assert len(board.truth("reset op")) == 1


def test_a_crash_says_its_traceback_and_restarts(board: Board) -> None:
    board.console.line.write(b"crash\n")
    said = board.console.until(b"ready\n")
    assert said.index(b"ValueError: on purpose") < said.index(b"rst:0xc (SW_CPU_RESET)")
    assert board.console.ask(op="identity")["cause"] == "panic"


@pytest.mark.parametrize("spoilt", ["magic", "hash", "no tar"])
def test_a_bad_image_loops_in_the_rom_and_is_not_run(make_board: MakeBoard, spoilt: str) -> None:
    image = bytearray(pack(FIRMWARE) if spoilt != "no tar" else pack_image(b"not a tar"))
    if spoilt != "no tar":
        image[{"magic": 0, "hash": 600}[spoilt]] ^= 0x40
    board = make_board(bytes(image))
    board.power(on=True)
    first = board.console.until(b"invalid image at 0x10000\r\n")
    second = board.console.until(b"invalid image at 0x10000\r\n")
    assert b"ready" not in first + second
    assert b"rst:0x1 (POWERON_RESET)" in first
    assert b"rst:0x10 (RTCWDT_RTC_RESET)" in second


@pytest.mark.parametrize(("selected", "spoilt", "started"), [(0, None, 0), (1, None, 1), (1, 1, 0), (0, 0, 1)])
def test_the_selected_slot_starts_or_else_the_other(
    make_board: MakeBoard, selected: int, spoilt: int | None, started: int
) -> None:
    slots = [bytearray(pack(FIRMWARE).ljust(SLOT_SIZE, b"\xff")) for _ in SLOTS]
    if spoilt is not None:
        slots[spoilt][600] ^= 0x40
    board = make_board(b"".join(slots))
    numbers = struct.pack("<II", 1, selected)
    with board.flash_file.open("r+b") as cells:
        cells.seek(SELECTION_AT[0])
        cells.write(b"MVSL" + numbers + struct.pack("<I", zlib.crc32(numbers)))
    board.power(on=True)
    said = board.console.until(b"ready\n")
    assert board.console.ask(op="identity")["slot"] == started
    assert (b"invalid image at %#x\r\n" % SLOTS[selected] in said) == (spoilt is not None)


def begin_erase(board: Board) -> None:
    """Have the firmware begin to erase a sector that is all zeros."""
    board.power(on=True)
    board.console.until(b"ready\n")
    board.console.do(f'order {{"op": "erase", "at": {SECTOR_AT}}}')
    # Messages are taken in their order: when this one is answered, the erase has begun.
    board.console.ask(op="identity")
    assert [line["phase"] for line in board.truth("flash erase")] == ["begin"]


def zeros_at_sector(board: Board) -> None:
    with board.flash_file.open("r+b") as cells:
        cells.seek(SECTOR_AT)
        cells.write(bytes(SECTOR_SIZE))


def sector(board: Board) -> bytes:
    return board.flash_file.read_bytes()[SECTOR_AT : SECTOR_AT + SECTOR_SIZE]


def test_a_power_cut_tears_a_sector_that_is_being_erased(make_board: MakeBoard) -> None:
    # So slow that the erase outlasts the test.
    board = make_board(speed=0.002)
    zeros_at_sector(board)
    begin_erase(board)
    board.power(on=False)
    assert [line["phase"] for line in board.truth("flash erase")] == ["begin", "torn"]
    assert 0 < int.from_bytes(sector(board), "big").bit_count() < 8 * SECTOR_SIZE


def test_a_reset_lets_the_flash_finish(make_board: MakeBoard) -> None:
    board = make_board(speed=0.05)
    zeros_at_sector(board)
    begin_erase(board)
    board.console.line.rts = True
    board.console.line.rts = False
    board.console.until(b"ready\n")
    assert board.console.ask(op="read", at=SECTOR_AT, n=4) == {"data": "ffffffff"}
    assert sector(board) == b"\xff" * SECTOR_SIZE
    assert [line["phase"] for line in board.truth("flash erase")] == ["begin", "end"]


def test_flash_operations_over_the_link(board: Board) -> None:
    assert board.console.ask(op="program", at=SECTOR_AT, data="a5f0") == {"ok": True}
    assert board.console.ask(op="program", at=SECTOR_AT, data="0fff") == {"ok": True}
    assert board.console.ask(op="read", at=SECTOR_AT, n=3) == {"data": "05f0ff"}
    assert "error" in board.console.ask(op="program", at=SECTOR_AT + 250, data="00" * 7)
    assert board.console.ask(op="erase", at=SECTOR_AT) == {"ok": True}
    assert board.console.ask(op="read", at=SECTOR_AT, n=3) == {"data": "ffffff"}
    assert "error" in board.console.ask(op="no such thing")


def test_the_lamp_reaches_the_scene_lives_through_resets_and_goes_dark_with_the_supply(
    make_board: MakeBoard,
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(LIMIT_S)
        board = make_board(scene_port=server.getsockname()[1])
        scene, _ = server.accept()
        scene.settimeout(LIMIT_S)
    with scene, scene.makefile("rb") as lines:
        board.power(on=True)
        board.console.until(b"ready\n")
        # A WS2812-class lamp takes green first, and keeps what it shows until told otherwise: its data sheet.
        board.console.do('order {"op": "lamp", "wire": "ff2010"}')
        assert json.loads(lines.readline()) == {"lamp": "unit", "rgb": [0x20, 0xFF, 0x10]}
        board.console.line.rts = True
        board.power(on=False)
        assert json.loads(lines.readline()) == {"lamp": "unit", "rgb": [0, 0, 0]}
    assert [line["rgb"] for line in board.truth("lamp")] == [[0x20, 0xFF, 0x10], [0, 0, 0]]


def test_the_current_tells_what_the_board_does(board: Board) -> None:
    running_ma = board.current_ma
    board.console.do('order {"op": "lamp", "wire": "ffffff"}')
    board.console.ask(op="identity")
    lit_ma = board.current_ma
    board.console.line.rts = True
    held_ma = board.current_ma
    board.power(on=False)
    assert 0.0 == board.current_ma < held_ma < running_ma < lit_ma


def test_control_refuses_what_it_does_not_know(board: Board) -> None:
    assert "no such request" in str(board.order(op="power", on="yes")["error"])
    assert board.order(op="state")["on"] is True


def test_the_end_of_standard_input_ends_everything(board: Board) -> None:
    chip, standby = board.chip(), board.standby()
    assert end_world(board.process) == 0
    for handle in (chip, standby):
        assert is_over(handle, 0)
        os.close(handle)


def test_a_killed_board_leaves_no_process(board: Board) -> None:
    board.console.line.write(b"spin\n")
    board.console.until(b"spinning\n")
    chip, standby = board.chip(), board.standby()
    board.process.send_signal(signal.SIGKILL)
    for handle in (chip, standby):
        assert is_over(handle)
        os.close(handle)


def test_an_interpreter_that_was_lost_while_it_waited_is_loaded_anew(board: Board) -> None:
    standby = board.standby()
    board.power(on=False)
    signal.pidfd_send_signal(standby, signal.SIGKILL)
    assert is_over(standby)
    os.close(standby)
    board.power(on=True)
    board.console.until(b"ready\n")
    assert board.starts == ["power", "power"]


def test_a_wrong_configuration_is_refused() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "hil.virtual.board", '{"air_port": "none"}'],
        capture_output=True,
        timeout=LIMIT_S,
        check=False,
    )
    assert done.returncode == 2
    assert b"air_port" in done.stderr


# -- in the air


@pytest.fixture
def air() -> Iterator[int]:
    process = start_world("air", {"speed": SPEED, "seed": 1})
    assert process.stdout is not None
    yield int(json.loads(process.stdout.readline())["port"])
    end_world(process)


class Neighbour:
    """Another station of the air, with its events in a queue."""

    def __init__(self, air_port: int) -> None:
        self._events: asyncio.Queue[RadioEvent] = asyncio.Queue()
        self.radio = Radio(air_port, bytes.fromhex("02aa00000001"), speed=SPEED, on_event=self._events.put_nowait)

    async def until(self, kind: str) -> RadioEvent:
        """Return the next event of that kind."""
        while True:
            event = await asyncio.wait_for(self._events.get(), LIMIT_S)
            if event.kind == kind:
                return event


async def in_thread(work: Callable[[], object]) -> object:
    return await asyncio.wait_for(asyncio.to_thread(work), LIMIT_S)


HOST = {"op": "host", "ssid": b"mossgate-3456".hex(), "key": KEY.hex(), "channel": 6, "ip": "203.0.113.1"}


def test_its_hotspot_takes_members_and_vanishes_with_the_supply(make_board: MakeBoard, air: int) -> None:
    async def use(board: Board) -> None:
        neighbour = Neighbour(air)
        await neighbour.radio.open()
        for _ in range(2):
            board.power(on=True)
            await in_thread(lambda: board.console.until(b"ready\n"))
            assert await in_thread(lambda: board.console.ask(**HOST)) == {"ok": True}
            assert board.current_ma > 115.0
            await neighbour.radio.join(b"mossgate-3456", KEY)
            assert (await neighbour.until("joined")).data["bssid"] == HOTSPOT_ADDRESS
            await neighbour.until("leased")
            with pytest.raises(Refused):
                await neighbour.radio.dial("203.0.113.1", 80)
            board.power(on=False)
            # No farewell frame: the member finds out by itself.
            assert (await neighbour.until("left")).data["reason"] is None
        await neighbour.radio.close()

    board = make_board(air_port=air)
    asyncio.run(use(board))
    assert [line["what"] for kind in ("hotspot up", "hotspot down") for line in board.truth(kind)] == [
        "hotspot up",
        "hotspot up",
        "hotspot down",
        "hotspot down",
    ]


def test_it_joins_a_network_and_reaches_services_there(make_board: MakeBoard, air: int) -> None:
    async def answer(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write((await reader.readline()).upper())
        await writer.drain()
        writer.close()

    async def use(board: Board) -> None:
        service = await asyncio.start_server(answer, "127.0.0.1", 0)
        neighbour = Neighbour(air)
        await neighbour.radio.open()
        await neighbour.radio.host(HotspotPlan(b"orchard", b"apples and pears", 11, "192.0.2.1"))
        neighbour.radio.listen(8080, service.sockets[0].getsockname()[1])
        await in_thread(lambda: join_and_look_around(board))
        neighbour.radio.unlisten(8080)
        assert await in_thread(lambda: board.console.ask(op="dial", host="192.0.2.1", port=8080)) == {
            "error": "refused"
        }
        await neighbour.radio.close()
        service.close()
        await service.wait_closed()

    board = make_board(air_port=air)
    board.power(on=True)
    asyncio.run(use(board))
    assert [len(board.truth(what)) for what in ("joining", "joined", "leased")] == [1, 1, 1]


def join_and_look_around(board: Board) -> None:
    console = board.console
    console.until(b"ready\n")
    networks = cast("list[dict[str, object]]", console.ask(op="scan")["networks"])
    assert [(seen["ssid"], seen["channel"], seen["security"]) for seen in networks] == [(b"orchard".hex(), 11, "wpa2")]
    assert console.ask(op="join", ssid=b"orchard".hex(), key=b"apples and pears".hex()) == {"ok": True}
    assert console.event() == {"event": "joined", "bssid": ANY, "channel": ANY}
    leased = console.event()
    assert (leased["event"], str(leased["ip"]).startswith("192.0.2.")) == ("leased", True)
    assert int(str(console.ask(op="signal")["dbm"])) < 0
    local = console.ask(op="dial", host="192.0.2.1", port=8080)["local"]
    assert console.do(f"fetch {local}") == "fetched QUESTION"
    assert console.ask(op="dial", host="192.0.2.77", port=80) == {"error": "silent"}


def test_a_wrong_key_is_told_to_the_firmware(make_board: MakeBoard, air: int) -> None:
    async def use(board: Board) -> None:
        neighbour = Neighbour(air)
        await neighbour.radio.open()
        await neighbour.radio.host(HotspotPlan(b"orchard", b"apples and pears", 1, "192.0.2.1"))
        board.power(on=True)
        await in_thread(lambda: board.console.until(b"ready\n"))
        await in_thread(lambda: board.console.ask(op="join", ssid=b"orchard".hex(), key=b"wrong and wrong".hex()))
        event = cast("dict[str, object]", await in_thread(board.console.event))
        # Reason code 15, four-way handshake timeout: IEEE 802.11, table of reason codes.
        assert event == {"event": "join failed", "why": "wrong key", "reason": 15}
        with pytest.raises(Silent):
            await neighbour.radio.dial("192.0.2.2", 80)
        await neighbour.radio.close()

    asyncio.run(use(make_board(air_port=air)))


def test_no_air_is_an_error_for_the_firmware_not_for_the_board(board: Board) -> None:
    assert "error" in board.console.ask(op="scan")
    assert board.console.ask(op="identity")["cause"] == "power"
