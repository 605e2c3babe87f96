"""Pages of the unit, fetched through a network the bench has joined, each booked with the network and lease it came by."""

import hashlib
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from hil.core.clock import Clock
from hil.core.timeline import Timeline
from hil.instruments.pages import NO_FIELDS, Answer, Pages
from hil.instruments.raw_connection import RawConnection
from hil.instruments.stations import Lease
from hil.page.fill import FormRequest

PATIENCE_S = 12.0  # unit seconds for one page
Credentials = tuple[str, str]


class Visits:
    """Books every request: its outcome, its first octet, and its body as a file under `pages/`."""

    def __init__(self, timeline: Timeline, folder: Path) -> None:
        """Keep bodies in `folder`."""
        self._timeline = timeline
        self._folder = folder
        self._count = 0

    def real_s(self, unit_s: float) -> float:
        """How many real seconds a wait of unit seconds is."""
        return self._timeline.clock.real_s(unit_s)

    def at(self, lease: Lease, auth: Credentials | None = None) -> "Visitor":
        """A session of its own over one lease; with `auth`, whatever is asked for bears it, as a browser once told does."""
        pages = Pages(
            lease.endpoint_url,
            network=lease.network,
            lease=lease.address,
            limit_s=self._timeline.clock.real_s(PATIENCE_S),
        )
        return Visitor(self, pages, lease, auth)

    def ask(self, purpose: str) -> None:
        """Book that a page is asked for: each must be followed by its outcome, or what came of it is not known."""
        self._timeline.add("leg", "asks for a page", purpose=purpose)

    def book(self, answer: Answer, purpose: str, lease: Lease) -> None:
        """Write the body down and the moment after it."""
        self._count += 1
        clock: Clock = self._timeline.clock
        name = f"{self._count:02d}-{re.sub(r'[^a-z0-9]+', '-', purpose.lower())}.body" if answer.body else ""
        if name:
            try:
                (self._folder / name).write_bytes(answer.body)
            except OSError as error:
                self._timeline.trouble = f"the run folder takes no more: {error}"
        self._timeline.add(
            "pages",
            answer.outcome,
            time_s=clock.at(answer.begun_monotonic_s),
            purpose=purpose,
            method=answer.method,
            url=answer.url,
            status=answer.status,
            location=answer.header("location"),
            content_type=next((v for k, v in answer.headers if k.lower() == "content-type"), ""),
            first_octet_s=None if answer.first_octet_s is None else clock.unit_s(answer.first_octet_s),
            total_s=clock.unit_s(answer.total_s),
            network=lease.network,
            lease=lease.address,
            file=name,
            sha256=hashlib.sha256(answer.body).hexdigest(),
            note=answer.note,
            redirects=[earlier.url for earlier in answer.redirects],
            details={} if answer.octets_out is None else {"octets_out": answer.octets_out},
        )


class Visitor:
    """Fetches pages over one lease."""

    def __init__(self, visits: Visits, pages: Pages, lease: Lease, auth: Credentials | None = None) -> None:
        """Bind pages to a lease."""
        self._auth = auth
        self._visits = visits
        self._pages = pages
        self._lease = lease

    def stranger(self) -> "Visitor":
        """Whoever comes over the same lease and knows no password."""
        return self._visits.at(self._lease)

    def get(
        self,
        url: str,
        purpose: str,
        auth: Credentials | None = None,
        fields: Mapping[str, str] = NO_FIELDS,
        *,
        follow: bool = True,
    ) -> Answer:
        """Fetch a page, for a purpose that the evidence finds it by."""
        self._visits.ask(purpose)
        answer = self._pages.get(url, auth or self._auth, fields, follow=follow)
        self._visits.book(answer, purpose, self._lease)
        return answer

    def send(
        self,
        request: FormRequest,
        purpose: str,
        auth: Credentials | None = None,
        fields: Mapping[str, str] = NO_FIELDS,
    ) -> Answer:
        """Send a filled form."""
        self._visits.ask(purpose)
        answer = self._pages.send(request, auth or self._auth, fields)
        self._visits.book(answer, purpose, self._lease)
        return answer

    @contextmanager
    def connection(self, url: str, purpose: str) -> Iterator[RawConnection]:
        """A bare connection to the unit, to send what no browser sends; booked when it is done with."""
        self._visits.ask(purpose)
        limit_s = self._visits.real_s(PATIENCE_S)
        with RawConnection(self._lease.endpoint_url, url, self._lease.network, limit_s=limit_s) as connection:
            yield connection
        self._visits.book(connection.answer(), purpose, self._lease)
