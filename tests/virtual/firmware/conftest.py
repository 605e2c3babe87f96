"""A small board for the unit's program to run on: link, flash in memory, scripted radio; no air, no clock of its own."""

import contextlib
import html
import http.server
import json
import os
import re
import signal
import socket
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import html5lib
import pytest
import requests
from support.host import HOST

from hil.virtual.build import firmware_files
from hil.virtual.patches import load_patch

VIRTUAL = Path(__file__).parents[3] / "hil" / "virtual"
FIRMWARE = VIRTUAL / "firmware"
SHIMS = VIRTUAL / "shims"
MICROPYTHON = Path(sys.executable).with_name("micropython")
SPEED = 20.0
PATIENCE_S = 20.0
LABEL_KEY = "thistle-4417"

Message = dict[str, object]


class Board:
    """One board: runs a program as the chip, answers it, remembers what it ordered.

    `networks` maps a name to its key; joining one of them gives `lease_ip`. A scan finds the names `in_the_air`, and what is
    `seen` in full. `guests` are on the hotspot. `cut_at_op` kills the chip during the flash operation of that number
    (counted from 1), torn as `tear` says; a `stuck` flash keeps its bits. Its clock goes at `speed` times ours.
    """

    def __init__(self, interpreter: str, folder: Path) -> None:
        self.interpreter = interpreter
        self.folder = folder
        self.flash = bytearray(b"\xff" * 0x100000)
        self.networks: dict[str, str] = {}
        self.lease_ip = "192.0.2.23"
        self.speed = SPEED
        self.cause = "power"
        self.broken_radio = False
        self.guests = 0
        self.in_the_air: list[str] = []
        self.seen: list[Message] = []
        self.stuck = False
        self.dial_to = 0
        self.awake_already_s = 0.0
        self.label_key = LABEL_KEY
        self.orders: list[Message] = []
        self.console = ""
        self.cut_at_op = 0
        self.tear: Callable[[bytes, bytes], bytes] = lambda _old, new: new
        self.flash_ops = 0
        HOST.begin()
        self._news = threading.Condition()
        self._server = socket.create_server(("127.0.0.1", 0))
        self._chip: subprocess.Popen[bytes] | None = None
        self._line: socket.socket | None = None
        self._threads: list[threading.Thread] = []

    # the chip's life

    def power_on(self, app: Path = FIRMWARE, script: str = "main.py") -> None:
        """Start the chip on a program; it lives until `power_off`."""
        self.orders, self.console = [], ""
        environment = {
            **os.environ,
            "HIL_LINK": str(self._server.getsockname()[1]),
            "HIL_TICK_RATE": str(self.speed * 1.0002),
            "HIL_STARTED": repr(time.monotonic() - self.awake_already_s),
            "PYTHONDONTWRITEBYTECODE": "1",
            "MICROPYPATH": f".frozen:{SHIMS / 'virtual'}:{app}",
        }
        micropython = [str(MICROPYTHON), str(app / script)]
        cpython = [sys.executable, "-u", str(SHIMS / "cpython_start.py"), str(app)]
        command = micropython if self.interpreter == "micropython" else cpython
        self._chip = subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
        self._run(self._read_console)
        self._run(self._serve_chip)

    def power_off(self) -> None:
        """Kill the chip and wait until all that listened to it has ended."""
        if self._chip is not None:
            self._chip.kill()
            self._chip.wait(PATIENCE_S)
            for thread in self._threads:
                thread.join(PATIENCE_S)
                assert not thread.is_alive()
            self._threads.clear()
            assert self._chip.stdout is not None
            self._chip.stdout.close()
            self._chip = None

    def close(self) -> None:
        """Take the board away."""
        self.power_off()
        self._server.close()

    def exit_code(self) -> int:
        """Wait until the chip ends by itself."""
        assert self._chip is not None
        return self._chip.wait(PATIENCE_S)

    # what a test asks

    def wait_for(self, what: str, happened: Callable[[], bool]) -> None:
        """Wait until something is so; the message says what was awaited and what the console showed."""
        with self._news:
            assert self._news.wait_for(happened, PATIENCE_S), f"awaited {what}; the console said:\n{self.console}"

    def look_until(self, what: str, so: Callable[[], bool]) -> None:
        """Look at the unit from outside until something is so; each look asks the unit."""
        end_s = time.monotonic() + PATIENCE_S
        while not so():
            assert time.monotonic() < end_s, f"awaited {what}; the console said:\n{self.console}"

    def wait_for_line(self, text: str) -> None:
        """Wait until the console showed a text."""
        self.wait_for(repr(text), lambda: text in self.console)

    def ordered(self, op: str) -> list[Message]:
        """Return the orders of one kind since power-on."""
        return [order for order in list(self.orders) if order["op"] == op]

    def wait_for_order(self, op: str) -> Message:
        """Wait for the first order of one kind."""
        self.wait_for(f"order {op}", lambda: bool(self.ordered(op)))
        return self.ordered(op)[0]

    def web_port(self) -> int:
        """Return the local port where the unit serves its port 80."""
        port = self.wait_for_order("listen")["local"]
        assert isinstance(port, int)
        return port

    def send_event(self, **event: object) -> None:
        """Let the chip hear an event."""
        assert self._line is not None
        self._line.sendall(json.dumps(event).encode() + b"\n")

    def send_lease(self, ip: str) -> None:
        """Let the chip hear that it was given an address."""
        self.send_event(event="leased", ip=ip, mask="255.255.255.0", router="192.0.2.1")

    # the unit's pages

    def get(self, path: str, **options: Any) -> requests.Response:
        """Get a page."""
        return requests.get(f"http://127.0.0.1:{self.web_port()}{path}", timeout=PATIENCE_S, **options)

    def post(self, path: str, fields: dict[str, str], **options: Any) -> requests.Response:
        """Send a form."""
        return requests.post(f"http://127.0.0.1:{self.web_port()}{path}", data=fields, timeout=PATIENCE_S, **options)

    def status(self) -> dict[str, str]:
        """Return the rows of the status page."""
        rows = re.findall(r"<dt>(.*?)</dt><dd>(.*?)</dd>", self.get("/now").text)
        return {html.unescape(name): html.unescape(text) for name, text in rows}

    @staticmethod
    def inputs_of(page: str) -> dict[str, str | None]:
        """Return the inputs of a page, read by a browser-grade parser: name and value."""
        tree = html5lib.parse(page, namespaceHTMLElements=False)
        return {field.get("name"): field.get("value") for field in tree.iter("input")}

    @contextlib.contextmanager
    def connections(self, count: int) -> Iterator[list[socket.socket]]:
        """Hold some bare connections to the unit's pages."""
        with contextlib.ExitStack() as held:
            place = ("127.0.0.1", self.web_port())
            yield [held.enter_context(socket.create_connection(place, PATIENCE_S)) for _ in range(count)]

    def send_raw(self, octets: bytes) -> bytes:
        """Send octets over a connection of their own and return the answer, to its end."""
        with self.connections(1) as (connection,):
            connection.sendall(octets)
            answer = b""
            while piece := connection.recv(4096):
                answer += piece
            return answer

    @staticmethod
    def break_off(connection: socket.socket) -> None:
        """End a connection with a reset rather than a farewell."""
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        connection.close()

    def drop_link(self) -> None:
        """Be gone, as far as the chip can see."""
        assert self._line is not None
        self._line.shutdown(socket.SHUT_RDWR)

    # what the board does

    def _run(self, work: Callable[[], None]) -> None:
        thread = threading.Thread(target=work, daemon=True)
        thread.start()
        self._threads.append(thread)

    def _read_console(self) -> None:
        assert self._chip is not None
        assert self._chip.stdout is not None
        for line in self._chip.stdout:
            with self._news:
                self.console += line.decode()
                self._news.notify_all()

    def _serve_chip(self) -> None:
        line = self._chip_calls()
        if line is None:
            return
        with line, line.makefile("rb") as orders:
            self._line = line
            try:
                for octets in orders:
                    self._take(json.loads(octets))
            except ConnectionError:
                pass  # the chip was killed

    def _chip_calls(self) -> socket.socket | None:
        """Return the line to the chip, None when the chip ended before it called."""
        assert self._chip is not None
        self._server.settimeout(0.1)
        while self._chip.poll() is None:
            with contextlib.suppress(TimeoutError):
                line, _ = self._server.accept()
                line.settimeout(None)
                return line
        return None

    def _take(self, order: Message) -> None:
        with self._news:
            self.orders.append(order)
            self._news.notify_all()
        answer = self._obey(order)
        if "id" in order:
            self.send_event(id=order["id"], **answer)
        if order["op"] == "join" and not self.broken_radio:
            self._try_to_join(order)

    def _obey(self, order: Message) -> Message:
        match order:
            case {"op": "identity"}:
                addresses = {"address": "02:4d:56:00:A4:1F", "hotspot_address": "06:4d:56:00:A4:1F"}
                return {**addresses, "serial": "MV2-0001", "label_key": LABEL_KEY, "cause": self.cause}
            case {"op": "read", "at": int(at), "n": int(count)}:
                return {"data": self.flash[at : at + count].hex()}
            case {"op": "erase", "at": int(at)}:
                self._write(at, b"\xff" * 4096)
            case {"op": "program", "at": int(at), "data": str(data)}:
                new = bytes.fromhex(data)
                assert at // 256 == (at + len(new) - 1) // 256, "a page program across pages"
                old = self.flash[at : at + len(new)]
                self._write(at, bytes(before & after for before, after in zip(old, new, strict=True)))
            case {"op": "scan"}:
                heard = {"channel": 1, "signal": -50, "security": "wpa2", "bssid": "024d56000001"}
                named = [{"ssid": name.encode().hex(), **heard} for name in self.in_the_air]
                return {"networks": [*named, *self.seen]}
            case {"op": "guests"}:
                return {"count": self.guests}
            case {"op": "signal"}:
                return {"dbm": -58}
            case {"op": "dial"}:
                return {"local": self.dial_to} if self.dial_to else {"error": "refused"}
            case {"op": "join" | "host"} if self.broken_radio:
                return {"error": "radio does not answer"}
        return {}

    def _write(self, at: int, new: bytes) -> None:
        self.flash_ops += 1
        old = bytes(self.flash[at : at + len(new)])
        cut = self.flash_ops == self.cut_at_op
        if not self.stuck:
            self.flash[at : at + len(new)] = self.tear(old, new) if cut else new
        if cut:
            assert self._chip is not None
            self._chip.send_signal(signal.SIGKILL)
            raise ConnectionAbortedError

    def _try_to_join(self, order: Message) -> None:
        name = bytes.fromhex(str(order["ssid"])).decode()
        if name not in self.networks:
            self.send_event(event="join failed", why="not found", reason=None)
        elif self.networks[name].encode().hex() != order["key"]:
            self.send_event(event="join failed", why="wrong key", reason=15)
        else:
            self.send_event(event="joined", bssid="0200000000c1", channel=1)
            if "ip" in order:
                self.send_event(event="addressed", **{key: order[key] for key in ("ip", "mask", "router")})
            elif self.lease_ip:
                self.send_lease(self.lease_ip)


@pytest.fixture(params=["micropython", "cpython"])
def interpreter(request: pytest.FixtureRequest) -> str:
    """Both interpreters that can run the unit's program."""
    if request.param == "micropython" and not MICROPYTHON.exists():
        pytest.skip("no MicroPython for this Python here")
    return str(request.param)


@pytest.fixture
def board(interpreter: str, tmp_path: Path) -> Iterator[Board]:
    """A board with erased flash, its power off."""
    made = Board(interpreter, tmp_path)
    yield made
    made.close()


@pytest.fixture
def micropython_board(tmp_path: Path) -> Iterator[Board]:
    """A board under MicroPython only, for what needs many starts."""
    if not MICROPYTHON.exists():
        pytest.skip("no MicroPython for this Python here")
    made = Board("micropython", tmp_path)
    yield made
    made.close()


@pytest.fixture
def run_program(interpreter: str) -> Callable[[str], object]:
    """Run lines that import the unit's modules (those that need no board) and read the JSON they print."""

    def run(program: str) -> object:
        if interpreter == "micropython":
            command = [str(MICROPYTHON), "-c", program]
            environment = {**os.environ, "MICROPYPATH": f".frozen:{FIRMWARE}"}
        else:
            command = [sys.executable, "-c", program]
            environment = {**os.environ, "PYTHONPATH": str(FIRMWARE), "PYTHONDONTWRITEBYTECODE": "1"}
        done = subprocess.run(command, env=environment, capture_output=True, timeout=PATIENCE_S, check=False)
        assert done.returncode == 0, done.stderr.decode()
        found: object = json.loads(done.stdout)
        return found

    return run


@pytest.fixture
def firmware() -> Path:
    """Where the reference firmware lies."""
    return FIRMWARE


@pytest.fixture
def patched(tmp_path: Path) -> Callable[[str], Path]:
    """Write the files of a known-bad unit into a folder."""

    def write(name: str) -> Path:
        folder = tmp_path / name
        folder.mkdir()
        for file, text in load_patch(name).apply(firmware_files()).items():
            (folder / file).write_text(text, encoding="utf-8")
        return folder

    return write


class ReportServer:
    """Takes reports over HTTP and remembers them: path, authorization, JSON body."""

    def __init__(self) -> None:
        self.reports: list[tuple[str, str | None, object]] = []
        reports = self.reports

        class Taker(http.server.BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                reports.append((self.path, self.headers["Authorization"], json.loads(body)))
                self.send_response(204)
                self.end_headers()

            def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the library's name
                pass

        self.server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Taker)
        self.port = self.server.server_address[1]


@pytest.fixture
def report_server() -> Iterator[ReportServer]:
    """A server of the tests' own for reports."""
    made = ReportServer()
    thread = threading.Thread(target=made.server.serve_forever, daemon=True)
    thread.start()
    yield made
    made.server.shutdown()
    made.server.server_close()
    thread.join(PATIENCE_S)
