"""The head of a request to a forward proxy: read, and rewritten for the far end. No I/O."""

import re
from dataclasses import dataclass
from urllib.parse import urlsplit

HOST_FIELD = "Hil-Host"
"""A client of ours names here the host it asks for where that is another than the one it dials, as in a captive network."""

# RFC 9110, 7.6.1, and the two of proxies. Transfer-Encoding stays: the body it frames is carried as it is.
_HOP_BY_HOP = frozenset(
    {"connection", "keep-alive", "proxy-authenticate", "proxy-authorization", "proxy-connection", "te", "upgrade"}
)
_KEPT = frozenset({"transfer-encoding", "content-length", "host"})  # not dropped even if Connection names them
_TOKEN = re.compile(r"[!#$%&'*+.^_`|~0-9A-Za-z-]+")  # RFC 9110, 5.6.2


@dataclass(frozen=True)
class ProxyRequest:
    """A request as asked of the proxy.

    `head` is what goes to the far end (empty for a tunnel); `body_octets` is the
    length of the body, None where it has no stated length.
    """

    host: str
    port: int
    head: bytes
    body_octets: int | None

    @property
    def tunnel(self) -> bool:
        """Whether octets are to be carried both ways from the start (CONNECT)."""
        return not self.head


def parse_head(head: bytes) -> ProxyRequest:
    """Read a request head, from its first octet to before the empty line.

    Raises:
        ValueError: it is no request for a forward proxy; the text says why.
    """
    first, *lines = head.decode("latin-1").split("\r\n")
    method, target, version = _request_line(first)
    fields = [_field(line) for line in lines]
    if method == "CONNECT":
        host, port = _place(f"//{target}", default_port=None)
        return ProxyRequest(host, port, b"", None)
    if not target.lower().startswith("http://"):
        raise ValueError(f"no absolute http address: {target!r}")
    host, port = _place(target, default_port=80)
    return ProxyRequest(host, port, _onward(method, target, version, fields), _body_octets(fields))


def _request_line(line: str) -> tuple[str, str, str]:
    parts = line.split(" ")
    if len(parts) != 3 or not _TOKEN.fullmatch(parts[0]) or not re.fullmatch(r"HTTP/1\.[0-9]", parts[2]):
        raise ValueError(f"no HTTP/1.1 request line: {line!r}")
    return parts[0], parts[1], parts[2]


def _field(line: str) -> tuple[str, str]:
    name, colon, value = line.partition(":")
    if not colon or not _TOKEN.fullmatch(name):
        raise ValueError(f"no header field: {line!r}")
    return name, value.strip(" \t")


def _place(address: str, default_port: int | None) -> tuple[str, int]:
    parts = urlsplit(address)  # raises ValueError for a wrong port or bracket
    port = parts.port or default_port
    if not parts.hostname or port is None:
        raise ValueError(f"no host, or no port, in {address!r}")
    return parts.hostname, port


def _onward(method: str, target: str, version: str, fields: list[tuple[str, str]]) -> bytes:
    place, _, _ = target[len("http://") :].partition("#")[0].partition("/")
    authority = place.partition("?")[0]
    path = target[len("http://") + len(authority) :].partition("#")[0]
    path = path if path.startswith("/") else f"/{path}"
    named = {name.strip().lower() for key, value in fields if key.lower() == "connection" for name in value.split(",")}
    dropped = (_HOP_BY_HOP | named) - _KEPT
    # The target says which host is meant, whatever the Host field says (RFC 9112, 3.2.2).
    own = {"host", HOST_FIELD.lower()}
    kept = [f"{name}: {value}" for name, value in fields if name.lower() not in dropped | own]
    asked = next((value for name, value in fields if name.lower() == HOST_FIELD.lower()), "")
    host = f"Host: {asked or authority.rpartition('@')[2]}"
    return "\r\n".join([f"{method} {path} {version}", host, *kept, "Connection: close", "", ""]).encode("latin-1")


def _body_octets(fields: list[tuple[str, str]]) -> int | None:
    by_name = {name.lower(): value for name, value in fields}
    if "transfer-encoding" in by_name:
        return None
    length = by_name.get("content-length", "0")
    if not re.fullmatch(r"[0-9]{1,18}", length):
        raise ValueError(f"no length: {length!r}")
    return int(length)
