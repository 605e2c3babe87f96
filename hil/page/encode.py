"""Puts the entries of a form into octets, in the three ways a browser knows.

Sources: WHATWG URL Standard, 5.2 (urlencoded serializing) and WHATWG HTML
Standard, 4.10.22 (newline normalisation, multipart/form-data, text/plain).
urllib.parse is no such encoder: it leaves `~` bare and escapes `*`.
"""

import hashlib
import re
import string
from collections.abc import Sequence
from dataclasses import dataclass

import webencodings

_BARE = frozenset((string.ascii_letters + string.digits + "*-._").encode())


@dataclass(frozen=True)
class Entry:
    """One name and value to send, and the kind of its control; a file entry is that of a file control left empty."""

    name: str
    value: str
    is_file: bool = False
    kind: str = ""


def urlencoded(entries: Sequence[Entry], encoding: str = "utf-8") -> bytes:
    """Serialise entries as application/x-www-form-urlencoded."""
    pairs = (f"{_percent(entry.name, encoding)}={_percent(entry.value, encoding)}" for entry in entries)
    return "&".join(pairs).encode("ascii")


def multipart(entries: Sequence[Entry], encoding: str = "utf-8") -> tuple[bytes, str]:
    """Serialise entries as multipart/form-data; also gives the content type with its boundary."""
    parts = [_part(entry, encoding) for entry in entries]
    boundary = _boundary(b"".join(parts))
    mark = b"--" + boundary.encode("ascii")
    body = b"".join(mark + b"\r\n" + part + b"\r\n" for part in parts) + mark + b"--\r\n"
    return body, f"multipart/form-data; boundary={boundary}"


def plain(entries: Sequence[Entry], encoding: str = "utf-8") -> bytes:
    """Serialise entries as text/plain, a line each."""
    return b"".join(b"%s=%s\r\n" % (_octets(e.name, encoding), _octets(e.value, encoding)) for e in entries)


def _percent(text: str, encoding: str) -> str:
    return "".join(
        chr(octet) if octet in _BARE else "+" if octet == 0x20 else f"%{octet:02X}" for octet in _octets(text, encoding)
    )


def _part(entry: Entry, encoding: str) -> bytes:
    name = _octets(entry.name, encoding).replace(b'"', b"%22").replace(b"\r", b"%0D").replace(b"\n", b"%0A")
    head = b'Content-Disposition: form-data; name="%s"' % name
    if entry.is_file:
        return head + b'; filename=""\r\nContent-Type: application/octet-stream\r\n\r\n'
    return head + b"\r\n\r\n" + _octets(entry.value, encoding)


def _boundary(content: bytes) -> str:
    # From the content, so that the same form gives the same octets; the digest cannot occur in what it digests.
    return "----form" + hashlib.sha256(content).hexdigest()[:32]


def _octets(text: str, encoding: str) -> bytes:
    """Encode with line ends as CR LF, lone surrogates as U+FFFD, unknown characters as `&#N;`."""
    whole = text.encode("utf-16-le", "surrogatepass").decode("utf-16-le", "replace")
    lines = re.sub(r"\r\n?|\n", "\r\n", whole)
    return webencodings.encode(lines, webencodings.lookup(encoding) or webencodings.UTF8, "xmlcharrefreplace")
