"""Sending an image: the request's head held against RFC 9112 and RFC 7617, and the even pace in which its body goes out."""

from contextlib import contextmanager
from http.client import parse_headers
from io import BytesIO
from typing import TYPE_CHECKING, cast

import pytest
import requests

from hil.core.clock import Clock
from hil.legs.uploading import LONGEST_S, PIECE_OCTETS, PIECE_S, Sent, UpdateWay, upload

if TYPE_CHECKING:
    from collections.abc import Iterator

    from hil.instruments.bench import Bench
    from hil.instruments.visits import Visitor

URL = "http://198.51.100.2/update"
KEY = ("vent", "uk-9s2d:4f6g")
SPEED = 4.0


class Connection:
    """Notes what is sent and how long is listened; a unit that answers early is over after so many octets."""

    def __init__(self, over_after: int | None = None) -> None:
        self.sent: list[bytes] = []
        self.listened: list[float] = []
        self._over_after = over_after

    @property
    def over(self) -> bool:
        return self._over_after is not None and sum(map(len, self.sent[1:])) >= self._over_after

    def send(self, octets: bytes) -> None:
        self.sent.append(octets)

    def listen(self, limit_s: float) -> None:
        self.listened.append(limit_s)

    def answer(self) -> str:
        return "the answer"


class Lane:
    """A visitor with one connection, and a bench's clock: all that is needed to send."""

    def __init__(self, connection: Connection) -> None:
        self.clock = Clock(SPEED)
        self._connection = connection

    @contextmanager
    def connection(self, _url: str, _purpose: str) -> "Iterator[Connection]":
        yield self._connection


def send(connection: Connection, octets: bytes, **more: object) -> None:
    """Upload octets over a connection of our own."""
    lane = Lane(connection)
    way = UpdateWay(cast("Visitor", lane), URL, KEY)
    upload(cast("Bench", lane), way, Sent(octets, len(octets), KEY), "update", **more)  # type: ignore[arg-type]


def test_the_head_states_who_asks_and_how_much_comes() -> None:
    connection = Connection()
    send(connection, b"x" * 10)
    first, _, rest = connection.sent[0].partition(b"\r\n")
    assert first == b"POST /update HTTP/1.1"
    fields = parse_headers(BytesIO(rest))
    by_library = requests.Request("POST", URL, data=b"x" * 10, auth=KEY).prepare().headers
    assert fields["Host"] == "198.51.100.2"
    assert fields["Content-Length"] == by_library["Content-Length"] == "10"
    assert fields["Authorization"] == by_library["Authorization"]


def test_without_a_key_none_is_sent() -> None:
    way = UpdateWay(cast("Visitor", None), URL, KEY)
    assert b"Authorization" not in way.head(10, None)


def test_the_body_goes_out_in_even_pieces() -> None:
    connection, body = Connection(), bytes(range(256)) * 60
    send(connection, body)
    assert b"".join(connection.sent[1:]) == body
    assert {len(piece) for piece in connection.sent[1:-1]} == {PIECE_OCTETS}
    pauses = connection.listened[:-1]
    assert pauses == [pytest.approx(PIECE_S / SPEED)] * (len(connection.sent) - 2)


def test_a_large_body_goes_out_faster() -> None:
    connection, pieces = Connection(), 200
    send(connection, b"\0" * (pieces * PIECE_OCTETS))
    assert sum(connection.listened[:-1]) == pytest.approx(LONGEST_S / SPEED * (pieces - 1) / pieces)


def test_up_to_a_share_nothing_more_is_sent_and_no_answer_is_awaited() -> None:
    connection, seen = Connection(), list[int]()
    send(connection, b"\0" * 20_000, until=9_000, then=lambda: seen.append(sum(map(len, connection.sent[1:]))))
    assert seen == [9_000]
    assert sum(map(len, connection.sent[1:])) == 9_000
    assert len(connection.listened) == 2


def test_a_unit_that_has_answered_is_sent_no_more() -> None:
    connection = Connection(over_after=PIECE_OCTETS)
    send(connection, b"\0" * 40_000)
    assert sum(map(len, connection.sent[1:])) == PIECE_OCTETS
