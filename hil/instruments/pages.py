"""Fetches pages of the unit through the endpoint of one network.

Whatever the unit does is an `Answer`; only the endpoint's own trouble is an
exception. Nothing of the machine's environment has a say (proxies, netrc), nothing
is tried twice, and each request has a connection of its own.
"""

import base64
import time
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Literal
from urllib.parse import urljoin, urlsplit

import requests
import urllib3
from requests.cookies import extract_cookies_to_jar

from hil.core.errors import InstrumentGone
from hil.instruments.watched_connection import Exchange, HeadTooLargeError, WatchedAdapter
from hil.page.fill import FormRequest

Outcome = Literal[
    "answered", "refused", "silent", "closed", "cut off", "too large", "too slow", "redirected away", "hung up"
]
Credentials = tuple[str, str]  # user and password

REDIRECTS = 5
NO_FIELDS: Mapping[str, str] = MappingProxyType({})
_CHUNK_OCTETS = 16 << 10
_REDIRECTING = frozenset({301, 302, 303, 307, 308})  # RFC 9110, 15.4
# What a network that does not lead to the unit looks like; any other error type is the endpoint's own trouble.
UNREACHED: Mapping[str, Outcome] = {
    "connection_refused": "refused",
    "connection_timeout": "silent",
    "destination_unavailable": "silent",
}
_HEADERS = {"User-Agent": "hil", "Accept": "text/html, */*", "Accept-Encoding": "gzip, deflate", "Connection": "close"}


@dataclass(frozen=True)
class Answer:
    """What came of a request.

    `silent`: nobody there, or not one octet in time; `too slow`: octets, but no
    whole answer in time; `cut off`: the connection ended, or what came made no
    sense, before the answer was whole; `redirected away`: to where this network's
    unit is not, and not followed.

    Times are real seconds: `begun_monotonic_s` is when the last octet of the
    request had been sent, and the other two count from it to the first octet and
    to the end: the last octet of an answer, else when it was given up. `body` has its transfer
    and content encodings taken off; where not even a head could be read, it is
    what came. `redirects` are the answers that led here, each with its own times. `octets_out`, `closed` and `hung up`
    are of bare connections alone (`raw_connection`).
    """

    outcome: Outcome
    url: str
    method: str
    status: int | None
    headers: tuple[tuple[str, str], ...]
    body: bytes
    first_octet_s: float | None
    total_s: float
    begun_monotonic_s: float
    note: str = ""
    redirects: tuple["Answer", ...] = field(default=())
    octets_out: int | None = None

    def header(self, name: str) -> str:
        """Give the first header of that name; empty if there is none."""
        return next((value for key, value in self.headers if key.lower() == name.lower()), "")

    @property
    def content_type(self) -> str:
        """Give what the body is said to be."""
        return self.header("content-type")


class Pages:
    """One session (cookies are kept) over one lease in one network."""

    def __init__(
        self, endpoint_url: str, network: str, lease: str, *, limit_s: float, size_limit: int = 1 << 20
    ) -> None:
        """Begin a session; nothing is sent yet.

        Args:
            endpoint_url: The forward proxy that leads into the network.
            network: The network's name, for messages.
            lease: The bench's own address there, for messages.
            limit_s: Real seconds for a whole answer, redirects included.
            size_limit: Octets of a body that are read at most.
        """
        self.network = network
        self.lease = lease
        self._endpoint_url = endpoint_url
        self._limit_s = limit_s
        self._size_limit = size_limit
        self._session = requests.Session()
        self._session.trust_env = False
        self._session.headers.clear()
        self._session.headers.update(_HEADERS)

    def get(
        self,
        url: str,
        auth: Credentials | None = None,
        fields: Mapping[str, str] = NO_FIELDS,
        *,
        follow: bool = True,
    ) -> Answer:
        """Fetch a page; see `send`."""
        return self.send(FormRequest("GET", url, b"", ""), auth, fields, follow=follow)

    def send(
        self,
        request: FormRequest,
        auth: Credentials | None = None,
        fields: Mapping[str, str] = NO_FIELDS,
        *,
        follow: bool = True,
    ) -> Answer:
        """Send a request and follow redirects on the unit, unless told not to.

        Args:
            request: What to send, to an absolute http address.
            auth: User and password for Basic authentication (RFC 7617, in UTF-8).
            fields: Further fields of the head, by name.
            follow: Whether a redirect is followed, or is the answer.

        Raises:
            InstrumentGone: the endpoint is not there, or failed itself.
            ValueError: the address is none to fetch from.
        """
        limit_s = time.monotonic() + self._limit_s
        earlier: tuple[Answer, ...] = ()
        while True:
            answer = replace(self._ask(request, auth, fields, limit_s - time.monotonic()), redirects=earlier)
            location = answer.header("location") if answer.outcome == "answered" else ""
            if answer.status not in _REDIRECTING or not location or not follow:
                return answer
            onward = _onward(request, answer.status, location)
            if onward is None:
                return replace(answer, outcome="redirected away", note=f"to {location}")
            if len(earlier) == REDIRECTS:
                return replace(answer, note=f"more than {REDIRECTS} redirects")
            request, earlier = onward, (*earlier, replace(answer, redirects=()))

    def _ask(self, request: FormRequest, auth: Credentials | None, fields: Mapping[str, str], limit_s: float) -> Answer:
        prepared = self._prepared(request, auth, fields)
        reader = _Reader(Exchange(limit_s), self._size_limit)
        try:
            reader.read(prepared, {"http": self._endpoint_url})
        except (requests.RequestException, urllib3.exceptions.HTTPError, OSError) as problem:
            if not reader.exchange.connected and not reader.exchange.out_of_time:
                raise self._broken(f"its endpoint {self._endpoint_url} cannot be reached ({problem})") from problem
            reader.failed(problem)
        if reader.cookies_from is not None:
            extract_cookies_to_jar(self._session.cookies, prepared, reader.cookies_from)  # type: ignore[no-untyped-call]
        return self._told(reader.answer(request))

    def _prepared(
        self, request: FormRequest, auth: Credentials | None, fields: Mapping[str, str]
    ) -> requests.PreparedRequest:
        if urlsplit(request.url).scheme.lower() != "http":
            raise ValueError(f"not an http address: {request.url!r}")
        headers = dict(fields)
        if request.content_type:
            headers["Content-Type"] = request.content_type
        if auth is not None:
            headers["Authorization"] = "Basic " + base64.b64encode(":".join(auth).encode()).decode("ascii")
        made = requests.Request(request.method, request.url, headers=headers, data=request.body or None)
        prepared = self._session.prepare_request(made)
        if request.url.isascii() and request.url.isprintable() and " " not in request.url:
            prepared.url = request.url  # requests would take escapes out that a browser sends
        return prepared

    def _told(self, answer: Answer) -> Answer:
        """Turn what the endpoint said of itself into what it means for the unit."""
        error = endpoint_error(answer.header("proxy-status"))
        if error is None:
            return answer
        text = answer.body.decode("utf-8", "replace").strip()
        outcome = UNREACHED.get(error)
        if outcome is None:
            raise self._broken(f"its endpoint failed: {error}: {text}")
        return replace(answer, outcome=outcome, status=None, headers=(), body=b"", first_octet_s=None, note=text)

    def _broken(self, problem: str) -> InstrumentGone:
        return InstrumentGone(
            f"pages in {self.network} as {self.lease}", f"{problem}.", "Look at the probe's messages."
        )


class _Reader:
    """Reads one answer, and knows how far it came when something fails."""

    def __init__(self, exchange: Exchange, size_limit: int) -> None:
        self.exchange = exchange
        self.cookies_from: urllib3.BaseHTTPResponse | None = None
        self._size_limit = size_limit
        self._outcome: Outcome = "cut off"
        self._note = ""
        self._status: int | None = None
        self._headers: tuple[tuple[str, str], ...] = ()
        self._body = bytearray()
        self._ended_s = exchange.begun_s

    def read(self, prepared: requests.PreparedRequest, proxies: Mapping[str, str]) -> None:
        adapter = WatchedAdapter(self.exchange)
        try:
            # Not by Session.send: that reads the bodies of redirects without a limit.
            with adapter.send(prepared, stream=True, timeout=self.exchange.left_s(), proxies=proxies) as response:
                self._status = response.status_code
                self._headers = tuple(response.raw.headers.items())
                self.cookies_from = response.raw
                self._read_body(response.raw)
        finally:
            self._ended_s = time.monotonic()
            adapter.close()

    def _read_body(self, raw: urllib3.BaseHTTPResponse) -> None:
        while piece := raw.read1(_CHUNK_OCTETS, decode_content=True):
            self._body += piece
            if len(self._body) > self._size_limit:
                del self._body[self._size_limit :]
                self._outcome, self._note = "too large", f"more than {self._size_limit} octets"
                return
        self._outcome = "answered" if self.exchange.head_whole else "cut off"
        self._note = "" if self.exchange.head_whole else "the connection ended within the head"

    def failed(self, problem: Exception) -> None:
        cause = _first_cause(problem)
        if self.exchange.out_of_time:
            self._outcome = "silent" if self.exchange.first_octet_s is None else "too slow"
            self._note = "not whole when its time was up"
        else:
            self._outcome = "too large" if isinstance(cause, HeadTooLargeError) else "cut off"
            self._note = f"{type(cause).__name__}: {cause}"

    def answer(self, request: FormRequest) -> Answer:
        begun_s = self.exchange.begun_s if self.exchange.sent_s is None else self.exchange.sent_s
        first_s, last_s = self.exchange.first_octet_s, self.exchange.last_octet_s
        # What reading a whole answer took beyond its last octet is ours, not the unit's.
        ended_s = last_s if self._outcome == "answered" and last_s is not None else self._ended_s
        return Answer(
            outcome=self._outcome,
            url=request.url,
            method=request.method,
            status=self._status,
            headers=self._headers,
            body=bytes(self.exchange.head if self._status is None else self._body),
            first_octet_s=None if first_s is None else first_s - begun_s,
            total_s=ended_s - begun_s,
            begun_monotonic_s=begun_s,
            note=self._note,
        )


def endpoint_error(proxy_status: str) -> str | None:
    """Give the type of error (RFC 9209, 2.3) that our endpoint states of itself; None where the field is not its own."""
    who, _, rest = proxy_status.partition(";")
    return rest.partition("error=")[2].partition(";")[0].strip() if who.strip() == "hil" else None


def _first_cause(problem: BaseException) -> BaseException:
    while (cause := problem.__cause__ or problem.__context__) is not None:
        problem = cause
    return problem


def _onward(request: FormRequest, status: int, location: str) -> FormRequest | None:
    """Give the request that a redirect asks for, as a browser makes it; None if it leads off the unit's address."""
    try:
        url = urljoin(request.url, location)
        here, there = urlsplit(request.url), urlsplit(url)
        on_unit = there.scheme == "http" and there.hostname == here.hostname
        requests.Request("GET", url).prepare()
    except ValueError:
        return None
    if not on_unit:
        return None
    if status in (307, 308) or request.method == "GET":
        return replace(request, url=url)
    return FormRequest("GET", url, b"", "")
