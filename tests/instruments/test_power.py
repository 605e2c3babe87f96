"""The supply: orders with their doubt, and the state read back. The switch is a fake; times are held against the clock."""

import pytest

from hil.core.clock import Clock
from hil.core.errors import BenchError
from hil.core.timeline import Timeline
from hil.instruments.power import Power, SupplyState


class Switch(Power):
    """Switches after it was told to wait; reads what it is told to read."""

    def __init__(self, timeline: Timeline) -> None:
        super().__init__(timeline)
        self.clock = timeline.clock
        self.orders: list[tuple[bool, float]] = []
        self.state = SupplyState(False, None, None)
        self.trouble: BenchError | None = None

    def _switch(self, on: bool) -> None:
        if self.trouble:
            raise self.trouble
        self.clock.pause(0.1)
        self.orders.append((on, self.clock.now_s()))
        self.clock.pause(0.1)

    def _read(self) -> SupplyState:
        if self.trouble:
            raise self.trouble
        return self.state


@pytest.fixture
def switch() -> Switch:
    return Switch(Timeline(Clock(10.0)))


def test_an_order_is_booked_with_who_asked_and_a_doubt_that_holds_the_switching(switch: Switch) -> None:
    moments = [switch.on(asked_by="leg"), switch.off(asked_by="end of the run")]
    assert [(m.source, m.kind, m.text("asked_by")) for m in moments] == [
        ("power", "on", "leg"),
        ("power", "off", "end of the run"),
    ]
    assert [on for on, _ in switch.orders] == [True, False]
    for moment, (_, happened_s) in zip(moments, switch.orders, strict=True):
        assert moment.time_s - moment.doubt_s <= happened_s <= moment.time_s + moment.doubt_s
        assert moment.doubt_s >= 0.1  # half of the time the order took: two pauses of 0.1 s


@pytest.mark.parametrize("on", [True, False])
def test_the_state_is_booked_as_read(switch: Switch, on: bool) -> None:
    switch.state = SupplyState(on, 104.5, 12.0)
    before_s = switch.clock.now_s()
    assert switch.read_back() is on
    (moment,) = switch._timeline.since()
    assert (moment.kind, moment.data["on"], moment.data["current_ma"], moment.data["stamp_s"]) == (
        "state",
        on,
        104.5,
        12.0,
    )
    assert before_s - moment.doubt_s <= moment.time_s <= switch.clock.now_s()


def test_a_supply_that_does_not_obey_books_nothing(switch: Switch) -> None:
    switch.trouble = BenchError("power", "the switch does not answer.")
    for order in (lambda: switch.on("leg"), lambda: switch.off("leg"), switch.read_back):
        with pytest.raises(BenchError, match="does not answer"):
            order()
    assert switch._timeline.since() == ()
