"""Bare connections, through a real endpoint to far ends on loopback. Outside sources: RFC 9110, 9.3.6 (CONNECT carries
what it is given), RFC 9293, 3.6 (half close), RFC 9112, 4 (what a status line is)."""

import contextlib
import socket
import threading
from collections.abc import Callable, Iterator
from typing import Protocol

import pytest

from hil.core.errors import InstrumentGone
from hil.instruments.endpoint import CONNECTIONS, ProxyEndpoint
from hil.instruments.raw_connection import RawConnection

LIMIT_S = 20.0
SHORT_S = 0.1
URL = "http://203.0.113.1/"
NONSENSE = b"\x00\xffno request at all\r\nno colon\r\n\r\n"
REFUSAL = b"HTTP/1.1 400 Bad Request\r\nContent-Length: 4\r\n\r\nno.\n"


class Far(Protocol):
    """A far end, see conftest.py."""

    requests: list[bytes]

    def dial(self, host: str, port: int) -> socket.socket: ...


Script = Callable[[socket.socket, threading.Event], None]
FarEnds = Callable[[Script], Far]
Opened = Callable[..., RawConnection]


@pytest.fixture
def opened() -> Iterator[Opened]:
    """Open connections through an endpoint of their own, to whoever a dial reaches."""
    with contextlib.ExitStack() as stack:
        endpoints: dict[object, ProxyEndpoint] = {}

        def open_(dial: Callable[[str, int], socket.socket]) -> RawConnection:
            if dial not in endpoints:
                endpoints[dial] = stack.enter_context(ProxyEndpoint(dial, "allotment"))
            made = RawConnection(endpoints[dial].url, URL, "allotment", limit_s=LIMIT_S)
            return stack.enter_context(made)

        yield open_


def saying(octets: bytes, *, stays: bool = False) -> Script:
    def script(connection: socket.socket, stop: threading.Event) -> None:
        connection.sendall(octets)
        if stays:
            stop.wait(LIMIT_S)

    return script


def failing(problem: Exception) -> Callable[[str, int], socket.socket]:
    def dial(host: str, port: int) -> socket.socket:
        raise problem

    return dial


def test_octets_go_out_as_given_and_come_back_as_they_came(far_end: FarEnds, opened: Opened) -> None:
    far = far_end(saying(REFUSAL))
    connection = opened(far.dial)
    connection.send(NONSENSE)
    connection.listen(LIMIT_S)
    answer = connection.answer()
    assert far.requests == [NONSENSE]
    assert (answer.outcome, answer.status, answer.body) == ("answered", 400, REFUSAL)
    assert (answer.octets_out, answer.url) == (len(NONSENSE), URL)


def test_an_answer_of_a_stated_length_is_whole_though_the_connection_stays_open(
    far_end: FarEnds, opened: Opened
) -> None:
    connection = opened(far_end(saying(REFUSAL, stays=True)).dial)
    connection.send(b"PUT / HTTP/1.1\r\n\r\n")
    connection.listen(LIMIT_S)
    answer = connection.answer()
    assert (answer.outcome, answer.method) == ("answered", "PUT")


@pytest.mark.parametrize(
    ("said", "stays", "outcome"),
    [
        (b"", False, "closed"),
        (b"", True, "silent"),
        (b"HTTP/1.1 200 OK\r\nContent-Le", False, "cut off"),
        (b"<html>a page without a head</html>\r\n\r\n", False, "cut off"),
        (b"HTTP/1.1 200 OK\r\n\r\nno length", True, "answered"),
    ],
)
def test_what_is_no_whole_answer_is_told_apart(
    far_end: FarEnds, opened: Opened, said: bytes, stays: bool, outcome: str
) -> None:
    connection = opened(far_end(saying(said, stays=stays)).dial)
    connection.send(NONSENSE)
    connection.listen(SHORT_S if stays else LIMIT_S)
    assert connection.answer().outcome == outcome
    assert connection.answer().body == said


def test_sending_is_over_once_the_answer_is_whole_or_the_far_end_takes_nothing(
    far_end: FarEnds, opened: Opened
) -> None:
    for said, stays, over in ((REFUSAL, True, True), (b"", False, True), (b"", True, False)):
        connection = opened(far_end(saying(said, stays=stays)).dial)
        connection.send(NONSENSE)
        assert not connection.over
        connection.listen(LIMIT_S if over else SHORT_S)
        assert connection.over is over
    assert opened(failing(TimeoutError())).over


def test_the_far_end_may_answer_after_ours_has_ended(far_end: FarEnds, opened: Opened) -> None:
    def answer_at_the_end(connection: socket.socket, _stop: threading.Event) -> None:
        assert connection.recv(100) == b""
        connection.sendall(REFUSAL)

    connection = opened(far_end(answer_at_the_end).dial)
    connection.send(b"POST / HTTP/1.1\r\n\r\n")
    connection.end()
    connection.listen(LIMIT_S)
    assert connection.answer().status == 400


def test_hanging_up_is_seen_at_the_far_end(far_end: FarEnds, opened: Opened) -> None:
    ended = threading.Event()

    def wait_for_the_end(connection: socket.socket, _stop: threading.Event) -> None:
        if connection.recv(100) == b"":
            ended.set()

    connection = opened(far_end(wait_for_the_end).dial)
    connection.send(NONSENSE)
    connection.hang_up()
    assert connection.answer().outcome == "hung up"
    assert ended.wait(LIMIT_S)


def test_hung_up_connections_take_no_place_from_later_ones(far_end: FarEnds, opened: Opened) -> None:
    """Even where the far end never ends its side."""
    far = far_end(saying(b"", stays=True))
    for _ in range(CONNECTIONS + 5):
        connection = opened(far.dial)
        connection.send(NONSENSE)
        connection.hang_up()
        assert connection.reached


@pytest.mark.parametrize(
    ("problem", "outcome"),
    [
        (ConnectionRefusedError(), "refused"),
        (TimeoutError(), "silent"),
        (OSError("no way there"), "silent"),
    ],
)
def test_a_unit_that_is_not_reached_is_told(opened: Opened, problem: Exception, outcome: str) -> None:
    connection = opened(failing(problem))
    connection.send(NONSENSE)
    connection.listen(LIMIT_S)
    answer = connection.answer()
    assert not connection.reached
    assert (answer.outcome, answer.octets_out, answer.body) == (outcome, 0, b"")


def test_the_endpoint_s_own_failure_is_not_the_unit_s(opened: Opened) -> None:
    with pytest.raises(InstrumentGone, match="proxy_internal_error"):
        opened(failing(RuntimeError("the probe's radio is gone")))


def test_an_endpoint_that_is_gone_is_the_bench_s() -> None:
    with ProxyEndpoint(failing(TimeoutError()), "allotment") as endpoint:
        url = endpoint.url
    with pytest.raises(InstrumentGone, match="cannot be used"):
        RawConnection(url, URL, "allotment", limit_s=LIMIT_S)


@pytest.mark.parametrize("url", ["https://203.0.113.1/", "http:///", "nowhere"])
def test_an_address_that_is_none_is_refused(url: str) -> None:
    with pytest.raises(ValueError, match="not an http address"):
        RawConnection("http://127.0.0.1:9", url, "allotment", limit_s=LIMIT_S)
