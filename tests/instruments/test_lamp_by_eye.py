"""A person at the lamp: told the keys before each leg, timed a little before each key, asked for their word after it."""

import time
from collections.abc import Callable, Iterator

import pytest

from hil.core.clock import Clock
from hil.core.moments import Moment
from hil.core.timeline import Timeline
from hil.instruments.lamp_by_eye import LATEST_S, SOONEST_S, LampByEye
from hil.instruments.operator import Answers

LOOKS = {"starting": "white steady", "joining": "amber flashing 2 Hz"}


class Person(Answers):
    """Gives the answers of a list, then none."""

    def __init__(self, answers: str) -> None:
        self.left: Iterator[str] = iter(answers)
        self.asked: list[str] = []
        self.on_key: Callable[[str, float], None] | None = None

    def next(self, keys: str, limit_s: float, heed: Callable[[], None]) -> str:
        self.asked.append(keys)
        return next(self.left, "")

    def press(self, key: str, real_s: float) -> None:
        assert self.on_key is not None
        self.on_key(key, real_s)

    def close(self) -> None:
        """Go home."""


def told(timeline: Timeline, kind: str) -> list[Moment]:
    return [moment for moment in timeline.since() if moment.is_("lamp by eye", kind)]


@pytest.fixture
def timeline() -> Timeline:
    return Timeline(Clock(20.0))  # the pause at a leg's end is of unit seconds


def at_the_lamp(timeline: Timeline, person: Person) -> LampByEye:
    return LampByEye(timeline, person, 5.0, "1", LOOKS)


def test_each_key_is_a_look_a_little_before_it(timeline: Timeline) -> None:
    person = Person("0y")
    eye = at_the_lamp(timeline, person)
    person.press("1", time.monotonic())  # nobody asked yet
    eye.begin()
    for key in "12x7":  # the last is none
        person.press(key, time.monotonic())
    pressed_s = timeline.clock.at(time.monotonic())
    eye.end(3.0, 9.0)
    person.press("1", time.monotonic())
    seen = told(timeline, "shows")
    assert [moment.text("look") for moment in seen] == ["dark", "starting", "joining", "unrecognised"]
    for moment in seen:
        latest_s, earliest_s = moment.time_s + moment.doubt_s, moment.time_s - moment.doubt_s
        assert latest_s == pytest.approx(pressed_s - SOONEST_S, abs=0.5)
        assert latest_s - earliest_s == pytest.approx(LATEST_S - SOONEST_S)
    (word,) = told(timeline, "told")
    assert word.data == {"watch": 1, "since_s": 3.0, "until_s": 9.0, "whole": True}
    assert person.asked == ["120x", "ynYN"]
    assert told(timeline, "keys")[0].text("text").splitlines() == [
        "1  starting: white steady",
        "2  joining: amber flashing 2 Hz",
        "0  dark: the lamp is dark",
        "x  unrecognised: anything else",
    ]


def test_who_says_that_they_missed_some_has_it_booked(timeline: Timeline) -> None:
    eye = at_the_lamp(timeline, Person("0n"))
    eye.begin()
    eye.end(3.0, 9.0)
    assert [moment.data["whole"] for moment in told(timeline, "told")] == [False]


@pytest.mark.parametrize(("answers", "asked"), [("", 1), ("0", 2)])
def test_who_does_not_answer_is_asked_no_more(timeline: Timeline, answers: str, asked: int) -> None:
    person = Person(answers)
    eye = at_the_lamp(timeline, person)
    for _ in range(2):
        eye.begin()
        eye.end(3.0, 9.0)
    assert len(person.asked) == asked
    assert len(told(timeline, "gone")) == 1
    assert not told(timeline, "told")
