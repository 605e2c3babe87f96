"""A far end on loopback that does to its callers what a test's script says; and a board to put a build on."""

import contextlib
import re
import socket
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.loader_board import Board, make_build

from hil.core.build import Build
from hil.virtual.board.flash import Flash

LIMIT_S = 20.0
Script = Callable[[socket.socket, threading.Event], None]


class FarEnd:
    """Reads each caller's request (but no body above a mebibyte), then runs the script on the connection."""

    def __init__(self, script: Script) -> None:
        self.requests: list[bytes] = []
        self.stop = threading.Event()  # set at the end of the test: scripts wait on it
        self._script = script
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        self._live: list[socket.socket] = []
        self._threads = [threading.Thread(target=self._accept)]
        self._threads[0].start()

    def dial(self, host: str, port: int) -> socket.socket:
        """Connect to this far end whatever address is asked for."""
        return socket.create_connection(("127.0.0.1", self.port), timeout=LIMIT_S)

    def _accept(self) -> None:
        while True:
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return
            self._live.append(connection)
            self._threads.append(threading.Thread(target=self._serve, args=(connection,)))
            self._threads[-1].start()

    def _serve(self, connection: socket.socket) -> None:
        with connection, contextlib.suppress(OSError):
            connection.settimeout(LIMIT_S)
            self.requests.append(b"")
            index = len(self.requests) - 1
            while not _whole(self.requests[index]) and (data := connection.recv(65536)):
                self.requests[index] += data
            self._script(connection, self.stop)

    def close(self) -> None:
        self.stop.set()
        for connection in [self._listener, *self._live]:
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        for thread in self._threads:
            thread.join(LIMIT_S)
            assert not thread.is_alive()


def _whole(request: bytes) -> bool:
    head, end, body = request.partition(b"\r\n\r\n")
    length = re.search(rb"(?i)\ncontent-length: *([0-9]+)", head)
    wanted = int(length[1]) if length else 0
    return bool(end) and (len(body) >= wanted or wanted > 1 << 20)


@pytest.fixture
def far_end() -> Iterator[Callable[[Script], FarEnd]]:
    """Start far ends, each with its script; they are closed after the test."""
    with contextlib.ExitStack() as stack:

        def start(script: Script) -> FarEnd:
            made = FarEnd(script)
            stack.callback(made.close)
            return made

        yield start


@pytest.fixture(params=[Flash])
def board(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Board]:
    """A board with an empty flash."""
    flash = request.param(tmp_path / "flash")
    made = Board(flash)
    yield made
    made.close()
    flash.close()


@pytest.fixture
def build(tmp_path: Path) -> Build:
    """A build for it."""
    return make_build(tmp_path)
