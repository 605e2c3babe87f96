"""A person as an instrument: asked once for what is not so yet, and gone where nobody answers."""

import threading
from collections.abc import Callable

import pytest

from hil.core.clock import Clock
from hil.core.errors import InstrumentGone
from hil.core.timeline import Timeline
from hil.instruments.operator import Answers, Operator
from hil.instruments.power.by_operator import OperatorPower

LIMIT_S = 5.0
WORKS_S = 0.3


class Person(Answers):
    """Answers a while after each question, or not at all."""

    def __init__(self) -> None:
        self.asked, self.is_there = 0, True

    def next(self, keys: str, limit_s: float, heed: Callable[[], None]) -> str:
        self.asked += 1
        threading.Event().wait(WORKS_S)
        return keys[0] if self.is_there else ""

    def close(self) -> None:
        """Go home."""


@pytest.fixture
def timeline() -> Timeline:
    return Timeline(Clock())


@pytest.fixture
def person() -> Person:
    return Person()


@pytest.fixture
def power(timeline: Timeline, person: Person) -> OperatorPower:
    return OperatorPower(timeline, Operator(timeline, person, LIMIT_S), "2")


def test_what_was_done_lies_between_question_and_answer(power: OperatorPower, timeline: Timeline) -> None:
    begun_s = timeline.clock.now_s()
    moment = power.on(asked_by="leg")
    ended_s = timeline.clock.now_s()
    assert moment.doubt_s >= WORKS_S / 2.0
    assert begun_s <= moment.time_s - moment.doubt_s
    assert moment.time_s + moment.doubt_s <= ended_s
    assert power.read_back()


def test_nobody_is_asked_for_what_is_so_already(power: OperatorPower, person: Person, timeline: Timeline) -> None:
    for switch in (power.off, power.off, power.on, power.on, power.off):
        switch(asked_by="leg")
    asked = [m.text("what") for m in timeline.since() if m.is_("operator", "asked")]
    whats = ("unplug", "plug in", "unplug")
    assert asked == [f"{what} the supply of the unit in slot 2, then press Enter" for what in whats]
    assert person.asked == 3
    assert not power.read_back()


def test_one_who_does_not_answer_is_gone(power: OperatorPower, person: Person, timeline: Timeline) -> None:
    person.is_there = False
    with pytest.raises(InstrumentGone, match=r"operator: nobody answered within 5 s: plug in the supply of the unit"):
        power.on(asked_by="leg")
    assert not power.read_back()
    assert not any(m.is_("power", "on") for m in timeline.since())
