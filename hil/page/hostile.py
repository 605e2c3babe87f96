"""Requests that no browser sends: malformed, oversized, broken off, or by methods a form does not have. Pure.

Where they go, and what the form's controls are called, comes from the page that was read. What a unit may answer is not
said here: that is for the checks.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal
from urllib.parse import urlsplit

from hil.page.encode import Entry, multipart, urlencoded
from hil.page.fill import JOINED
from hil.page.page import Form

Then = Literal["listen", "end and listen", "hang up"]

URLENCODED = "application/x-www-form-urlencoded"
METHODS = ("PUT", "DELETE", "HEAD", "WHISK")  # the last is no method of RFC 9110, 9.3, nor registered by IANA
LARGE_HEADER_OCTETS = 16 << 10
LARGE_BODY_OCTETS = 64 << 10
HUGE_BODY_OCTETS = 100_000_000
MANY_FIELDS = 100
LONG_PATH_OCTETS = 4000
_BOUNDARY = "hil-no-end-of-this"


@dataclass(frozen=True)
class HostileRequest:
    """Octets for the server at an address, what they are called, and what the sender does once they are out."""

    purpose: str
    url: str
    octets: bytes
    then: Then = "listen"


def hostile_requests(page_url: str, form: Form, changed: Entry) -> list[HostileRequest]:
    """Give the requests to send one after another.

    Args:
        page_url: Where the form was read.
        form: The form.
        changed: A control of it with another value than it shows: a unit that takes a broken body for the form would
            store it. It stands first in each body, so that what is cut off is something else.
    """
    return [*_broken_heads(page_url), *_oversized(form, changed), *_broken_bodies(form, changed), *_odd(page_url, form)]


def plain_get(url: str) -> bytes:
    """A request for a page, as a browser would ask for it."""
    return _head("GET", url)


def slow_body(form: Form, changed: Entry) -> tuple[bytes, ...]:
    """A head that promises the whole form, and the first octets of it, a few at a time."""
    body = urlencoded(_entries(form, changed))
    head = _head("POST", form.action, _length(body), f"Content-Type: {URLENCODED}")
    return head + body[:2], body[2:4], body[4:6]


def _broken_heads(page_url: str) -> Iterable[HostileRequest]:
    """Request lines that are none (RFC 9112, 3), and a header field that no server needs to take (RFC 6585, 5)."""
    yield HostileRequest("request line of one word", page_url, b"nonsense\r\n\r\n")
    yield HostileRequest("request line of no text", page_url, b"\x16\x03\x01\x00\xff\xfe\x80 \x00\r\n\r\n")
    filler = "X-Filler: " + "f" * LARGE_HEADER_OCTETS
    yield HostileRequest("headers of 16 kB", page_url, _head("GET", page_url, filler))


def _oversized(form: Form, changed: Entry) -> Iterable[HostileRequest]:
    kind = f"Content-Type: {URLENCODED}"
    first = urlencoded([changed])
    huge = _head("POST", form.action, f"Content-Length: {HUGE_BODY_OCTETS}", kind)
    yield HostileRequest("declared length of 100 MB", form.action, huge + first)
    body = (first + b"&filler=").ljust(LARGE_BODY_OCTETS, b"f")
    yield HostileRequest("body of 64 kB", form.action, _head("POST", form.action, _length(body), kind) + body)


def _broken_bodies(form: Form, changed: Entry) -> Iterable[HostileRequest]:
    kind = f"Content-Type: {URLENCODED}"
    body = urlencoded(_entries(form, changed))
    # Cut between two fields, so that what came looks like a form, if a smaller one.
    half = body[: len(body) // 2].rpartition(b"&")[0] or urlencoded([changed])
    broken_off = _head("POST", form.action, _length(body), kind) + half
    yield HostileRequest("half a body", form.action, broken_off, "end and listen")
    yield HostileRequest("half a body, hung up", form.action, broken_off, "hang up")
    endless = _endless_multipart(_entries(form, changed))
    endless_head = _head(
        "POST", form.action, _length(endless), f"Content-Type: multipart/form-data; boundary={_BOUNDARY}"
    )
    yield HostileRequest("multipart without its end", form.action, endless_head + endless)
    many = urlencoded([Entry(f"field_{number}", "1") for number in range(MANY_FIELDS)])
    yield HostileRequest("body of 100 fields", form.action, _head("POST", form.action, _length(many), kind) + many)


def _odd(page_url: str, form: Form) -> Iterable[HostileRequest]:
    """Methods and paths that are nobody's; all are well-formed."""
    for method in METHODS:
        for where, url in (("form", page_url), ("form's target", form.action)):
            length = () if method == "HEAD" else ("Content-Length: 0",)
            yield HostileRequest(f"{method} on the {where}", url, _head(method, url, *length))
    paths = {
        "unknown path": "/no/such/page",
        "double slash": "//" + (urlsplit(page_url).path.lstrip("/")),
        "path of 4000 octets": "/" + "p" * (LONG_PATH_OCTETS - 1),
    }
    for purpose, path in paths.items():
        yield HostileRequest(purpose, page_url, _head("GET", page_url, path=path))


def _entries(form: Form, changed: Entry) -> list[Entry]:
    """What the form shows, with the changed control first; buttons and what is off are left out."""
    silent = ("submit", "image", "reset", "button", "file", JOINED)
    shown = [c for c in form.controls if c.name and c.name != changed.name and c.kind not in silent and not c.disabled]
    ticked = [c for c in shown if c.kind not in ("checkbox", "radio") or c.checked]
    return [changed, *(Entry(control.name, control.value) for control in ticked)]


def _endless_multipart(entries: Sequence[Entry]) -> bytes:
    """Multipart without the boundary that must close it (RFC 2046, 5.1.1)."""
    body, content_type = multipart(entries)
    boundary = content_type.partition("boundary=")[2].encode("ascii")
    return body.removesuffix(b"--" + boundary + b"--\r\n").replace(boundary, _BOUNDARY.encode("ascii"))


def _length(body: bytes) -> str:
    return f"Content-Length: {len(body)}"


def _head(method: str, url: str, *fields: str, path: str = "") -> bytes:
    parts = urlsplit(url)
    target = path or (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    lines = [f"{method} {target} HTTP/1.1", f"Host: {parts.netloc}", "Connection: close", *fields, "", ""]
    return "\r\n".join(lines).encode("latin-1", "replace")
