"""Pages asked for with fields of one's own, and redirects that are the answer: held against RFC 9110 (15.4, 10.2.2)."""

import socket
import threading
from collections.abc import Callable
from typing import Protocol

import pytest

from hil.instruments.endpoint import ProxyEndpoint
from hil.instruments.pages import Pages
from hil.instruments.proxy_request import HOST_FIELD
from hil.page.fill import FormRequest

LIMIT_S = 20.0
UNIT = "http://203.0.113.1"
MOVED = b"HTTP/1.1 302 Found\r\nLocation: /\r\nContent-Length: 5\r\n\r\nmoved"


class Far(Protocol):
    """A far end, see conftest.py."""

    requests: list[bytes]

    def dial(self, host: str, port: int) -> socket.socket: ...


FarEnds = Callable[[Callable[[socket.socket, threading.Event], None]], Far]


@pytest.fixture
def moved(far_end: FarEnds) -> Far:
    """A unit that sends everybody to its first page."""
    return far_end(lambda connection, _stop: connection.sendall(MOVED))


def test_a_redirect_may_be_the_answer(moved: Far) -> None:
    with ProxyEndpoint(moved.dial, "mossgate-3f7a") as endpoint:
        pages = Pages(endpoint.url, "mossgate-3f7a", "203.0.113.7", limit_s=LIMIT_S)
        answer = pages.get(f"{UNIT}/generate_204", fields={HOST_FIELD: "www.example.com"}, follow=False)
    assert (answer.outcome, answer.status, answer.header("location"), answer.body) == ("answered", 302, "/", b"moved")
    assert (answer.url, answer.redirects, answer.first_octet_s is not None) == (f"{UNIT}/generate_204", (), True)
    (asked,) = moved.requests
    assert asked.startswith(b"GET /generate_204 HTTP/1.1\r\nHost: www.example.com\r\n")


def test_fields_go_out_beside_our_own(moved: Far) -> None:
    form = FormRequest("POST", f"{UNIT}/save", b"a=b", "application/x-www-form-urlencoded")
    with ProxyEndpoint(moved.dial, "mossgate-3f7a") as endpoint:
        pages = Pages(endpoint.url, "mossgate-3f7a", "203.0.113.7", limit_s=LIMIT_S)
        pages.send(form, ("vent", "k"), {"Origin": "http://elsewhere.example"}, follow=False)
        pages.send(form, follow=False)
    with_field, without = (request.decode().split("\r\n") for request in moved.requests)
    assert set(with_field) - set(without) == {"Origin: http://elsewhere.example", "Authorization: Basic dmVudDpr"}
    assert "Host: 203.0.113.1" in with_field
