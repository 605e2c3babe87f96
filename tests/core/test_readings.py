"""Readings and their doubt.

Held against JCGM 100:2008 (GUM) 5.1.2: the uncertainty of a difference of independent quantities is the root of the sum
of their squares; and against the intervals of the design's own example table. Open intervals by interval arithmetic
(IEEE 1788-2015, subtraction), from memory.
"""

import math

import pytest

from hil.core.readings import Occurrence, Reading, between


@pytest.mark.parametrize(
    ("first", "then", "value", "doubt"),
    [
        ((100.0, 0.02), (127.40, 0.15), 27.40, math.sqrt(0.02**2 + 0.15**2)),
        ((0.0, 3.0), (10.0, 4.0), 10.0, 5.0),
        ((5.0, 0.0), (7.0, 0.0), 2.0, 0.0),
        ((7.0, 0.3), (5.0, 0.4), -2.0, 0.5),
    ],
)
def test_two_measured_times_add_their_doubts_as_root_of_squares(
    first: tuple[float, float], then: tuple[float, float], value: float, doubt: float
) -> None:
    reading = between(Occurrence.at(*first), Occurrence.at(*then))
    assert reading.value == pytest.approx(value, abs=1e-12)
    assert reading.doubt == pytest.approx(doubt, abs=1e-12)
    assert reading.unit == "s"


def test_a_mere_bound_adds_in_full() -> None:
    # Deaf from 118 to 129, beacon at 129.5, power on at 100: the truth lies between 18 and 29.5.
    heard = Occurrence(118.0, 129.5, measured=False, because="air monitor asleep from 118.0 s to 129.0 s")
    reading = between(Occurrence.at(100.0, 0.02), heard)
    assert (reading.low, reading.high) == (pytest.approx(17.98), pytest.approx(29.52))
    assert reading.because == "air monitor asleep from 118.0 s to 129.0 s"


def test_never_seen_is_open_above() -> None:
    reading = between(Occurrence.at(100.0, 0.02), Occurrence.not_before(145.0, ""))
    assert reading.low == pytest.approx(44.98)
    assert reading.high == math.inf
    assert reading.value is None
    assert reading.doubt == math.inf
    assert str(reading) == "> 45.0 s"


def test_a_beginning_that_was_never_seen_is_open_below() -> None:
    reading = between(Occurrence.not_before(100.0, "power asleep"), Occurrence.at(110.0, 0.5))
    assert reading.low == -math.inf
    assert reading.high == pytest.approx(10.5)
    assert reading.because == "power asleep"
    assert str(reading) == "< 10.5 s"


def test_neither_end_seen_says_nothing() -> None:
    reading = between(Occurrence.not_before(100.0, "power asleep"), Occurrence.not_before(120.0, "camera asleep"))
    assert (reading.low, reading.high) == (-math.inf, math.inf)
    assert reading.because == "power asleep; camera asleep"
    assert str(reading) == "no value"


def test_an_occurrence_knows_whether_it_was_seen() -> None:
    assert Occurrence.at(1.0, 0.1).seen
    assert Occurrence(1.0, 2.0, measured=False).seen
    assert not Occurrence.not_before(1.0, "").seen


@pytest.mark.parametrize(("low", "high"), [(2.0, 1.0), (math.nan, 1.0), (0.0, math.nan)])
def test_what_is_no_interval_is_refused(low: float, high: float) -> None:
    with pytest.raises(ValueError, match="no interval"):
        Reading(low, high, "s")


@pytest.mark.parametrize(
    ("reading", "text"),
    [
        (Reading.of(27.4, 0.15, "s"), "27.40 ± 0.15 s"),
        (Reading.of(27.4, 1.5, "s"), "27.4 ± 1.5 s"),
        (Reading(18.0, 29.5, "s", "air monitor asleep"), "between 18.0 and 29.5 s"),
        (Reading(1.98, 2.12, "s", "camera asleep"), "between 1.98 and 2.12 s"),
    ],
)
def test_a_reading_in_words(reading: Reading, text: str) -> None:
    assert str(reading) == text
