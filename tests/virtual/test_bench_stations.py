"""The virtual bench's way into the air, held against TCP: each side may end on its own (RFC 9293, 3.6)."""

import asyncio
import contextlib
import queue
import socket
from collections.abc import Callable, Iterator
from typing import cast

import pytest

from hil.virtual.air.radio import Radio
from hil.virtual.bench_stations import AirThread

LIMIT_S = 20.0
Serve = Callable[[asyncio.StreamReader, asyncio.StreamWriter], object]


class FarStation:
    """Stands for a radio that has a station in reach: each dial leads to a service of the test's."""

    def __init__(self, serve: Serve) -> None:
        self._serve = serve
        self._servers: list[asyncio.Server] = []

    async def dial(self, ip: str, port: int) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        server = await asyncio.start_server(self._serve, "127.0.0.1", 0)
        self._servers.append(server)
        local = server.sockets[0].getsockname()[1]
        return await asyncio.open_connection("127.0.0.1", local)

    async def close(self) -> None:
        for server in self._servers:
            server.close()


@pytest.fixture
def dial() -> Iterator[Callable[[Serve], socket.socket]]:
    """Dial a service through an air of its own."""
    with contextlib.ExitStack() as stack:
        air = AirThread()
        stack.callback(air.close)

        def to(serve: Serve) -> socket.socket:
            far = FarStation(serve)
            stack.callback(lambda: air.run(far.close()))
            connection = stack.enter_context(air.dial(cast("Radio", far), "203.0.113.1", 80))
            connection.settimeout(LIMIT_S)
            return connection

        yield to


def test_the_far_end_still_answers_after_our_end(dial: Callable[[Serve], socket.socket]) -> None:
    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"seen: " + await reader.read())  # to the end of our side
        writer.close()

    connection = dial(serve)
    connection.sendall(b"half a body")
    connection.shutdown(socket.SHUT_WR)
    answer = b""
    while piece := connection.recv(100):
        answer += piece
    assert answer == b"seen: half a body"


def test_we_still_send_after_the_far_end_s_end(dial: Callable[[Serve], socket.socket]) -> None:
    heard: queue.SimpleQueue[bytes] = queue.SimpleQueue()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write_eof()
        heard.put(await reader.read())
        writer.close()

    connection = dial(serve)
    assert connection.recv(100) == b""
    connection.sendall(b"too late")
    connection.shutdown(socket.SHUT_WR)
    assert heard.get(timeout=LIMIT_S) == b"too late"
