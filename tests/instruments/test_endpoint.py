"""The endpoint, held against RFC 9110 and 9112 (proxies), RFC 9209 (Proxy-Status) and Python's own HTTP clients."""

import contextlib
import http.client
import re
import socket
import threading
import urllib.request
from collections.abc import Callable, Iterator
from typing import Protocol
from urllib.parse import urlsplit

import pytest

from hil.instruments import endpoint as endpoint_module
from hil.instruments.endpoint import ProxyEndpoint

LIMIT_S = 20.0
ANSWER = b"HTTP/1.1 200 OK\r\nContent-Length: 5\r\nX-Odd:  kept\r\n\r\nhello"

# RFC 9209, 2.3: error types with the status recommended for each (from memory).
RFC_9209 = {
    "destination_unavailable": 503,  # 2.3.4
    "connection_refused": 502,  # 2.3.7
    "connection_timeout": 504,  # 2.3.9
    "connection_limit_reached": 503,  # 2.3.12
    "proxy_internal_error": 500,  # 2.3.29
}


class Far(Protocol):
    """A far end, see conftest.py."""

    requests: list[bytes]

    def dial(self, host: str, port: int) -> socket.socket: ...


FarEnds = Callable[[Callable[[socket.socket, threading.Event], None]], Far]
Opened = Callable[[Callable[[str, int], socket.socket]], ProxyEndpoint]


def answering(connection: socket.socket, stop: threading.Event) -> None:
    connection.sendall(ANSWER)


def caller(endpoint: ProxyEndpoint) -> socket.socket:
    return socket.create_connection(("127.0.0.1", urlsplit(endpoint.url).port or 0), timeout=LIMIT_S)


def everything(connection: socket.socket) -> bytes:
    seen = b""
    while data := connection.recv(65536):
        seen += data
    return seen


def asked(endpoint: ProxyEndpoint, request: bytes) -> bytes:
    with caller(endpoint) as connection:
        connection.sendall(request)
        return everything(connection)


@pytest.fixture
def opened() -> Iterator[Opened]:
    """Open endpoints that are closed after the test."""
    with contextlib.ExitStack() as stack:
        yield lambda dial: stack.enter_context(ProxyEndpoint(dial, "allotment"))


def failing(problem: Exception) -> Callable[[str, int], socket.socket]:
    def dial(host: str, port: int) -> socket.socket:
        raise problem

    return dial


def test_a_request_goes_on_as_to_an_origin(far_end: FarEnds, opened: Opened) -> None:
    far = far_end(answering)
    dialled: list[tuple[str, int]] = []

    def dial(host: str, port: int) -> socket.socket:
        dialled.append((host, port))
        return far.dial(host, port)

    answer = asked(
        opened(dial),
        b"POST http://203.0.113.1:8080/save HTTP/1.1\r\nHost: x\r\nProxy-Connection: keep-alive\r\n"
        b"Content-Length: 3\r\n\r\na=b",
    )
    assert answer == ANSWER  # octet for octet
    assert dialled == [("203.0.113.1", 8080)]
    assert far.requests == [
        b"POST /save HTTP/1.1\r\nHost: 203.0.113.1:8080\r\nContent-Length: 3\r\nConnection: close\r\n\r\na=b"
    ]


def test_pythons_own_client_fetches_through_it(far_end: FarEnds, opened: Opened) -> None:
    endpoint = opened(far_end(answering).dial)
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({"http": endpoint.url}))
    with opener.open("http://203.0.113.1/now", timeout=LIMIT_S) as response:
        assert (response.status, response.read()) == (200, b"hello")


def test_pythons_own_client_goes_through_a_tunnel(far_end: FarEnds, opened: Opened) -> None:
    far = far_end(answering)
    place = urlsplit(opened(far.dial).url)
    connection = http.client.HTTPConnection(place.hostname or "", place.port, timeout=LIMIT_S)
    with contextlib.closing(connection):
        connection.set_tunnel("203.0.113.1", 80)
        connection.request("GET", "/now", headers={"Keep-Alive": "5"})
        response = connection.getresponse()
        assert response.read() == b"hello"
        response.close()
    assert b"Keep-Alive: 5" in far.requests[0]  # a tunnel's octets are none of the endpoint's business


def test_a_tunnel_carries_octets_both_ways_and_the_end_of_each(far_end: FarEnds, opened: Opened) -> None:
    def after_the_end(connection: socket.socket, stop: threading.Event) -> None:
        connection.sendall(b"all of it: " + everything(connection))

    far = far_end(after_the_end)
    with caller(opened(far.dial)) as connection:
        connection.sendall(b"CONNECT 203.0.113.1:7 HTTP/1.1\r\n\r\nHEAD\r\n\r\n\x00\xff")
        connection.sendall(b"more")
        connection.shutdown(socket.SHUT_WR)
        head, _, rest = everything(connection).partition(b"\r\n\r\n")
    assert head.startswith(b"HTTP/1.1 200 ")
    assert rest.startswith(b"all of it: ")
    assert far.requests[0] + rest.removeprefix(b"all of it: ") == b"HEAD\r\n\r\n\x00\xffmore"


@pytest.mark.parametrize(
    ("problem", "error"),
    [
        (ConnectionRefusedError(111, "refused"), "connection_refused"),
        (TimeoutError("nobody"), "connection_timeout"),
        (OSError(113, "No route to host"), "destination_unavailable"),
        (RuntimeError("a fault of the bench"), "proxy_internal_error"),
    ],
)
@pytest.mark.parametrize("method", ["GET http://203.0.113.1/", "CONNECT 203.0.113.1:80"])
def test_what_cannot_be_reached_is_named_as_rfc_9209_names_it(
    opened: Opened, problem: Exception, error: str, method: str
) -> None:
    answer = asked(opened(failing(problem)), f"{method} HTTP/1.1\r\nHost: x\r\n\r\n".encode())
    assert answer.startswith(f"HTTP/1.1 {RFC_9209[error]} ".encode())
    assert re.findall(rb"\r\nProxy-Status: (.*)\r\n", answer) == [f"hil; error={error}".encode()]
    assert b"in allotment" in answer


@pytest.mark.parametrize(
    "request_octets",
    [b"GET / HTTP/1.1\r\nHost: x\r\n\r\n", b"\x16\x03\x01\x02\r\n\r\n", b"X: " + b"y" * (80 << 10), b"\r\n\r\n"],
)
def test_what_is_no_request_is_told_so(opened: Opened, request_octets: bytes) -> None:
    answer = asked(opened(failing(AssertionError("must not dial"))), request_octets)
    assert answer.startswith(b"HTTP/1.1 400 ")
    assert b"\r\nProxy-Status: hil; error=http_request_error\r\n" in answer


def test_octets_are_carried_as_they_come(far_end: FarEnds, opened: Opened) -> None:
    first_seen = threading.Event()

    def bit_by_bit(connection: socket.socket, stop: threading.Event) -> None:
        connection.sendall(b"H")
        assert first_seen.wait(LIMIT_S)
        connection.sendall(b"TTP")

    with caller(opened(far_end(bit_by_bit).dial)) as connection:
        connection.sendall(b"GET http://203.0.113.1/ HTTP/1.1\r\n\r\n")
        assert connection.recv(100) == b"H"
        first_seen.set()
        assert everything(connection) == b"TTP"


def test_a_connection_the_unit_breaks_is_broken_for_the_client_too(far_end: FarEnds, opened: Opened) -> None:
    def breaking(connection: socket.socket, stop: threading.Event) -> None:
        connection.sendall(b"HTTP/1.1 200 OK\r\n\r\nhal")
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\x01\0\0\0\0\0\0\0")  # closing resets

    with pytest.raises(ConnectionResetError):
        asked(opened(far_end(breaking).dial), b"GET http://203.0.113.1/ HTTP/1.1\r\n\r\n")


def test_an_answer_before_the_end_of_a_large_body_gets_through(far_end: FarEnds, opened: Opened) -> None:
    too_large = b"HTTP/1.1 413 Content Too Large\r\nContent-Length: 0\r\n\r\n"

    def early(connection: socket.socket, stop: threading.Event) -> None:
        connection.sendall(too_large)

    with caller(opened(far_end(early).dial)) as connection:
        connection.sendall(b"POST http://203.0.113.1/ HTTP/1.1\r\nContent-Length: 100000000\r\n\r\n")
        assert everything(connection) == too_large


def test_a_client_that_hangs_up_is_heard_of_at_the_far_end(far_end: FarEnds, opened: Opened) -> None:
    ended = threading.Event()

    def listening(connection: socket.socket, stop: threading.Event) -> None:
        everything(connection)
        ended.set()

    with caller(opened(far_end(listening).dial)) as connection:
        connection.sendall(b"GET http://203.0.113.1/ HTTP/1.1\r\n\r\n")
    assert ended.wait(LIMIT_S)


def test_a_second_request_on_one_connection_ends_it(far_end: FarEnds, opened: Opened) -> None:
    def staying(connection: socket.socket, stop: threading.Event) -> None:
        connection.sendall(ANSWER)
        stop.wait(LIMIT_S)

    request = b"GET http://203.0.113.1/ HTTP/1.1\r\n\r\n"
    far = far_end(staying)
    with caller(opened(far.dial)) as connection:
        connection.sendall(request)
        seen = b""
        while len(seen) < len(ANSWER):
            seen += connection.recv(65536)
        connection.sendall(request)
        assert everything(connection) == b""
    assert len(far.requests) == 1


def test_more_connections_than_allowed_are_told_so(far_end: FarEnds, monkeypatch: pytest.MonkeyPatch) -> None:
    def staying(connection: socket.socket, stop: threading.Event) -> None:
        connection.sendall(ANSWER)
        stop.wait(LIMIT_S)

    monkeypatch.setattr(endpoint_module, "CONNECTIONS", 2)
    with ProxyEndpoint(far_end(staying).dial, "allotment") as endpoint, contextlib.ExitStack() as stack:
        for _ in range(2):
            held = stack.enter_context(caller(endpoint))
            held.sendall(b"GET http://203.0.113.1/ HTTP/1.1\r\n\r\n")
            assert held.recv(1) == b"H"  # so it has its place
        answer = asked(endpoint, b"GET http://203.0.113.1/ HTTP/1.1\r\n\r\n")
    assert answer.startswith(b"HTTP/1.1 503 ")
    assert b"\r\nProxy-Status: hil; error=connection_limit_reached\r\n" in answer


def test_places_are_given_back(far_end: FarEnds, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(endpoint_module, "CONNECTIONS", 1)
    with ProxyEndpoint(far_end(answering).dial, "allotment") as endpoint:
        for _ in range(5):
            answer = b""
            for _ in range(1000):  # the place is free a moment after the client has seen the end
                answer = asked(endpoint, b"GET http://203.0.113.1/ HTTP/1.1\r\n\r\n")
                if b"connection_limit_reached" not in answer:
                    break
            assert answer == ANSWER


def test_closing_cuts_everything_and_leaves_no_thread(far_end: FarEnds) -> None:
    def staying(connection: socket.socket, stop: threading.Event) -> None:
        connection.sendall(ANSWER)
        stop.wait(LIMIT_S)

    endpoint = ProxyEndpoint(far_end(staying).dial, "to be closed")
    with caller(endpoint) as connection, caller(endpoint) as idle:
        connection.sendall(b"GET http://203.0.113.1/ HTTP/1.1\r\n\r\n")
        assert connection.recv(1) == b"H"
        endpoint.close()
        with contextlib.suppress(ConnectionResetError):
            everything(connection)
        with contextlib.suppress(ConnectionResetError):
            assert everything(idle) == b""
        with pytest.raises(OSError, match="refused"):
            caller(endpoint)
    assert not [thread for thread in threading.enumerate() if thread.name == "endpoint to be closed"]
    endpoint.close()  # twice does no harm


def test_it_listens_on_loopback_only(opened: Opened) -> None:
    endpoint = opened(failing(OSError()))
    assert re.fullmatch(r"http://127\.0\.0\.1:[1-9][0-9]*", endpoint.url)
    with pytest.raises(OSError, match="refused"):
        socket.create_connection(("127.0.0.2", urlsplit(endpoint.url).port or 0), timeout=LIMIT_S)
