"""Request heads for a forward proxy: held against RFC 9110 (7.6.1) and RFC 9112 (3.2, 3.3)."""

import pytest

from hil.instruments.proxy_request import HOST_FIELD, ProxyRequest, parse_head


def head(*lines: str) -> bytes:
    return "\r\n".join(lines).encode("latin-1")


@pytest.mark.parametrize(
    ("target", "host", "port", "line", "host_field"),
    [
        ("http://203.0.113.1/save?a=b+%7E", "203.0.113.1", 80, "/save?a=b+%7E", "203.0.113.1"),
        ("http://203.0.113.1", "203.0.113.1", 80, "/", "203.0.113.1"),
        ("HTTP://Unit.Example:8080/a/../b", "unit.example", 8080, "/a/../b", "Unit.Example:8080"),
        ("http://203.0.113.1?x", "203.0.113.1", 80, "/?x", "203.0.113.1"),
        ("http://[2001:db8::1]:81/", "2001:db8::1", 81, "/", "[2001:db8::1]:81"),
        ("http://u:p@203.0.113.1/", "203.0.113.1", 80, "/", "203.0.113.1"),
        ("http://203.0.113.1/a#b", "203.0.113.1", 80, "/a", "203.0.113.1"),
        ("http://203.0.113.1/a?u=http://x/y", "203.0.113.1", 80, "/a?u=http://x/y", "203.0.113.1"),
    ],
)
def test_absolute_form_becomes_origin_form(target: str, host: str, port: int, line: str, host_field: str) -> None:
    request = parse_head(head(f"GET {target} HTTP/1.1", "Host: somewhere.else", "X: y"))
    onward = head(f"GET {line} HTTP/1.1", f"Host: {host_field}", "X: y", "Connection: close", "", "")
    assert request == ProxyRequest(host, port, onward, 0)
    assert not request.tunnel


def test_hop_by_hop_fields_are_dropped() -> None:
    request = parse_head(
        head(
            "POST http://203.0.113.1/ HTTP/1.1",
            "Connection: keep-alive, X-Mine",
            "Keep-Alive: timeout=5",
            "x-mine: 1",
            "Proxy-Connection: keep-alive",
            "Proxy-Authorization: Basic eDp5",
            "TE: trailers",
            "Upgrade: h2c",
            "Content-Length: 7",
            "Cookie: a=b",
        )
    )
    assert request.head == head(
        "POST / HTTP/1.1", "Host: 203.0.113.1", "Content-Length: 7", "Cookie: a=b", "Connection: close", "", ""
    )
    assert request.body_octets == 7


def test_a_chunked_body_has_no_stated_length() -> None:
    request = parse_head(head("POST http://203.0.113.1/ HTTP/1.1", "Transfer-Encoding: chunked"))
    assert request.body_octets is None
    assert b"Transfer-Encoding: chunked" in request.head


def test_connect_asks_for_a_tunnel() -> None:
    request = parse_head(head("CONNECT 203.0.113.1:443 HTTP/1.1", "Host: 203.0.113.1:443"))
    assert request == ProxyRequest("203.0.113.1", 443, b"", None)
    assert request.tunnel


@pytest.mark.parametrize(
    "lines",
    [
        ("",),
        ("GET / HTTP/1.1",),
        ("GET http://203.0.113.1/",),
        ("GET http://203.0.113.1/ HTTP/2",),
        ("GET https://203.0.113.1/ HTTP/1.1",),
        ("GET ftp://203.0.113.1/ HTTP/1.1",),
        ("G T http://203.0.113.1/ HTTP/1.1",),
        ("GET http:/// HTTP/1.1",),
        ("GET http://203.0.113.1:port/ HTTP/1.1",),
        ("GET http://203.0.113.1:70000/ HTTP/1.1",),
        ("GET http://[203/ HTTP/1.1",),
        ("CONNECT 203.0.113.1 HTTP/1.1",),
        ("CONNECT :443 HTTP/1.1",),
        ("GET http://203.0.113.1/ HTTP/1.1", "no field"),
        ("GET http://203.0.113.1/ HTTP/1.1", " folded: 1"),
        ("GET http://203.0.113.1/ HTTP/1.1", "spaced : 1"),
        ("POST http://203.0.113.1/ HTTP/1.1", "Content-Length: -1"),
        ("POST http://203.0.113.1/ HTTP/1.1", "Content-Length: 1, 1"),
        ("\xff\x00\x1b",),
    ],
)
def test_what_is_no_request_for_a_proxy(lines: tuple[str, ...]) -> None:
    with pytest.raises(ValueError, match=r"."):
        parse_head(head(*lines))


def test_another_host_than_the_one_dialled_may_be_asked_for() -> None:
    """As a phone does that was led to the unit under another name; the field that says so goes no further."""
    request = parse_head(
        head("GET http://203.0.113.1/a HTTP/1.1", "Host: 203.0.113.1", f"{HOST_FIELD}: www.example.com")
    )
    assert (request.host, request.port) == ("203.0.113.1", 80)
    assert request.head == head("GET /a HTTP/1.1", "Host: www.example.com", "Connection: close", "", "")
