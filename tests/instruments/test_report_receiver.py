"""A receiver of reports by HTTP, against requests' own client, and against what is no HTTP."""

import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field

import pytest
import requests

from hil.instruments import report_receiver
from hil.instruments.report_receiver import Report, ReportReceiver

LIMIT_S = 5.0


@dataclass
class Booked:
    """What a receiver told."""

    calls: list[float] = field(default_factory=list)
    reports: list[tuple[Report, float]] = field(default_factory=list)


@dataclass
class Scene:
    """A receiver at a port of this machine."""

    receiver: ReportReceiver
    booked: Booked
    port: int

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/vents"


def scene(*, answers: bool) -> Scene:
    listener, booked = socket.create_server(("127.0.0.1", 0)), Booked()
    port = listener.getsockname()[1]
    receiver = ReportReceiver(
        listener, booked.calls.append, lambda report, at_s: booked.reports.append((report, at_s)), answers=answers
    )
    return Scene(receiver, booked, port)


@pytest.fixture
def answering() -> Iterator[Scene]:
    made = scene(answers=True)
    yield made
    made.receiver.close()


@pytest.fixture
def silent() -> Iterator[Scene]:
    made = scene(answers=False)
    yield made
    made.receiver.close()


def test_a_report_is_told_as_it_was_sent_and_answered(answering: Scene) -> None:
    before_s = time.monotonic()
    answer = requests.post(answering.url, json={"vent": 40}, headers={"Authorization": "Bearer k 1"}, timeout=LIMIT_S)
    assert answer.status_code == 204
    ((report, at_s),) = answering.booked.reports
    assert report == Report("POST", "/vents", "Bearer k 1", "application/json", b'{"vent": 40}')
    assert before_s <= answering.booked.calls[0] <= at_s <= time.monotonic()


@pytest.mark.parametrize("method", ["GET", "PUT"])
def test_other_ways_to_report_are_taken_too(answering: Scene, method: str) -> None:
    assert requests.request(method, answering.url, timeout=LIMIT_S).status_code == 204
    assert [report.method for report, _ in answering.booked.reports] == [method]


@pytest.mark.parametrize(
    "octets",
    [b"", b"\x16\x03\x01\x02\x00", b"POST /vents HTTP/1.1\r\nContent-Length: 10\r\n\r\nhalf", b"HELLO\r\n\r\n"],
    ids=["nothing", "TLS", "half a body", "no method of HTTP"],
)
def test_what_is_no_report_does_no_harm(answering: Scene, octets: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(report_receiver._Handler, "timeout", 0.2)
    with socket.create_connection(("127.0.0.1", answering.port), timeout=LIMIT_S) as end:
        end.sendall(octets)
        end.shutdown(socket.SHUT_WR)
        while end.recv(4096):
            pass
    assert requests.post(answering.url, data=b"1", timeout=LIMIT_S).status_code == 204
    assert answering.receiver.running
    assert len(answering.booked.calls) == 2


def test_a_silent_one_takes_the_connection_and_says_nothing(silent: Scene) -> None:
    with pytest.raises(requests.ReadTimeout):
        requests.post(silent.url, data=b"1", timeout=0.5)
    assert len(silent.booked.calls) == 1
    assert silent.booked.reports == []
    assert silent.receiver.running


def test_a_closed_one_hangs_up_and_refuses(silent: Scene) -> None:
    ended: list[bytes] = []
    with socket.create_connection(("127.0.0.1", silent.port), timeout=LIMIT_S) as end:
        waits = threading.Thread(target=lambda: ended.append(end.recv(1)))
        waits.start()
        while not silent.booked.calls:
            time.sleep(0.01)
        silent.receiver.close()
        waits.join(LIMIT_S)
    assert ended == [b""]
    assert not silent.receiver.running
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", silent.port), timeout=LIMIT_S)
