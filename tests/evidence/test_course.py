"""The course of a leg, by hand-made records: which moments are steps of it, and how they pair off."""

from math import inf

from support.records import (
    HOTSPOT,
    TYPED,
    UNIT,
    answered,
    awake,
    beacons,
    flashing,
    lamp_frames,
    line,
    make,
    moment,
    power,
    seeks,
    start_line,
    switchings,
)

from hil.core.moments import Moment
from hil.evidence.course import Step, course_of

BEGIN_S, END_S = 100.0, 140.0


def course(moments: list[Moment]) -> tuple[Step, ...]:
    """The course of a leg from 100 s to 140 s."""
    return course_of(make(moments).window(BEGIN_S, END_S))


def told(steps: tuple[Step, ...]) -> list[tuple[str, float]]:
    """Words and times, in order."""
    return [(step.words, round(step.time_s, 2)) for step in steps]


def test_steps_of_a_start_into_the_hotspot() -> None:
    moments = [
        *awake(90.0, 150.0),
        power("on", 100.01),
        start_line(100.05),
        line(100.5, "stage: starting"),
        line(102.0, "stage: joining"),
        seeks(102.1),
        seeks(107.1),
        seeks(102.2, sender="06:00:00:00:00:09"),
        line(126.0, "stage: setup"),
        *beacons(126.3, 150.0),
        moment(130.0, "probe", "joined", name=HOTSPOT),
        moment(130.1, "probe", "leased", ip="203.0.113.2"),
        answered(130.5, "form with settings", ""),
    ]
    assert told(course(moments)) == [
        ("supply on", 0.01),
        ("start of the chip", 0.05),
        ("stage starting on the console", 0.5),
        ("stage joining on the console", 2.0),
        ("first frame to look for a network", 2.1),
        ("stage setup on the console", 26.0),
        ("hotspot on the air", 26.3),
        ("joining of the hotspot by the probe", 30.0),
        ("address given to the probe", 30.1),
        ("request for the form with settings", 30.5),
    ]


def test_counters_controls_and_strangers_are_no_steps() -> None:
    """Nor are looks for a network by a unit that was not started in this leg, and beacons that were there before."""
    strangers = [moment(110.0, "access point", "joined", address="06:00:00:00:00:09")]
    assert course([*awake(90.0, 150.0), *beacons(90.0, 150.0), seeks(111.0), *strangers]) == ()


def test_a_hotspot_that_comes_and_goes() -> None:
    moments = [*beacons(90.0, 105.0), *beacons(110.0, 120.0), *beacons(124.0, 150.0)]
    found = [(words, round(time_s)) for words, time_s in told(course(moments))]
    assert found == [
        ("hotspot silent", 5), ("hotspot on the air", 10), ("hotspot silent", 20), ("hotspot on the air", 24)
    ]  # fmt: skip


def test_turns_count_within_each_start() -> None:
    """One line that is missed shifts no other start's."""
    moments = [
        power("on", 100.0), start_line(100.1), line(101.0, "stage: joining"), line(105.0, "stage: joining"),
        power("off", 110.0), power("on", 111.0), start_line(111.1), line(112.0, "stage: joining"),
    ]  # fmt: skip
    turns = [(step.words, step.turn) for step in course(moments)]
    assert turns == [
        ("supply on", (0, 1)), ("start of the chip", (0, 1)),
        ("stage joining on the console", (1, 1)), ("stage joining on the console", (1, 2)),
        ("supply off", (0, 1)), ("supply on", (0, 2)), ("start of the chip", (0, 2)),
        ("stage joining on the console", (2, 1)),
    ]  # fmt: skip


def test_of_tries_of_one_purpose_the_best_counts() -> None:
    moments = [answered(110.0, "settings", "", status=404), answered(111.0, "settings", "", status=200)]
    (step,) = course(moments)
    assert (step.words, step.outcome) == ("request for the settings", "answered with status 200")
    assert round(step.time_s, 3) == 10.0


def test_what_chance_decides_has_no_outcome() -> None:
    """A status of one of two requests at once, and anything that came of one that the bench itself cut off."""
    at_once = [answered(110.0, "one", "", status=200, total_s=0.5), answered(110.1, "other", "", status=503)]
    assert [step.outcome for step in course(at_once)] == ["answered", "answered"]
    cut = [answered(110.0, "save", "", kind="cut off"), power("off", 110.1)]
    assert [step.outcome for step in course(cut) if step.words == "request for the save"] == [""]


def test_of_many_loads_those_without_an_answer_are_steps() -> None:
    loads = [answered(110.0 + at, f"load {at}", "", kind="refused" if at == 3 else "answered") for at in range(8)]
    hung_up = [answered(120.0, "aborted load 1", "", kind="hung up")]
    (step,) = course([*loads, *hung_up])
    assert (step.words, step.outcome) == ("load without an answer", "refused")


def test_joins_of_the_unit_and_of_nobody_else() -> None:
    moments = [
        moment(100.2, "access point", "up", name=TYPED["network"]),
        moment(103.0, "access point", "joined", address=UNIT.upper()),
        moment(103.4, "access point", "leased", address=UNIT, ip="192.0.2.23"),
    ]
    assert [words for words, _ in told(course(moments))] == [
        "network on the air",
        "join to the network",
        "address given to the unit",
    ]


def test_the_lamp_s_stages_are_steps_and_short_ones_are_unsure() -> None:
    switched = switchings(60.0, 150.0)
    plan = [(60.0, "off"), (101.0, "white"), *flashing("white", 0.6, 104.0, 114.0), (114.0, "blue")]
    frames = lamp_frames(plan, switched, 60.0, 150.0)
    moments = [power("off", 60.0), power("on", 100.5), *switched]
    steps = course_of(make(moments, frames=frames).window(BEGIN_S, END_S))
    lamp = {step.words: step for step in steps if step.words.startswith("lamp")}
    assert lamp["lamp in stage setup"].sure
    assert abs(lamp["lamp in stage setup"].time_s - 14.0) < 1.0
    assert not lamp["lamp in stage starting"].sure
    assert all(step.doubt_s < inf for step in steps)
