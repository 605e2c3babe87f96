"""Sending an image to a unit: at an even pace, so that how much was sent says how much has come, whole or up to a share."""

import base64
from collections.abc import Callable
from dataclasses import dataclass
from urllib.parse import urlsplit

from hil.core.build import Build
from hil.core.product import Product
from hil.instruments.bench import Bench
from hil.instruments.pages import Answer
from hil.instruments.raw_connection import RawConnection
from hil.instruments.visits import Credentials, Visitor
from hil.legs.door import refused
from hil.legs.moves import unit_address, update_credentials

PIECE_OCTETS = 4096
PIECE_S = 0.12
"""About what a unit takes for as much: a sector's erase, 45 ms, and 16 pages of 0.7 ms (typical of serial flash, from
memory), and as long again for its network."""
LONGEST_S = 8.0  # a large image is sent faster than that
ANSWER_S = 30.0  # patience with the answer: a unit may look through all of the image first


@dataclass(frozen=True)
class UpdateWay:
    """Where a unit takes an update, as whom, and by which station of the bench."""

    visitor: Visitor
    url: str
    auth: Credentials

    def head(self, length: int, auth: Credentials | None) -> bytes:
        """The head of the request (RFC 9112) for a body of so many octets."""
        parts = urlsplit(self.url)
        lines = [f"POST {parts.path} HTTP/1.1", f"Host: {parts.netloc}"]
        if auth is not None:
            lines.append("Authorization: Basic " + base64.b64encode(":".join(auth).encode()).decode("ascii"))
        lines += ["Content-Type: application/octet-stream", f"Content-Length: {length}", "Connection: close", "", ""]
        return "\r\n".join(lines).encode()


def update_way(bench: Bench, product: Product) -> UpdateWay | None:
    """The way to the update of a connected unit; None where its address is not known."""
    address, auth = unit_address(bench), update_credentials(bench, product)
    if product.update is None or address is None or auth is None:
        return None
    visitor = bench.visits.at(bench.access_point.lease_of_bench())
    return UpdateWay(visitor, f"http://{address}{product.update.path}", (product.update.user, auth[1]))


@dataclass(frozen=True)
class Sent:
    """A body to be sent: its octets, the length that the head states, and who asks; all of it by default."""

    octets: bytes
    stated: int
    auth: Credentials | None


def upload(
    bench: Bench,
    way: UpdateWay,
    body: Sent,
    purpose: str,
    *,
    until: int | None = None,
    then: Callable[[], None] | None = None,
) -> Answer:
    """Send a body and take the answer.

    Args:
        bench: The bench.
        way: To the unit.
        body: What is sent.
        purpose: What the evidence finds the request by.
        until: After so many octets nothing more is sent, and the answer is not waited for.
        then: Called while the connection is still there: after those octets, else after the answer.
    """
    with way.visitor.connection(way.url, purpose) as connection:
        connection.send(way.head(body.stated, body.auth))
        _send_evenly(bench, connection, body.octets[:until])
        if until is None:
            connection.listen(bench.clock.real_s(ANSWER_S))
        if then is not None:
            then()
        return connection.answer()


def _send_evenly(bench: Bench, connection: RawConnection, octets: bytes) -> None:
    pieces = [octets[at : at + PIECE_OCTETS] for at in range(0, len(octets), PIECE_OCTETS)]
    pause_s = bench.clock.real_s(min(PIECE_S, LONGEST_S / max(len(pieces), 1)))
    for number, piece in enumerate(pieces):
        if number:
            connection.listen(pause_s)  # a unit may answer before it has all
        if connection.over:
            return
        connection.send(piece)


def send_whole(bench: Bench, way: UpdateWay, sent: Build, purpose: str) -> bool:
    """Send all of a build's image; whether it was not refused, and then a restart is booked as asked for."""
    image = sent.for_update.content()
    begun_s = bench.clock.now_s()
    answer = upload(bench, way, Sent(image, len(image), way.auth), purpose)
    if refused(answer):
        return False
    bench.timeline.add("ledger", "asked", time_s=begun_s, asked_by="update")
    return True
