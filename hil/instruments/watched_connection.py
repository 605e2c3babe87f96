"""An HTTP connection that keeps the time of one exchange, and holds it to its limits.

The libraries below tell neither when the first octet came nor whether a head was
whole, and their time limits are for each read, so that an octet a second goes on for
ever. All of that is seen where octets come in: at the socket.
"""

import re
import socket
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from requests import PreparedRequest
from requests.adapters import HTTPAdapter
from urllib3.connection import HTTPConnection
from urllib3.connectionpool import HTTPConnectionPool

if TYPE_CHECKING:
    from _typeshed import ReadableBuffer, WriteableBuffer

HEAD_LINES = 100  # Python's HTTP client takes no more
HEAD_OCTETS = 64 << 10


class HeadTooLargeError(OSError):
    """The head of an answer is longer than any browser would take."""


@dataclass
class Exchange:
    """One request and its answer, as seen at the socket; times are of the monotonic clock, in real seconds."""

    limit_s: float
    begun_s: float = field(default_factory=time.monotonic)
    connected: bool = False
    sent_s: float | None = None
    first_octet_s: float | None = None
    last_octet_s: float | None = None
    head: bytearray = field(default_factory=bytearray)
    head_whole: bool = False
    out_of_time: bool = False

    def left_s(self) -> float:
        """How much of the limit is left.

        Raises:
            TimeoutError: nothing is.
        """
        left_s = self.begun_s + self.limit_s - time.monotonic()
        if left_s <= 0.0:
            self.out_of_time = True
            raise TimeoutError(f"no whole answer within {self.limit_s:g} s")
        return left_s

    def came(self, octets: bytes) -> None:
        """Note octets that came in.

        Raises:
            HeadTooLargeError: the head has no end.
        """
        self.last_octet_s = time.monotonic()
        if self.first_octet_s is None:
            self.first_octet_s = self.last_octet_s
        if self.head_whole:
            return
        self.head += octets
        end = re.search(rb"\n\r?\n", self.head)
        self.head_whole = end is not None
        head = self.head[: end.end()] if end else self.head
        if len(head) > HEAD_OCTETS or head.count(b"\n") > HEAD_LINES:
            raise HeadTooLargeError(f"a head of more than {HEAD_LINES} lines or {HEAD_OCTETS} octets")


class _WatchedSocket(socket.socket):
    """A connected socket, taken over from another, that reports to an exchange."""

    exchange: Exchange

    def sendall(self, data: "ReadableBuffer", flags: int = 0, /) -> None:
        with self._in_time():
            super().sendall(data, flags)
        self.exchange.sent_s = time.monotonic()

    def recv_into(self, buffer: "WriteableBuffer", nbytes: int = 0, flags: int = 0) -> int:
        with self._in_time():
            count = super().recv_into(buffer, nbytes, flags)
        if count:
            self.exchange.came(bytes(memoryview(buffer)[:count]))
        return count

    @contextmanager
    def _in_time(self) -> Iterator[None]:
        self.settimeout(self.exchange.left_s())
        try:
            yield
        except TimeoutError:
            self.exchange.out_of_time = True
            raise


def _watched(exchange: Exchange) -> type[HTTPConnection]:
    class WatchedConnection(HTTPConnection):
        def connect(self) -> None:
            super().connect()
            plain: object = self.sock
            if not isinstance(plain, socket.socket):
                raise TypeError(f"no socket to watch: {plain!r}")
            watched = _WatchedSocket(plain.family, plain.type, plain.proto, plain.detach())
            watched.exchange = exchange
            self.sock = watched
            exchange.connected = True

    return WatchedConnection


class WatchedAdapter(HTTPAdapter):
    """Carries one exchange over a connection of its own, without retries."""

    def __init__(self, exchange: Exchange) -> None:
        """Report to an exchange."""
        self._exchange = exchange
        super().__init__(max_retries=0)

    def get_connection_with_tls_context(
        self,
        request: PreparedRequest,
        verify: bool | str | None,
        proxies: Mapping[str, str] | None = None,
        cert: tuple[str, str] | str | None = None,
    ) -> HTTPConnectionPool:
        """Give the pool for a request, with our connections in it."""
        pool = super().get_connection_with_tls_context(request, verify, proxies, cert)
        if not isinstance(pool, HTTPConnectionPool):
            raise TypeError(f"no pool of HTTP connections: {pool!r}")
        pool.ConnectionCls = _watched(self._exchange)
        return pool
