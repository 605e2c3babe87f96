"""Looks of a lamp nobody described, read off simulated lamps whose plan is known, and held against the declared reader."""

from types import SimpleNamespace

import numpy as np
import pytest

from hil.lamp import OFF, UNRECOGNISED, Appearance, Look, Span, colour_spans, looks, stages_over_time
from hil.lamp.looks import plain_figure

Plan = list[tuple[float, str]]
FRAMES = [(1 / 30, 0.008), (0.1333, 0.032)]  # 30 frames/s in real time, and with the unit four times as fast


def flashing(colour: str, hz: float, begin_s: float, end_s: float, duty: float = 0.5) -> Plan:
    """Dark first, then lit."""
    times = np.arange(begin_s, end_s, 1.0 / hz)
    return [
        edge for t in times for edge in ((float(t), OFF), (float(t + (1.0 - duty) / hz), colour)) if edge[0] < end_s
    ]


def by_turns(sequence: tuple[tuple[str, float], ...], begin_s: float, end_s: float) -> Plan:
    plan, at = [], begin_s
    while at < end_s:
        for colour, seconds in sequence:
            plan.append((at, colour))
            at += seconds
    return [(when, colour) for when, colour in plan if when < end_s]


def spans_of(lab: SimpleNamespace, plan: Plan, end_s: float, frames: tuple[float, float]) -> list[Span]:
    interval, exposure = frames
    times = lab.frame_times(0.0, end_s, interval, np.random.default_rng(1), 0.05 * interval, 0.0)
    words, light = lab.watch(plan, times, exposure, seed=1)
    return colour_spans(times, words, light)


@pytest.mark.parametrize("frames", FRAMES)
def test_starting_joining_setup(lab: SimpleNamespace, frames: tuple[float, float]) -> None:
    plan = [(0.0, OFF), (1.5, "white"), *flashing("white", 0.6, 4.0, 28.0), (28.0, "blue")]
    spans = spans_of(lab, plan, 34.0, frames)
    found = looks(spans)
    assert [look.appearance for look in found] == [
        Appearance(OFF),
        Appearance("white"),
        Appearance("white", 0.6),
        Appearance("blue"),
    ]
    assert found[2].covers(15.0)
    assert not found[2].covers(30.0)
    # The reader that is told the looks finds the same stages at the same times.
    declared = {"starting": found[1].appearance, "joining": found[2].appearance, "setup": found[3].appearance}
    stages = [s for s in stages_over_time(spans, declared) if s.stage in declared]
    assert [s.stage for s in stages] == list(declared)
    assert [s.begin_s for s in stages] == pytest.approx([1.5, 4.0, 28.0], abs=2.0 / 0.6)


@pytest.mark.parametrize("frames", FRAMES)
@pytest.mark.parametrize(("hz", "duty"), [(0.4, 0.5), (0.5, 0.2), (1.0, 0.8), (2.0, 0.5)])  # bands of IEC 60073
def test_a_flash_s_rate_and_duty(lab: SimpleNamespace, frames: tuple[float, float], hz: float, duty: float) -> None:
    spans = spans_of(lab, [(0.0, "green"), *flashing("red", hz, 3.0, 15.0, duty), (15.0, "green")], 18.0, frames)
    first, flash, last = looks(spans)
    assert first.appearance == last.appearance == Appearance("green")
    assert flash.appearance.colour == "red"
    assert flash.appearance.flash_hz == pytest.approx(hz, rel=0.05)
    assert flash.appearance.duty == pytest.approx(duty, abs=0.1)


def test_a_sequence_of_two_colours_and_one_with_a_gap(lab: SimpleNamespace) -> None:
    two = (("amber", 0.6), ("blue", 0.9))
    spans = spans_of(lab, by_turns(two, 0.0, 9.0), 9.0, FRAMES[0])
    assert [look.appearance for look in looks(spans)] == [Appearance(sequence=(("blue", 0.9), ("amber", 0.6)))]
    three = (("amber", 0.6), ("blue", 0.6), (OFF, 1.2))
    spans = spans_of(lab, [(0.0, "red"), *by_turns(three, 3.0, 15.0)], 15.0, FRAMES[0])
    assert [look.appearance for look in looks(spans)] == [Appearance("red"), Appearance(sequence=three)]


def test_what_came_too_seldom_is_no_look() -> None:
    def span(begin_s: float, end_s: float, colour: str) -> Span:
        return Span(begin_s, end_s, colour, 0.01, 0.01, 10)

    assert looks([]) == []
    assert looks([span(0.0, 0.5, "white"), span(0.5, 1.0, OFF), span(1.0, 1.5, "white")]) == []
    assert looks([span(0.0, 5.0, UNRECOGNISED)]) == []
    assert looks([span(0.0, 5.0, "blue")]) == [Look(Appearance("blue"), 0.0, 5.0)]


def test_figures_are_as_plain_as_what_was_seen() -> None:
    assert [plain_figure(value) for value in (0.597, 1.98, 0.333, 0.0421, 12.1)] == [0.6, 2.0, 0.33, 0.042, 12.0]
