"""Visits: every page asked for is booked, with its body on disk under the sum the moment states (FIPS 180-4)."""

import hashlib
import socket
import time
from pathlib import Path

import pytest

from hil.core.clock import Clock
from hil.core.timeline import Timeline
from hil.instruments import visits as visits_module
from hil.instruments.endpoint import ProxyEndpoint
from hil.instruments.pages import Answer
from hil.instruments.stations import Lease
from hil.instruments.visits import PATIENCE_S, Visits
from hil.page.fill import FormRequest


def refusing(host: str, port: int) -> socket.socket:
    raise ConnectionRefusedError


LEASE = Lease("mossgate-a731", "203.0.113.2", "203.0.113.1", "socks5h://127.0.0.1:9")
SPEED = 4.0


def answer(body: bytes = b"<p>form</p>", outcome: str = "answered", **changes: object) -> Answer:
    given: dict[str, object] = {
        "outcome": outcome,
        "url": "http://203.0.113.1/",
        "method": "GET",
        "status": 200,
        "headers": (("Content-Type", "text/html"),),
        "body": body,
        "first_octet_s": 0.05,
        "total_s": 0.1,
        "begun_monotonic_s": time.monotonic(),
    }
    return Answer(**(given | changes))  # type: ignore[arg-type]


class FakePages:
    """Answers with what a test put there; remembers what it was made with and asked for."""

    made: list[tuple[str, dict[str, object]]]
    asked: list[tuple[object, object]]
    answers: list[Answer]

    def __init__(self, endpoint_url: str, **more: object) -> None:
        type(self).made.append((endpoint_url, more))

    def get(self, url: str, auth: object = None, fields: object = None, *, follow: bool = True) -> Answer:
        self.asked.append((url, auth))
        return self.answers.pop(0)

    def send(self, request: FormRequest, auth: object = None, fields: object = None) -> Answer:
        self.asked.append((request, auth))
        return self.answers.pop(0)


@pytest.fixture
def fake(monkeypatch: pytest.MonkeyPatch) -> type[FakePages]:
    class Fresh(FakePages):
        made, asked, answers = [], [], []

    monkeypatch.setattr(visits_module, "Pages", Fresh)
    return Fresh


@pytest.fixture
def timeline() -> Timeline:
    return Timeline(Clock(SPEED))


def test_a_page_is_booked_with_its_purpose_network_and_lease(
    fake: type[FakePages], timeline: Timeline, tmp_path: Path
) -> None:
    given = answer()
    fake.answers.append(given)
    got = Visits(timeline, tmp_path).at(LEASE).get("http://203.0.113.1/", "form as shipped", auth=("vent", "key"))
    assert got is given
    asked, booked = timeline.since()
    assert (asked.source, asked.kind, asked.text("purpose")) == ("leg", "asks for a page", "form as shipped")
    assert (booked.source, booked.kind) == ("pages", "answered")
    told = ("purpose", "method", "url", "status", "content_type", "network", "lease")
    assert [booked.data[key] for key in told] == [
        "form as shipped", "GET", "http://203.0.113.1/", 200, "text/html", "mossgate-a731", "203.0.113.2",
    ]  # fmt: skip
    assert fake.asked == [("http://203.0.113.1/", ("vent", "key"))]


def test_times_are_unit_seconds_from_when_the_request_was_out(
    fake: type[FakePages], timeline: Timeline, tmp_path: Path
) -> None:
    given = answer()
    fake.answers.append(given)
    Visits(timeline, tmp_path).at(LEASE).get("u", "form")
    booked = timeline.since()[-1]
    assert booked.time_s == pytest.approx(timeline.clock.at(given.begun_monotonic_s))
    assert booked.number("first_octet_s") == pytest.approx(0.05 * SPEED)
    assert booked.number("total_s") == pytest.approx(0.1 * SPEED)
    assert fake.made == [
        (LEASE.endpoint_url, {"network": LEASE.network, "lease": LEASE.address, "limit_s": PATIENCE_S / SPEED})
    ]


def test_the_body_is_on_disk_octet_for_octet_under_its_sum(
    fake: type[FakePages], timeline: Timeline, tmp_path: Path
) -> None:
    bodies = [bytes(range(256)), b"second", b"third"]
    fake.answers += [answer(body) for body in bodies]
    visitor = Visits(timeline, tmp_path).at(LEASE)
    for purpose in ("Form, as shipped!", "../../etc/x", "Form, as shipped!"):
        visitor.get("u", purpose)
    booked = [moment for moment in timeline.since() if moment.source == "pages"]
    files = [moment.text("file") for moment in booked]
    assert len(set(files)) == 3
    assert all(Path(name).name == name for name in files)
    assert [(tmp_path / name).read_bytes() for name in files] == bodies
    assert [moment.text("sha256") for moment in booked] == [hashlib.sha256(body).hexdigest() for body in bodies]


def test_an_answer_without_a_body_leaves_no_file(fake: type[FakePages], timeline: Timeline, tmp_path: Path) -> None:
    fake.answers.append(
        answer(b"", "silent", status=None, headers=(), first_octet_s=None, total_s=3.0, note="no octet")
    )
    Visits(timeline, tmp_path).at(LEASE).get("u", "form")
    booked = timeline.since()[-1]
    assert (booked.kind, booked.text("file"), booked.data["first_octet_s"], booked.text("note")) == (
        "silent",
        "",
        None,
        "no octet",
    )
    assert list(tmp_path.iterdir()) == []


def test_a_form_is_sent_and_booked_likewise(fake: type[FakePages], timeline: Timeline, tmp_path: Path) -> None:
    fake.answers.append(answer(method="POST"))
    request = FormRequest("POST", "http://203.0.113.1/", b"a=1", "application/x-www-form-urlencoded")
    Visits(timeline, tmp_path).at(LEASE).send(request, "save")
    assert fake.asked == [(request, None)]
    assert [(m.kind, m.text("purpose")) for m in timeline.since()] == [
        ("asks for a page", "save"),
        ("answered", "save"),
    ]


def test_a_request_that_ends_in_trouble_of_the_bench_stays_asked_for(
    fake: type[FakePages], timeline: Timeline, tmp_path: Path
) -> None:
    with pytest.raises(IndexError):  # stands for any error: nothing was put there to answer with
        Visits(timeline, tmp_path).at(LEASE).get("u", "form")
    assert [moment.kind for moment in timeline.since()] == ["asks for a page"]


def test_a_disk_that_takes_no_more_is_trouble_and_the_moment_stays(
    fake: type[FakePages], timeline: Timeline, tmp_path: Path
) -> None:
    fake.answers.append(answer())
    Visits(timeline, tmp_path / "no such folder").at(LEASE).get("u", "form")
    assert timeline.trouble is not None
    assert timeline.since()[-1].kind == "answered"


def test_a_bare_connection_is_booked_when_it_is_done_with(timeline: Timeline, tmp_path: Path) -> None:
    with ProxyEndpoint(refusing, "allotment") as endpoint:
        lease = Lease("mossgate-a731", "203.0.113.2", "203.0.113.1", endpoint.url)
        with Visits(timeline, tmp_path).at(lease).connection("http://203.0.113.1/", "half a body") as connection:
            assert [moment.kind for moment in timeline.since()] == ["asks for a page"]
            connection.send(b"nonsense")
    booked = timeline.since()[-1]
    assert (booked.source, booked.kind, booked.text("purpose")) == ("pages", "refused", "half a body")
    assert (booked.data["octets_out"], booked.data["status"]) == (0, None)


def test_a_visitor_that_was_told_the_password_bears_it_each_time_and_a_stranger_never(
    fake: type[FakePages], timeline: Timeline, tmp_path: Path
) -> None:
    """RFC 7617, 2.2: a client may send the credentials for a space of paths again, unasked."""
    fake.answers += [answer() for _ in range(4)]
    visitor = Visits(timeline, tmp_path).at(LEASE, ("admin", "key"))
    visitor.get("http://203.0.113.1/", "form")
    visitor.send(FormRequest("POST", "http://203.0.113.1/save", b"", ""), "save")
    visitor.get("http://203.0.113.1/", "form", auth=("vent", "other"))
    visitor.stranger().get("http://203.0.113.1/", "form")
    assert [auth for _, auth in fake.asked] == [("admin", "key"), ("admin", "key"), ("vent", "other"), None]
