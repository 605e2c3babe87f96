"""The access point: its networks, other plans in their place, and what it books of them; the probe's questions for names."""

import socket
import time
from collections.abc import Callable
from dataclasses import replace

import dns.message
import dns.rrset
import pytest

from hil.core.clock import Clock
from hil.core.timeline import Timeline
from hil.instruments.network_plan import NetworkPlan
from hil.instruments.stations import AccessPoint, Details, Exchanged, Lease, Probe, SpareAddress

PLAN = NetworkPlan("bench-q7", "leaf and stem", 6)
BSSIDS = ("02:00:00:00:06:01", "02:00:00:00:06:02")
FAR = NetworkPlan("bench-q7", "leaf and stem", 1, weaker_by_db=25.0)


class OrderedAccessPoint(AccessPoint):
    """One that only writes down its orders."""

    def __init__(self, timeline: Timeline) -> None:
        super().__init__(timeline)
        self.orders: list[tuple[int, NetworkPlan | None]] = []

    def _ask(self) -> Details:
        return {}

    def _go_up(self, plan: NetworkPlan, radio: int) -> str:
        self.orders.append((radio, plan))
        return BSSIDS[radio]

    def _go_down(self, radio: int) -> None:
        self.orders.append((radio, None))

    def lease_of_bench(self) -> Lease:
        raise AssertionError("no test wants a lease")

    def _listen(self, port: int) -> socket.socket:
        raise AssertionError("no test wants a listener")

    def spare_address(self) -> SpareAddress:
        raise AssertionError("no test wants an address")


@pytest.fixture
def timeline() -> Timeline:
    return Timeline(Clock(1.0))


def kinds(timeline: Timeline) -> list[str]:
    return [m.kind for m in timeline.since() if m.source == "access point"]


def test_the_plan_on_the_air_is_left_alone(timeline: Timeline) -> None:
    access_point = OrderedAccessPoint(timeline)
    access_point.up(PLAN)
    access_point.up(replace(PLAN))
    assert access_point.orders == [(0, PLAN)]
    assert (kinds(timeline), access_point.network) == (["up"], "bench-q7")


@pytest.mark.parametrize(
    "change",
    [
        {"passphrase": "other leaf"},
        {"passphrase": None},
        {"hidden": True},
        {"lease_delay_s": None},
        {"refuses_leases": True},
        {"channel": 11},
        {"weaker_by_db": 25.0},
        {"key_management": "wpa2 and wpa3"},
        {"protected_frames": "optional"},
        {"mode": "n"},
        {"delay_s": 0.5},
        {"loss": 0.1},
    ],
)
def test_another_plan_takes_its_place(timeline: Timeline, change: dict[str, object]) -> None:
    access_point, other = OrderedAccessPoint(timeline), replace(PLAN, **change)  # type: ignore[arg-type]
    access_point.up(PLAN)
    access_point.up(other)
    assert access_point.orders == [(0, PLAN), (0, None), (0, other)]
    assert kinds(timeline) == ["up", "down", "up"]


def test_down_twice_is_down_once(timeline: Timeline) -> None:
    access_point = OrderedAccessPoint(timeline)
    access_point.down()
    access_point.up(PLAN)
    access_point.down()
    access_point.down()
    assert access_point.orders == [(0, PLAN), (0, None)]
    assert (kinds(timeline), access_point.network) == (["up", "down"], "")


def test_all_of_the_plan_is_booked_but_its_key(timeline: Timeline) -> None:
    OrderedAccessPoint(timeline).up(replace(PLAN, lease_delay_s=10.0, hidden=True))
    (up,) = timeline.since()
    assert up.data == {
        "name": "bench-q7",
        "channel": 6,
        "radio": 0,
        "bssid": BSSIDS[0],
        "security": "wpa2",
        "protected_frames": "off",
        "mode": "g",
        "delay_s": 0.0,
        "loss": 0.0,
        "hidden": True,
        "lease_delay_s": 10.0,
        "refuses_leases": False,
        "lease_s": 3600.0,
        "weaker_by_db": 0.0,
    }
    assert "leaf" not in up.to_line()


def test_two_networks_are_offered_by_two_radios_and_changed_one_by_one(timeline: Timeline) -> None:
    access_point = OrderedAccessPoint(timeline)
    access_point.up(PLAN, FAR)
    access_point.up(None, FAR)
    assert access_point.orders == [(0, PLAN), (1, FAR), (0, None)]
    assert access_point.network == "bench-q7"
    access_point.up(PLAN)
    assert access_point.orders[3:] == [(1, None), (0, PLAN)]
    access_point.down()
    booked = [(m.kind, m.number("radio"), m.text("bssid")) for m in timeline.since()]
    assert booked == [
        ("up", 0, BSSIDS[0]),
        ("up", 1, BSSIDS[1]),
        ("down", 0, BSSIDS[0]),
        ("down", 1, BSSIDS[1]),
        ("up", 0, BSSIDS[0]),
        ("down", 0, BSSIDS[0]),
    ]
    assert [m.number("weaker_by_db") for m in timeline.since() if m.kind == "up"] == [0.0, 25.0, 0.0]


class AskingProbe(Probe):
    """One in whose network a name server says what a test wants; None: nothing."""

    def __init__(self, timeline: Timeline, says: Callable[[bytes], bytes | None]) -> None:
        super().__init__(timeline)
        self._says = says
        self.sent: list[tuple[str, int, bytes, float]] = []

    def _ask(self) -> Details:
        return {}

    def join(self, name: str, passphrase: str | None, limit_s: float) -> Lease | None:
        raise AssertionError("no test joins")

    def leave(self) -> None:
        raise AssertionError("no test leaves")

    def _exchange(self, host: str, port: int, octets: bytes, limit_s: float) -> Exchanged:
        self.sent.append((host, port, octets, limit_s))
        now_s = time.monotonic()
        return Exchanged(now_s, self._says(octets) if limit_s else None, now_s + 0.02)


def here(octets: bytes) -> bytes:
    """The answer that a name server gives, made by dnspython."""
    query = dns.message.from_wire(octets)
    said = dns.message.make_response(query)
    said.answer.append(dns.rrset.from_text(query.question[0].name, 10, "IN", "A", "203.0.113.1"))
    return said.to_wire()


def test_a_question_for_a_name_and_its_answer_are_booked_by_number(timeline: Timeline) -> None:
    probe = AskingProbe(timeline, here)
    for name in ("one.example.com", "two.example.com"):
        probe.look_up("203.0.113.1", name, "A", 1.0)
    asked = [m for m in timeline.since() if m.kind == "asks for a name"]
    told = [m for m in timeline.since() if m.kind == "name answered"]
    assert [(m.number("number"), m.text("name"), m.text("server")) for m in asked] == [
        (1, "one.example.com", "203.0.113.1"),
        (2, "two.example.com", "203.0.113.1"),
    ]
    assert [(m.number("number"), m.data["addresses"], m.data["matches"]) for m in told] == [
        (1, ["203.0.113.1"], True),
        (2, ["203.0.113.1"], True),
    ]
    assert [later.time_s - m.time_s for m, later in zip(asked, told, strict=True)] == pytest.approx([0.02, 0.02])
    assert {(host, port) for host, port, _, _ in probe.sent} == {("203.0.113.1", 53)}


def test_silence_and_nonsense_are_booked_as_such(timeline: Timeline) -> None:
    AskingProbe(timeline, lambda _octets: None).look_up("203.0.113.1", "one.example.com", "A", 1.0)
    AskingProbe(timeline, lambda octets: octets[:5]).look_up("203.0.113.1", "one.example.com", "AAAA", 1.0)
    assert [m.kind for m in timeline.since()][1::2] == ["name unanswered", "name answered"]
    assert timeline.since()[-1].data.get("matches") is not True


def test_a_datagram_is_sent_and_nothing_awaited(timeline: Timeline) -> None:
    probe = AskingProbe(timeline, here)
    probe.send_datagram("203.0.113.1", 53, b"\xff", "broken")
    assert probe.sent == [("203.0.113.1", 53, b"\xff", 0.0)]
    (sent,) = timeline.since()
    assert (sent.kind, sent.text("purpose"), sent.text("octets")) == ("sends a datagram", "broken", "ff")
