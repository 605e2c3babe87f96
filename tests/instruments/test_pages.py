"""Pages fetched through an endpoint from units that misbehave: held against RFC 9110, 9112, 7617 and Python's zlib."""

import base64
import gzip
import inspect
import itertools
import re
import socket
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Protocol

import pytest
import requests
import urllib3

from hil.core.errors import BenchError
from hil.instruments.endpoint import ProxyEndpoint
from hil.instruments.pages import Answer, Pages
from hil.instruments.watched_connection import Exchange
from hil.page.fill import FormRequest

LIMIT_S = 20.0
UNIT = "http://203.0.113.1"
Script = Callable[[socket.socket, threading.Event], None]
Dial = Callable[[str, int], socket.socket]


class Far(Protocol):
    """A far end, see conftest.py."""

    requests: list[bytes]

    def dial(self, host: str, port: int) -> socket.socket: ...


FarEnds = Callable[[Script], Far]


class Opened(Protocol):
    """Gives a session through a new endpoint."""

    def __call__(self, dial: Dial, *, limit_s: float = LIMIT_S, size_limit: int = 1 << 20) -> Pages: ...


@pytest.fixture
def opened() -> Iterator[Opened]:
    endpoints: list[ProxyEndpoint] = []

    def open_pages(dial: Dial, *, limit_s: float = LIMIT_S, size_limit: int = 1 << 20) -> Pages:
        endpoints.append(ProxyEndpoint(dial, "mossgate-3f7a"))
        return Pages(endpoints[-1].url, "mossgate-3f7a", "203.0.113.7", limit_s=limit_s, size_limit=size_limit)

    yield open_pages
    for endpoint in endpoints:
        endpoint.close()


def saying(*pieces: bytes) -> Script:
    """A unit that says this, whatever it is asked, and hangs up."""

    def script(connection: socket.socket, stop: threading.Event) -> None:
        for piece in pieces:
            connection.sendall(piece)

    return script


def in_turn(*answers: bytes) -> Script:
    """A unit that gives one answer after the other, a connection each."""
    waiting = iter(answers)

    def script(connection: socket.socket, stop: threading.Event) -> None:
        connection.sendall(next(waiting))

    return script


def page(body: bytes, *fields: str, status: str = "200 OK") -> bytes:
    head = [f"HTTP/1.1 {status}", f"Content-Length: {len(body)}", *fields, "", ""]
    return "\r\n".join(head).encode() + body


def redirect(status: str, location: str) -> bytes:
    return page(b"moved", f"Location: {location}", status=status)


def line_of(request: bytes) -> str:
    return request.partition(b"\r\n")[0].decode()


def field_of(request: bytes, name: str) -> list[str]:
    lines = request.partition(b"\r\n\r\n")[0].decode().split("\r\n")[1:]
    return [value.strip() for key, _, value in (line.partition(":") for line in lines) if key.lower() == name]


def test_an_answer(far_end: FarEnds, opened: Opened) -> None:
    far = far_end(saying(page(b"<p>40 %", "Content-Type: text/html", "X-Twice: 1", "X-Twice: 2", status="418 Odd")))
    answer = opened(far.dial).get(f"{UNIT}/now")
    assert (answer.outcome, answer.status, answer.body) == ("answered", 418, b"<p>40 %")
    assert (answer.url, answer.method, answer.note, answer.redirects) == (f"{UNIT}/now", "GET", "", ())
    assert answer.headers == (
        ("Content-Length", "7"),
        ("Content-Type", "text/html"),
        ("X-Twice", "1"),
        ("X-Twice", "2"),
    )
    assert answer.content_type == "text/html"
    (request,) = far.requests
    assert line_of(request) == "GET /now HTTP/1.1"
    assert field_of(request, "host") == ["203.0.113.1"]
    assert field_of(request, "connection") == ["close"]


def test_a_form_goes_out_octet_for_octet(far_end: FarEnds, opened: Opened) -> None:
    far = far_end(saying(page(b"")))
    pages = opened(far.dial)
    body = b"network=a+%7E*&key=%C3%BC%0D%0A"
    pages.send(FormRequest("POST", f"{UNIT}/save?a=1", body, "application/x-www-form-urlencoded"))
    pages.send(FormRequest("GET", f"{UNIT}/save?a=b+%7E*%2F&c=", b"", ""))
    pages.send(FormRequest("POST", f"{UNIT}/empty", b"", "text/plain"))
    posted, got, empty = far.requests
    assert line_of(posted) == "POST /save?a=1 HTTP/1.1"
    assert posted.endswith(b"\r\n\r\n" + body)
    assert field_of(posted, "content-type") == ["application/x-www-form-urlencoded"]
    assert line_of(got) == "GET /save?a=b+%7E*%2F&c= HTTP/1.1"
    assert field_of(got, "content-type") == []
    assert field_of(empty, "content-length") == ["0"]


@pytest.mark.parametrize(
    ("user", "password", "expected"),
    [
        ("Aladdin", "open sesame", "QWxhZGRpbjpvcGVuIHNlc2FtZQ=="),  # RFC 7617, 2
        ("test", "123\u00a3", "dGVzdDoxMjPCow=="),  # RFC 7617, 2.1
    ],
)
def test_basic_authentication(far_end: FarEnds, opened: Opened, user: str, password: str, expected: str) -> None:
    far = far_end(saying(page(b"")))
    pages = opened(far.dial)
    pages.get(f"{UNIT}/settings", auth=(user, password))
    pages.get(f"{UNIT}/settings")
    assert [field_of(request, "authorization") for request in far.requests] == [[f"Basic {expected}"], []]


def test_cookies_are_kept_within_a_session_only(far_end: FarEnds, opened: Opened) -> None:
    far = far_end(saying(page(b"", "Set-Cookie: visit=17; Path=/")))
    first = opened(far.dial)
    first.get(UNIT)
    first.get(UNIT)
    opened(far.dial).get(UNIT)
    assert [field_of(request, "cookie") for request in far.requests] == [[], ["visit=17"], []]


@pytest.mark.parametrize(
    "octets",
    [
        b"HTTP/1.1 200 OK\r\n\r\nuntil the end",
        b"HTTP/1.0 200 OK\r\n\r\nuntil the end",
        b"HTTP/1.1 200 OK\n\nuntil the end",
        b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n5\r\nuntil\r\n8;x=y\r\n the end\r\n0\r\nT: v\r\n\r\n",
        page(gzip.compress(b"until the end", mtime=0), "Content-Encoding: gzip"),
        page(b"until the end", "Connection: keep-alive"),
    ],
)
def test_every_way_to_frame_a_body(far_end: FarEnds, opened: Opened, octets: bytes) -> None:
    # RFC 9112, 6 and 7; RFC 9110, 8.4
    answer = opened(far_end(saying(octets)).dial).get(UNIT)
    assert (answer.outcome, answer.body, answer.note) == ("answered", b"until the end", "")


def fetch_with_times(far_end: FarEnds, opened: Opened, monkeypatch: pytest.MonkeyPatch) -> tuple[Answer, list[float]]:
    seen, came, times = threading.Event(), Exchange.came, []

    def came_and_said(exchange: Exchange, octets: bytes) -> None:
        came(exchange, octets)
        seen.set()

    def script(connection: socket.socket, stop: threading.Event) -> None:
        times.append(time.monotonic())  # the request is here
        stop.wait(0.2)
        times.append(time.monotonic())
        connection.sendall(b"H")
        assert seen.wait(LIMIT_S)
        times.append(time.monotonic())
        connection.sendall(b"TTP/1.1 200 OK\r\nContent-Length: 1\r\n\r\nx")

    monkeypatch.setattr(Exchange, "came", came_and_said)
    return opened(far_end(script).dial).get(UNIT), times


def test_the_first_octet_is_timed_from_the_sent_request(
    far_end: FarEnds, opened: Opened, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer, (_asked_s, first_s, rest_s) = fetch_with_times(far_end, opened, monkeypatch)
    assert answer.outcome == "answered"
    assert answer.first_octet_s is not None
    assert first_s <= answer.begun_monotonic_s + answer.first_octet_s <= rest_s
    assert answer.begun_monotonic_s < first_s
    assert answer.begun_monotonic_s + answer.total_s >= rest_s


@pytest.mark.parametrize(
    ("problem", "outcome"),
    [
        (ConnectionRefusedError(111, "refused"), "refused"),
        (TimeoutError("nobody"), "silent"),
        (OSError(113, "No route to host"), "silent"),
    ],
)
def test_nobody_there(opened: Opened, problem: OSError, outcome: str) -> None:
    def dial(host: str, port: int) -> socket.socket:
        raise problem

    answer = opened(dial).get(f"{UNIT}:8080/")
    assert (answer.outcome, answer.status, answer.headers, answer.body) == (outcome, None, (), b"")
    assert answer.first_octet_s is None
    assert "203.0.113.1 port 8080 in mossgate-3f7a" in answer.note


def test_another_proxys_field_is_the_units_own_matter(far_end: FarEnds, opened: Opened) -> None:
    octets = page(b"", "Proxy-Status: cache.example; error=connection_refused", status="502 Bad Gateway")
    answer = opened(far_end(saying(octets)).dial).get(UNIT)
    assert (answer.outcome, answer.status) == ("answered", 502)


def silent(connection: socket.socket, stop: threading.Event) -> None:
    stop.wait(LIMIT_S)


def trickling(head: bytes) -> Script:
    def script(connection: socket.socket, stop: threading.Event) -> None:
        connection.sendall(head)
        while not stop.wait(0.02):
            connection.sendall(b"x")

    return script


@pytest.mark.parametrize(
    ("script", "outcome", "status"),
    [
        (silent, "silent", None),
        (trickling(b"H"), "too slow", None),
        (trickling(b"HTTP/1.1 200 OK\r\nX-Long: "), "too slow", None),
        (trickling(b"HTTP/1.1 200 OK\r\n\r\n"), "too slow", 200),
        (trickling(b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\nfff\r\n"), "too slow", 200),
    ],
)
def test_too_slow_and_silent_are_told_apart(
    far_end: FarEnds, opened: Opened, script: Script, outcome: str, status: int | None
) -> None:
    answer = opened(far_end(script).dial, limit_s=0.4).get(UNIT)
    assert (answer.outcome, answer.status) == (outcome, status)
    assert answer.total_s >= 0.3
    assert (answer.first_octet_s is None) == (outcome == "silent")
    if status == 200:
        assert answer.body.strip(b"x") == b""
        assert answer.body


def flooding(head: bytes, piece: bytes, hung_up: threading.Event) -> Script:
    def script(connection: socket.socket, stop: threading.Event) -> None:
        connection.sendall(head)
        try:
            while not stop.is_set():
                connection.sendall(piece)
        except OSError:
            hung_up.set()
            raise

    return script


@pytest.mark.parametrize(
    ("head", "piece"),
    [
        (b"HTTP/1.1 200 OK\r\n\r\n", b"endless " * 1024),
        (b"HTTP/1.1 200 OK\r\nContent-Length: 52428800\r\n\r\n", b"50 MB " * 1024),
        (b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n", b"400\r\n" + b"x" * 1024 + b"\r\n"),
    ],
)
def test_a_page_without_end_is_read_to_the_limit_only(
    far_end: FarEnds, opened: Opened, head: bytes, piece: bytes
) -> None:
    hung_up = threading.Event()
    answer = opened(far_end(flooding(head, piece, hung_up)).dial, size_limit=100_000).get(UNIT)
    assert (answer.outcome, answer.status, len(answer.body)) == ("too large", 200, 100_000)
    assert answer.note == "more than 100000 octets"
    assert hung_up.wait(LIMIT_S)  # the unit is not left sending


def test_a_page_of_just_the_limit_is_answered(far_end: FarEnds, opened: Opened) -> None:
    far = far_end(saying(page(b"x" * 5000)))
    assert opened(far.dial, size_limit=5000).get(UNIT).outcome == "answered"
    assert opened(far.dial, size_limit=4999).get(UNIT).outcome == "too large"


def test_a_small_answer_that_unpacks_to_a_large_one(far_end: FarEnds, opened: Opened) -> None:
    bomb = gzip.compress(b"\0" * (64 << 20))
    answer = opened(far_end(saying(page(bomb, "Content-Encoding: gzip"))).dial).get(UNIT)
    assert (answer.outcome, len(answer.body)) == ("too large", 1 << 20)


@pytest.mark.parametrize(
    ("start", "piece"),
    [
        (b"HTTP/1.1 200 OK\r\n", b"X-Flood: yes\r\n"),
        (b"HTTP/1.1 200 OK\r\nX-Long: ", b"y" * 1024),
        (b"HTTP/1.1 200 ", b"y" * 1024),
        (b"", b"\0" * 1024),
    ],
)
def test_a_head_without_end(far_end: FarEnds, opened: Opened, start: bytes, piece: bytes) -> None:
    hung_up = threading.Event()
    answer = opened(far_end(flooding(start, piece, hung_up)).dial).get(UNIT)
    assert (answer.outcome, answer.status) == ("too large", None)
    assert "a head of more than 100 lines or 65536 octets" in answer.note
    assert answer.body.startswith(start + piece)
    assert hung_up.wait(LIMIT_S)


@pytest.mark.parametrize(
    ("octets", "body"),
    [
        (b"", b""),
        (b"HTTP/1.1", b"HTTP/1.1"),
        (b"HTTP/1.1 200 OK\r\nContent-Le", b""),
        (b"HTTP/1.1 200 OK\r\nContent-Length: 10\r\n", b""),
        (b"HTTP/1.1 200 OK\r\nContent-Length: 10\r\n\r\nhalf", b"half"),
        (b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n5\r\nhel", b"hel"),
        (b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n5\r\nhello\r\n", b"hello"),
        (b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\nno size\r\n", b""),
        (b"SSH-2.0-OpenSSH\r\n\r\n", b"SSH-2.0-OpenSSH\r\n\r\n"),
        (b"\x00\xff\x1b[2J\r\n\r\n", b"\x00\xff\x1b[2J\r\n\r\n"),
        (page(b"no gzip", "Content-Encoding: gzip"), b""),
    ],
)
def test_what_ends_early_or_makes_no_sense(far_end: FarEnds, opened: Opened, octets: bytes, body: bytes) -> None:
    answer = opened(far_end(saying(octets)).dial).get(UNIT)
    assert (answer.outcome, answer.body) == ("cut off", body)
    assert answer.note
    assert (answer.first_octet_s is None) == (octets == b"")


def test_a_connection_that_breaks(far_end: FarEnds, opened: Opened) -> None:
    def breaking(connection: socket.socket, stop: threading.Event) -> None:
        connection.sendall(b"HTTP/1.1 200 OK\r\n\r\nhalf")  # without a length, only the reset tells it is not whole
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\x01\0\0\0\0\0\0\0")

    answer = opened(far_end(breaking).dial).get(UNIT)
    assert answer.outcome == "cut off"
    assert "ConnectionResetError" in answer.note


@pytest.mark.parametrize(
    ("status", "onward"),
    [  # RFC 9110, 15.4
        ("301 Moved Permanently", "GET /b HTTP/1.1"),
        ("302 Found", "GET /b HTTP/1.1"),
        ("303 See Other", "GET /b HTTP/1.1"),
        ("307 Temporary Redirect", "POST /b HTTP/1.1"),
        ("308 Permanent Redirect", "POST /b HTTP/1.1"),
    ],
)
def test_a_redirect_on_the_unit_is_followed(far_end: FarEnds, opened: Opened, status: str, onward: str) -> None:
    far = far_end(in_turn(redirect(status, "b"), page(b"there")))
    request = FormRequest("POST", f"{UNIT}/a", b"k=v", "application/x-www-form-urlencoded")
    answer = opened(far.dial).send(request, auth=("u", "p"))
    assert (answer.outcome, answer.url, answer.body) == ("answered", f"{UNIT}/b", b"there")
    (first,) = answer.redirects
    assert (first.status, first.url, first.method, first.body) == (int(status[:3]), f"{UNIT}/a", "POST", b"moved")
    assert first.begun_monotonic_s <= answer.begun_monotonic_s
    assert line_of(far.requests[1]) == onward
    assert far.requests[1].endswith(b"k=v" if onward.startswith("POST") else b"\r\n\r\n")
    assert field_of(far.requests[1], "authorization") == ["Basic " + base64.b64encode(b"u:p").decode()]


@pytest.mark.parametrize(
    "location",
    [
        "http://198.51.100.9/",
        "//198.51.100.9/x",
        "https://203.0.113.1/",
        "http://unit.example/",
        "http://[203/",
        "ftp://203.0.113.1/",
        "javascript:alert(1)",
        "http://203.0.113.1@198.51.100.9/",
        "http://203.0.113.1:port/",
    ],
)
def test_a_redirect_off_the_unit_is_not_followed(far_end: FarEnds, opened: Opened, location: str) -> None:
    far = far_end(saying(redirect("302 Found", location)))
    answer = opened(far.dial).get(UNIT)
    assert (answer.outcome, answer.status, answer.note) == ("redirected away", 302, f"to {location}")
    assert answer.header("Location") == location
    assert len(far.requests) == 1


def test_redirects_without_end(far_end: FarEnds, opened: Opened) -> None:
    far = far_end(saying(redirect("302 Found", "/again")))
    answer = opened(far.dial).get(UNIT)
    assert (answer.outcome, answer.status, answer.note) == ("answered", 302, "more than 5 redirects")
    assert len(answer.redirects) == 5
    assert len(far.requests) == 6


def test_the_limit_is_for_all_redirects_together(far_end: FarEnds, opened: Opened) -> None:
    def slow(connection: socket.socket, stop: threading.Event) -> None:
        stop.wait(0.15)
        connection.sendall(redirect("302 Found", "/again"))

    answer = opened(far_end(slow).dial, limit_s=0.4).get(UNIT)
    assert answer.outcome in ("silent", "too slow")
    assert answer.redirects


def test_a_redirect_that_says_nowhere_is_an_answer(far_end: FarEnds, opened: Opened) -> None:
    answer = opened(far_end(saying(page(b"", status="302 Found"))).dial).get(UNIT)
    assert (answer.outcome, answer.status) == ("answered", 302)


def test_the_redirecting_page_is_not_read_beyond_the_limit(far_end: FarEnds, opened: Opened) -> None:
    hung_up = threading.Event()
    head = b"HTTP/1.1 302 Found\r\nLocation: /x\r\n\r\n"
    answer = opened(far_end(flooding(head, b"y" * 1024, hung_up)).dial, size_limit=10_000).get(UNIT)
    assert (answer.outcome, answer.status) == ("too large", 302)


def test_the_environment_has_no_say(
    far_end: FarEnds, opened: Opened, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    far = far_end(saying(page(b"same")))
    plain = opened(far.dial).get(UNIT)
    netrc = tmp_path / "netrc"
    netrc.write_text("machine 203.0.113.1 login me password mine\n", encoding="ascii")
    monkeypatch.setenv("NETRC", str(netrc))
    for name, upper in itertools.product(("http_proxy", "https_proxy", "all_proxy"), (False, True)):
        monkeypatch.setenv(name.upper() if upper else name, "http://127.0.0.1:9")
    for name in ("no_proxy", "NO_PROXY"):
        monkeypatch.setenv(name, "203.0.113.1,127.0.0.1,*")
    again = opened(far.dial).get(UNIT)
    assert (again.outcome, again.status, again.body) == (plain.outcome, plain.status, plain.body)
    assert far.requests[0] == far.requests[1]


def test_an_endpoint_that_is_gone_is_the_benchs_trouble(far_end: FarEnds) -> None:
    endpoint = ProxyEndpoint(far_end(saying(b"")).dial, "gone")
    endpoint.close()
    with pytest.raises(
        BenchError, match=re.escape(f"pages in gone as 203.0.113.7: its endpoint {endpoint.url} cannot be reached")
    ):
        Pages(endpoint.url, "gone", "203.0.113.7", limit_s=LIMIT_S).get(UNIT)


def test_an_endpoint_that_fails_is_the_benchs_trouble(opened: Opened) -> None:
    def dial(host: str, port: int) -> socket.socket:
        raise RuntimeError("the probe has joined nothing")

    with pytest.raises(BenchError, match=r"proxy_internal_error: .* the probe has joined nothing"):
        opened(dial).get(UNIT)


@pytest.mark.parametrize(
    "url", ["https://203.0.113.1/", "203.0.113.1", "", "http://", "http://[203", "ftp://203.0.113.1/"]
)
def test_what_is_no_address_is_refused(far_end: FarEnds, opened: Opened, url: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        opened(far_end(saying(b"")).dial).get(url)


def test_nothing_is_tried_twice(far_end: FarEnds, opened: Opened) -> None:
    far = far_end(saying(b""))
    opened(far.dial).get(UNIT)
    assert len(far.requests) == 1


def test_every_exception_of_the_libraries_is_one_we_map() -> None:
    # The last is for an endpoint that is not of http: an endpoint's address is always our own.
    ours = (requests.RequestException, urllib3.exceptions.HTTPError, Warning, urllib3.exceptions.ProxySchemeUnsupported)
    for module in (requests.exceptions, urllib3.exceptions):
        raised = [thing for _, thing in inspect.getmembers(module, inspect.isclass) if issubclass(thing, Exception)]
        assert raised
        assert [thing for thing in raised if thing.__module__ == module.__name__ and not issubclass(thing, ours)] == []
