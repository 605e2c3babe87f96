"""Hostile requests, held against Python's own HTTP server, MIME parser and form decoder: what is broken is broken for them."""

import email
import email.errors
import email.policy
import io
from http.client import parse_headers
from http.server import BaseHTTPRequestHandler
from urllib.parse import parse_qs, parse_qsl

import pytest
from hil_acceptance.test_form_abused import BROKEN, METHODS, ODD, OVERSIZED

from hil.page.encode import Entry
from hil.page.hostile import HostileRequest, hostile_requests, plain_get, slow_body
from hil.page.page import Control, Form

PAGE = "http://203.0.113.1/setup?step=1"
ACTION = "http://203.0.113.1/store"
CHANGED = Entry("place", "allotment & shed")
CONTROLS = (
    Control("opens", "number", "24"),
    Control("place", "text", "allotment"),
    Control("key", "password", ""),
    Control("loud", "checkbox", "on"),
    Control("token", "hidden", "t-4411"),
    Control("go", "submit", "Save"),
)
FORM = Form(ACTION, "post", "application/x-www-form-urlencoded", "utf-8", CONTROLS)
REQUESTS = {request.purpose: request for request in hostile_requests(PAGE, FORM, CHANGED)}


class Parser(BaseHTTPRequestHandler):
    """Python's server, given octets instead of a connection; remembers the error it would answer with."""

    def __init__(self, octets: bytes) -> None:
        self.rfile = io.BytesIO(octets)
        self.refused: int | None = None
        self.raw_requestline = self.rfile.readline(65537)
        self.well = self.parse_request()

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        self.refused = int(code)


def body_of(request: HostileRequest) -> bytes:
    return request.octets.partition(b"\r\n\r\n")[2]


def field_of(request: HostileRequest, name: str) -> str:
    head = request.octets.partition(b"\r\n")[2]
    return str(parse_headers(io.BytesIO(head)).get(name, ""))


def test_every_request_is_judged_by_some_check() -> None:
    """But the one after which the bench hangs up: of that, only what the unit holds afterwards tells."""
    judged = {*BROKEN, *METHODS, *ODD, *OVERSIZED}
    assert set(REQUESTS) == judged | {"half a body, hung up"}
    assert len(hostile_requests(PAGE, FORM, CHANGED)) == len(REQUESTS)


@pytest.mark.parametrize("purpose", ["request line of one word", "request line of no text"])
def test_a_request_line_that_is_none_is_none_to_python(purpose: str) -> None:
    parser = Parser(REQUESTS[purpose].octets)
    assert (parser.well, parser.refused) == (False, 400)


def test_everything_else_has_a_head_that_python_takes() -> None:
    others = [r for r in REQUESTS.values() if not r.purpose.startswith("request line")]
    assert [r.purpose for r in others if not Parser(r.octets).well] == []


@pytest.mark.parametrize("purpose", [p for p in REQUESTS if "on the" in p])
def test_methods_go_to_the_form_and_to_its_target(purpose: str) -> None:
    parser = Parser(REQUESTS[purpose].octets)
    assert parser.command == purpose.split(maxsplit=1)[0]
    assert parser.path == ("/store" if "target" in purpose else "/setup?step=1")


def test_bodies_go_where_the_form_says() -> None:
    bodies = [r for r in REQUESTS.values() if Parser(r.octets).command == "POST"]
    assert len(bodies) == 6
    assert {(r.url, Parser(r.octets).path) for r in bodies} == {(ACTION, "/store")}


def test_sizes_are_what_they_are_called() -> None:
    assert field_of(REQUESTS["declared length of 100 MB"], "content-length") == "100000000"
    assert len(body_of(REQUESTS["declared length of 100 MB"])) < 100
    large = REQUESTS["body of 64 kB"]
    assert len(body_of(large)) == int(field_of(large, "content-length")) == 65536
    assert len(REQUESTS["headers of 16 kB"].octets) > 16384
    assert len(Parser(REQUESTS["path of 4000 octets"].octets).path) == 4000


@pytest.mark.parametrize("purpose", ["half a body", "half a body, hung up"])
def test_half_a_body_reads_like_a_smaller_form_with_the_change_in_it(purpose: str) -> None:
    sent = parse_qs(body_of(REQUESTS[purpose]).decode(), keep_blank_values=True, strict_parsing=True)
    assert sent["place"] == ["allotment & shed"]
    assert "token" not in sent
    assert len(body_of(REQUESTS[purpose])) < int(field_of(REQUESTS[purpose], "content-length"))


def test_the_multipart_has_parts_but_no_end() -> None:
    """Python's MIME parser names the defect."""
    request = REQUESTS["multipart without its end"]
    kind = f"Content-Type: {field_of(request, 'content-type')}\r\n\r\n".encode()
    parsed = email.message_from_bytes(kind + body_of(request), policy=email.policy.HTTP)
    assert [type(d) for d in parsed.defects] == [email.errors.CloseBoundaryNotFoundDefect]
    names = [part.get_param("name", header="content-disposition") for part in parsed.iter_parts()]  # type: ignore[attr-defined]
    assert names == ["place", "opens", "key", "token"]
    assert len(body_of(request)) == int(field_of(request, "content-length"))


def test_the_hundred_fields_are_none_of_the_form_s() -> None:
    pairs = parse_qsl(body_of(REQUESTS["body of 100 fields"]).decode(), strict_parsing=True)
    assert len(dict(pairs)) == len(pairs) == 100
    assert not dict(pairs).keys() & {control.name for control in CONTROLS}


def test_a_slow_body_never_comes_to_its_end() -> None:
    pieces = slow_body(FORM, CHANGED)
    octets = b"".join(pieces)
    assert len(pieces) == 3
    parser = Parser(octets)
    assert (parser.well, parser.path) == (True, "/store")
    assert len(octets.partition(b"\r\n\r\n")[2]) < int(parser.headers["content-length"])


def test_a_plain_get_is_what_python_takes() -> None:
    parser = Parser(plain_get(PAGE))
    assert (parser.command, parser.path, parser.headers["host"]) == ("GET", "/setup?step=1", "203.0.113.1")
