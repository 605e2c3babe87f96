"""The access point: one network at a time, another plan in its place, and what it books of it."""

from dataclasses import replace

import pytest

from hil.core.clock import Clock
from hil.core.timeline import Timeline
from hil.instruments.stations import AccessPoint, Details, Lease, NetworkPlan

PLAN = NetworkPlan("bench-q7", "leaf and stem", 6)
BSSID = "02:00:00:00:06:01"


class OrderedAccessPoint(AccessPoint):
    """One that only writes down its orders."""

    def __init__(self, timeline: Timeline) -> None:
        super().__init__(timeline)
        self.orders: list[NetworkPlan | None] = []

    def _ask(self) -> Details:
        return {}

    def _go_up(self, plan: NetworkPlan) -> str:
        self.orders.append(plan)
        return BSSID

    def _go_down(self) -> None:
        self.orders.append(None)

    def lease_of_bench(self) -> Lease:
        raise AssertionError("no test wants a lease")


@pytest.fixture
def timeline() -> Timeline:
    return Timeline(Clock(1.0))


def kinds(timeline: Timeline) -> list[str]:
    return [m.kind for m in timeline.since() if m.source == "access point"]


def test_the_plan_on_the_air_is_left_alone(timeline: Timeline) -> None:
    access_point = OrderedAccessPoint(timeline)
    access_point.up(PLAN)
    access_point.up(replace(PLAN))
    assert access_point.orders == [PLAN]
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
    ],
)
def test_another_plan_takes_its_place(timeline: Timeline, change: dict[str, object]) -> None:
    access_point, other = OrderedAccessPoint(timeline), replace(PLAN, **change)  # type: ignore[arg-type]
    access_point.up(PLAN)
    access_point.up(other)
    assert access_point.orders == [PLAN, None, other]
    assert kinds(timeline) == ["up", "down", "up"]


def test_down_twice_is_down_once(timeline: Timeline) -> None:
    access_point = OrderedAccessPoint(timeline)
    access_point.down()
    access_point.up(PLAN)
    access_point.down()
    access_point.down()
    assert access_point.orders == [PLAN, None]
    assert (kinds(timeline), access_point.network) == (["up", "down"], "")


def test_all_of_the_plan_is_booked_but_its_key(timeline: Timeline) -> None:
    OrderedAccessPoint(timeline).up(replace(PLAN, lease_delay_s=10.0, hidden=True))
    (up,) = timeline.since()
    assert up.data == {
        "name": "bench-q7",
        "channel": 6,
        "bssid": BSSID,
        "security": "wpa2",
        "hidden": True,
        "lease_delay_s": 10.0,
        "refuses_leases": False,
    }
    assert "leaf" not in up.to_line()
