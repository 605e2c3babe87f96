"""An endpoint that leads into one network: a small HTTP/1.1 forward proxy on loopback.

Theory of operation. A bench is in several networks at once, which may use the same
addresses. Who fetches through an endpoint reaches one of them and no other, since
the endpoint opens connections only by the `dial` it was given. One connection
carries one request: its head is rewritten (`proxy_request`), then two threads carry
octets, untouched and as they come, so what the unit sends, and when, is seen as
through no proxy. Against RFC 9110, 7.6.3, no `Via` is added: the unit shall see what
a browser would send it. A connection that the unit breaks is passed on as broken,
one that it ends as ended.

Whom `dial` could not reach is said in a `Proxy-Status` field (RFC 9209), so that
refused, silent and anything else can be told apart. Everything has a bound.
"""

import contextlib
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator
from functools import partial
from types import TracebackType
from typing import Self

from hil.instruments.proxy_request import ProxyRequest, parse_head

Dial = Callable[[str, int], socket.socket]
OnReached = Callable[[str, int, float, float], None]

CONNECTIONS = 32  # at once
HEAD_OCTETS = 64 << 10
HEAD_S = 10.0  # for a client to send its head
IDLE_S = 120.0  # without an octet
LINGER_S = 2.0  # for a client to hang up after the last octet
_CHUNK_OCTETS = 64 << 10
_STATUS_TEXTS = {
    400: "Bad Request",
    500: "Internal Server Error",
    502: "Bad Gateway",
    503: "Service Unavailable",
    504: "Gateway Timeout",
}


class _RefusalError(Exception):
    """What the endpoint answers itself: a status, an error type of RFC 9209, and a line of text."""

    def __init__(self, status: int, error: str, text: str) -> None:
        super().__init__(text)
        self.status, self.error, self.text = status, error, text


class ProxyEndpoint:
    """A forward proxy on 127.0.0.1 into one network; also a context manager."""

    def __init__(self, dial: Dial, name: str, *, on_reached: OnReached = lambda *_: None) -> None:
        """Begin to listen.

        Args:
            dial: Connects to (host, port) in that network, within a limit of its
                own. Raises ConnectionRefusedError if somebody is there and
                refuses, TimeoutError if nobody answers, or another OSError.
            name: The network's name, for messages.
            on_reached: Told the host, the port, when dialling began (monotonic)
                and how many real seconds it took, each time somebody was reached.
        """
        self.name = name
        self._on_reached = on_reached
        self._dial = dial
        self._places = threading.BoundedSemaphore(CONNECTIONS)
        self._lock = threading.Lock()
        self._live: set[socket.socket] = set()
        self._threads: set[threading.Thread] = set()
        self._closing = False
        self._listener = socket.create_server(("127.0.0.1", 0), backlog=CONNECTIONS)
        self._port = int(self._listener.getsockname()[1])
        self._start(self._accept)

    @property
    def url(self) -> str:
        """Give the endpoint's address, such as `http://127.0.0.1:40123`."""
        return f"http://127.0.0.1:{self._port}"

    def __enter__(self) -> Self:
        """Give the endpoint, which listens already."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close it."""
        self.close()

    def close(self) -> None:
        """Stop listening, cut all connections, wait for the threads (a dial under way at most `HEAD_S`)."""
        with self._lock:
            self._closing = True
            live, threads = list(self._live), list(self._threads)
        for connection in [self._listener, *live]:  # wakes who waits on them; each thread closes its own
            _shut(connection, socket.SHUT_RDWR)
        self._listener.close()
        limit_s = time.monotonic() + HEAD_S
        for thread in threads:
            thread.join(max(0.0, limit_s - time.monotonic()))

    def _start(self, run: Callable[[], None]) -> threading.Thread:
        def whole() -> None:
            try:
                run()
            finally:
                with self._lock:
                    self._threads.discard(thread)

        thread = threading.Thread(target=whole, name=f"endpoint {self.name}", daemon=True)
        with self._lock:
            self._threads.add(thread)
        thread.start()
        return thread

    @contextlib.contextmanager
    def _kept(self, connection: socket.socket) -> Iterator[None]:
        """Have a connection cut by `close`, and closed when done with."""
        with connection:
            with self._lock:
                self._live.add(connection)
                closing = self._closing
            try:
                if closing:
                    raise ConnectionAbortedError(f"endpoint {self.name} is closing")
                yield
            finally:
                with self._lock:
                    self._live.discard(connection)

    def _accept(self) -> None:
        while not self._closing:
            try:
                client, _ = self._listener.accept()
            except OSError:  # closed
                return
            if self._places.acquire(blocking=False):
                self._start(partial(self._serve, client))
                continue
            with contextlib.suppress(OSError), self._kept(client):
                client.settimeout(LINGER_S)
                _refuse(client, _RefusalError(503, "connection_limit_reached", "too many connections at once"))

    def _serve(self, client: socket.socket) -> None:
        try:
            with contextlib.suppress(OSError), self._kept(client):  # the client went away, or `close` was called
                self._answer(client)
        finally:
            self._places.release()

    def _answer(self, client: socket.socket) -> None:
        try:
            head, rest = _read_head(client)
            request = _parsed(head)
            far = self._reach(request)
        except _RefusalError as refusal:
            _refuse(client, refusal)
            return
        with self._kept(far):
            client.settimeout(IDLE_S)
            far.settimeout(IDLE_S)
            if request.tunnel:
                client.sendall(b"HTTP/1.1 200 Connection established\r\n\r\n")
            self._carry(client, far, request, rest)

    def _reach(self, request: ProxyRequest) -> socket.socket:
        where = f"{request.host} port {request.port} in {self.name}"
        begun_s = time.monotonic()
        try:
            far = self._dial(request.host, request.port)
        except ConnectionRefusedError as problem:
            raise _RefusalError(502, "connection_refused", f"{where} refuses") from problem
        except TimeoutError as problem:
            raise _RefusalError(504, "connection_timeout", f"{where} does not answer") from problem
        except OSError as problem:
            raise _RefusalError(503, "destination_unavailable", f"{where}: {problem}") from problem
        except Exception as problem:  # the bench's own: never to be taken for the unit's
            raise _RefusalError(500, "proxy_internal_error", f"{where}: {problem}") from problem
        self._on_reached(request.host, request.port, begun_s, time.monotonic() - begun_s)
        return far

    def _carry(self, client: socket.socket, far: socket.socket, request: ProxyRequest, rest: bytes) -> None:
        up = self._start(partial(_carry_up, client, far, request, rest))
        ended_well = _carry_down(far, client)
        if ended_well:
            _shut(client, socket.SHUT_WR)
            up.join(LINGER_S)
        _shut(client, socket.SHUT_RD)  # wakes the other thread without a word to the client
        _shut(far, socket.SHUT_RDWR)
        up.join(LINGER_S)
        if not ended_well:
            # Closing resets: an end that still sends would otherwise go on for as long as the other's window is shut.
            for connection in (client, far):
                connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))


def _carry_up(client: socket.socket, far: socket.socket, request: ProxyRequest, rest: bytes) -> None:
    """Carry the client's octets to the far end; what comes after the body ends the connection."""
    left = request.body_octets
    data, taken = request.head + rest, True
    left = None if left is None else left + len(request.head)
    with contextlib.suppress(OSError):
        while True:
            piece = data if left is None else data[:left]
            if taken:
                taken = _sent(far, piece)  # not taken: it may have answered already, so go on reading
            left = None if left is None else left - len(piece)
            if data[len(piece) :].strip(b"\r\n"):  # a second request: our client has not heard of the end
                break
            data = _next_octets(client)
            if not data:
                _shut(far, socket.SHUT_WR)
                return
    _shut(far, socket.SHUT_RDWR)


def _carry_down(far: socket.socket, client: socket.socket) -> bool:
    """Carry the far end's octets to the client; tell whether it ended well on both sides."""
    with contextlib.suppress(OSError):
        while data := far.recv(_CHUNK_OCTETS):
            client.sendall(data)
        return True
    return False


def _next_octets(client: socket.socket) -> bytes:
    while True:  # a client that listens for long says nothing meanwhile; the other thread sets the limit
        with contextlib.suppress(TimeoutError):
            return client.recv(_CHUNK_OCTETS)


def _sent(connection: socket.socket, data: bytes) -> bool:
    try:
        connection.sendall(data)
    except OSError:
        return False
    return True


def _read_head(client: socket.socket) -> tuple[bytes, bytes]:
    """Read to the empty line; give the head and what came after it."""
    limit_s = time.monotonic() + HEAD_S
    seen = b""
    while b"\r\n\r\n" not in seen:
        left_s = limit_s - time.monotonic()
        if len(seen) > HEAD_OCTETS or left_s <= 0.0:
            raise _RefusalError(400, "http_request_error", "the head of the request is too long, or came too slowly")
        client.settimeout(left_s)
        data = client.recv(_CHUNK_OCTETS)
        if not data:
            raise ConnectionAbortedError("the client hung up")
        seen += data
    head, _, rest = seen.partition(b"\r\n\r\n")
    return head, rest


def _parsed(head: bytes) -> ProxyRequest:
    try:
        return parse_head(head)
    except ValueError as problem:
        raise _RefusalError(400, "http_request_error", str(problem)) from problem


def _refuse(client: socket.socket, refusal: _RefusalError) -> None:
    text = f"{refusal.text}\n".encode("utf-8", "backslashreplace")
    lines = (
        f"HTTP/1.1 {refusal.status} {_STATUS_TEXTS[refusal.status]}",
        f"Proxy-Status: hil; error={refusal.error}",
        "Content-Type: text/plain; charset=utf-8",
        f"Content-Length: {len(text)}",
        "Connection: close",
    )
    client.sendall("\r\n".join([*lines, "", ""]).encode("ascii") + text)
    _shut(client, socket.SHUT_WR)
    # Closing with octets unread would reset the connection and may take the answer with it.
    limit_s = time.monotonic() + LINGER_S
    while (left_s := limit_s - time.monotonic()) > 0.0:
        client.settimeout(left_s)
        if not client.recv(_CHUNK_OCTETS):
            return


def _shut(connection: socket.socket, how: int) -> None:
    with contextlib.suppress(OSError):
        connection.shutdown(how)
