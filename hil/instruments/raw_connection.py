"""A bare connection into one network: octets go out as they are given, malformed or not, and come back as they came.

For what no HTTP client would send. It leads through the network's endpoint as a tunnel (CONNECT, RFC 9110, 9.3.6), which
neither rejects nor repairs what it carries. Whatever the unit does is an `Answer`; only the endpoint's own trouble is an
exception.
"""

import contextlib
import re
import socket
import struct
import time
from types import TracebackType
from typing import Self
from urllib.parse import urlsplit

from hil.core.errors import InstrumentGone
from hil.instruments.pages import UNREACHED, Answer, Outcome, endpoint_error

MOST_OCTETS = 64 << 10  # of an answer that are kept
_CHUNK_OCTETS = 16 << 10
_ENDPOINT_HEAD_OCTETS = 16 << 10
_STATUS_LINE = re.compile(rb"HTTP/1\.[0-9] ([0-9]{3})[ \r\n]")  # RFC 9112, 4
_LENGTH = re.compile(rb"(?im)^content-length:[ \t]*([0-9]{1,9})[ \t]*\r?$")
_TOKEN = re.compile(rb"[!#$%&'*+.^_`|~0-9A-Za-z-]+ ")  # RFC 9110, 5.6.2


class RawConnection:
    """One TCP connection to the host and port of an address; also a context manager, which hangs up.

    Of its `Answer`, `body` is all that came, head included. `answered`: a whole head with a status came; `closed`: the
    unit ended the connection without an octet; `cut off`: octets, but no such head; `silent`: nothing, and the connection
    still open when the bench stopped to listen; `hung up`: the bench did so, without listening.
    """

    def __init__(self, endpoint_url: str, url: str, network: str, *, limit_s: float) -> None:
        """Connect.

        Args:
            endpoint_url: The endpoint that leads into the network.
            url: An http address of the unit.
            network: The network's name, for messages.
            limit_s: Real seconds for connecting, and for each sending.

        Raises:
            InstrumentGone: the endpoint is not there, or failed itself.
            ValueError: the address is none.
        """
        self.octets_out = 0
        self._url = url
        self._network = network
        self._endpoint_url = endpoint_url
        self._limit_s = limit_s
        self._begun_s = time.monotonic()
        self._ended_s: float | None = None
        self._sent = b""
        self._came = b""
        self._listened = False
        self._closed = False
        self._outcome: Outcome | None = None
        self._note = ""
        self._socket = self._connected()

    def __enter__(self) -> Self:
        """Give the connection, which is open already."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Hang up."""
        self.hang_up()

    @property
    def reached(self) -> bool:
        """Whether the unit took the connection."""
        return self._outcome is None

    @property
    def over(self) -> bool:
        """Whether sending has no use any more: the unit was not reached, has answered whole, or takes nothing."""
        return not self.reached or self._closed or _is_whole(self._came) or bool(self._note)

    def send(self, octets: bytes) -> None:
        """Send octets as they are; that the unit takes no more of them is noted, and no error."""
        if not self.reached:
            return
        self._sent = self._sent or octets[:_CHUNK_OCTETS]
        try:
            self._socket.settimeout(self._limit_s)
            self._socket.sendall(octets)
        except OSError as problem:
            self._note = f"not all could be sent: {problem}"
        else:
            self.octets_out += len(octets)
        self._begun_s = time.monotonic()

    def end(self) -> None:
        """Tell the unit that nothing more comes, and keep listening (TCP's half close, RFC 9293, 3.6)."""
        if not self.reached:
            return
        try:
            self._socket.shutdown(socket.SHUT_WR)
        except OSError as problem:
            self._note = f"could not be ended: {problem}"

    def listen(self, limit_s: float) -> None:
        """Take what comes, until the answer is whole, the unit ends the connection, or real seconds are over."""
        self._listened = True
        until_s = time.monotonic() + limit_s
        while self.reached and not self._closed and not _is_whole(self._came) and len(self._came) < MOST_OCTETS:
            left_s = until_s - time.monotonic()
            if left_s <= 0.0 or not self._take(left_s):
                break
        self._ended_s = time.monotonic()

    def _take(self, limit_s: float) -> bool:
        """Take one piece; tell whether more may come in time."""
        try:
            self._socket.settimeout(limit_s)
            piece = self._socket.recv(_CHUNK_OCTETS)
        except TimeoutError:
            return False
        except OSError as problem:
            self._note, piece = f"the connection broke: {problem}", b""
        self._came += piece
        self._closed = not piece
        return not self._closed

    def hang_up(self) -> None:
        """Close the connection; may be called again."""
        self._ended_s = self._ended_s or time.monotonic()
        with contextlib.suppress(OSError):  # closed already
            # A reset on the way to the endpoint tells it that nobody listens any more, as a mere end would not.
            self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", not self._closed, 0))
        self._socket.close()

    def answer(self) -> Answer:
        """What came of it; times are real seconds from the last sending, and no first octet is timed.

        Where the unit was not reached, from when it was dialled.
        """
        seen = _STATUS_LINE.match(self._came) if b"\r\n\r\n" in self._came else None
        method = _TOKEN.match(self._sent)
        return Answer(
            outcome=self._outcome or self._seen_outcome(answered=seen is not None),
            url=self._url,
            method=method[0].strip().decode("ascii") if method else "octets",
            status=int(seen[1]) if seen else None,
            headers=(),
            body=self._came[:MOST_OCTETS],
            first_octet_s=None,
            total_s=(self._ended_s or time.monotonic()) - self._begun_s,
            begun_monotonic_s=self._begun_s,
            note=self._note,
            octets_out=self.octets_out,
        )

    def _seen_outcome(self, *, answered: bool) -> Outcome:
        if answered:
            return "answered"
        if self._came:
            return "cut off"
        if not self._listened:
            return "hung up"
        return "closed" if self._closed else "silent"

    def _connected(self) -> socket.socket:
        """Connect to the endpoint, and by it to the unit; where the unit is not reached, the outcome is set."""
        host, port = _place(self._url)
        where = urlsplit(self._endpoint_url)
        with contextlib.ExitStack() as closed_on_failure:
            try:
                connection = socket.create_connection((where.hostname or "", where.port or 0), timeout=self._limit_s)
                closed_on_failure.enter_context(connection)
                connection.sendall(f"CONNECT {host}:{port} HTTP/1.1\r\nHost: {host}:{port}\r\n\r\n".encode("ascii"))
                head = _endpoint_head(connection)
            except OSError as problem:
                raise self._broken(f"its endpoint {self._endpoint_url} cannot be used ({problem})") from problem
            self._understand(head)
            closed_on_failure.pop_all()
        self._begun_s = time.monotonic()
        return connection

    def _understand(self, said: bytes) -> None:
        """Tell a tunnel that is open from what the endpoint says of the far end."""
        head, _, rest = said.partition(b"\r\n\r\n")
        status = _STATUS_LINE.match(said)
        if status is not None and status[1] == b"200":
            self._came = rest
            return
        error = endpoint_error(_field(head, b"proxy-status"))
        outcome = UNREACHED.get(error or "")
        if outcome is None:
            raise self._broken(f"its endpoint failed: {error or head.decode('latin-1')}")
        self._outcome, self._note = outcome, f"no connection: {error}"

    def _broken(self, problem: str) -> InstrumentGone:
        return InstrumentGone(f"pages in {self._network}", f"{problem}.", "Look at the probe's messages.")


def _place(url: str) -> tuple[str, int]:
    parts = urlsplit(url)
    if parts.scheme.lower() != "http" or not parts.hostname:
        raise ValueError(f"not an http address: {url!r}")
    return parts.hostname, parts.port or 80


def _endpoint_head(connection: socket.socket) -> bytes:
    """Read what the endpoint says first, to its empty line, and what came along with it."""
    said = b""
    while b"\r\n\r\n" not in said and len(said) < _ENDPOINT_HEAD_OCTETS:
        piece = connection.recv(_CHUNK_OCTETS)
        if not piece:
            raise ConnectionAbortedError("it hung up")
        said += piece
    return said


def _field(head: bytes, name: bytes) -> str:
    lines = (line.partition(b":") for line in head.split(b"\r\n")[1:])
    return next((value.strip().decode("latin-1") for key, _, value in lines if key.lower() == name), "")


def _is_whole(came: bytes) -> bool:
    """Whether an answer of a stated length is all there; one without must be ended by the unit."""
    head, end, body = came.partition(b"\r\n\r\n")
    length = _LENGTH.search(head)
    return bool(end) and length is not None and len(body) >= int(length[1])
