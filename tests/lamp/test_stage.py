"""Stages over time held against simulated lamps whose true stages are known.

Lamp code of the reference unit after IEC 60073's meanings and flash bands; a second product with two-colour sequences.
"""

import itertools
import math
from collections.abc import Callable
from types import SimpleNamespace

import numpy as np
import pytest

from hil.lamp import DARK, OFF, UNRECOGNISED, Appearance, Span, StageSpan, colour_spans, stages_over_time
from hil.lamp.pattern import RATE_TOLERANCE, pattern_runs

VENT = {
    "starting": Appearance("white"),
    "joining": Appearance("white", 0.6),
    "setup": Appearance("blue"),
    "connected": Appearance("green"),
    "updating": Appearance("white", 2.0),
    "fault": Appearance("red", 2.0),
}
GATE = {
    "looking": Appearance(sequence=(("amber", 0.6), ("blue", 0.6))),
    "open": Appearance(sequence=(("blue", 0.4), ("green", 1.2))),
    "home": Appearance("green"),
    "off": Appearance("off"),
}
FRAMES = [
    (1 / 30, 0.008),
    (0.1333, 0.032),
]  # a camera at 30 frames/s in real time, and with the unit four times as fast


def repeated(sequence: tuple[tuple[str, float], ...], begin_s: float, end_s: float) -> list[tuple[float, str]]:
    plan, at = [], begin_s
    while at < end_s:
        for word, seconds in sequence:
            plan.append((at, word))
            at += seconds
    return [(when, word) for when, word in plan if when < end_s]


def seen(
    lab: SimpleNamespace,
    plan: list[tuple[float, str]],
    end_s: float,
    frames: tuple[float, float] = FRAMES[1],
    seed: int = 1,
    appearances: dict[str, Appearance] | None = None,
    drop: float = 0.0,
) -> list[StageSpan]:
    """Let the camera watch a plan up to a time and read the stages."""
    interval, exposure = frames
    random = np.random.default_rng(seed)
    times = lab.frame_times(0.0, end_s, interval, random, 0.05 * interval, drop)
    words, light = lab.watch(plan, times, exposure, seed=seed)
    return stages_over_time(colour_spans(times, words, light), appearances or VENT)


def names(stages: list[StageSpan]) -> list[str]:
    return [stage.stage for stage in stages]


def assert_begins(stages: list[StageSpan], truth: list[float | None]) -> None:
    """Hold each begin against the truth: inside its doubt, or within a hair of its edge (95 % is not all)."""
    for stage, when in zip(stages, truth, strict=True):
        if when is not None:
            assert abs(stage.begin_s - when) <= 1.1 * stage.begin_doubt_s + 0.005, stage


@pytest.mark.parametrize("frames", FRAMES)
@pytest.mark.parametrize("seed", range(8))
def test_a_start_without_the_saved_network(lab: SimpleNamespace, frames: tuple[float, float], seed: int) -> None:
    plan = [(1.0, "white"), *lab.flashing("white", 0.6, 2.2, 26.2), (26.2, "blue")]
    stages = seen(lab, plan, 30.0, frames, seed)
    assert names(stages) == [DARK, "starting", "joining", "setup"]
    assert_begins(stages, [None, 1.0, 2.2, 26.2])
    joining = stages[2]
    assert 0.3 < joining.begin_doubt_s < 0.6  # one lit phase is 0.83 s: the begin is known to half of it, and no better
    assert abs(joining.rate.hz - 0.6) <= 1.1 * joining.rate.doubt_hz
    assert joining.rate.doubt_hz < 0.01
    assert joining.rate.duty == pytest.approx(0.5, abs=joining.rate.doubt_duty)
    assert stages[3].begin_doubt_s < frames[0]
    assert all(math.isclose(one.end_s, after.begin_s) for one, after in itertools.pairwise(stages))


@pytest.mark.parametrize("seed", range(6))
def test_a_quick_join_of_three_seconds_is_seen(lab: SimpleNamespace, seed: int) -> None:
    plan = [(1.0, "white"), *lab.flashing("white", 0.6, 2.2, 5.4), (5.4, "green")]
    stages = seen(lab, plan, 9.0, seed=seed)
    assert names(stages) == [DARK, "starting", "joining", "connected"]
    assert_begins(stages, [None, 1.0, 2.2, 5.4])


def test_a_fast_flash_s_doubt_covers_the_truth() -> None:
    """Phases of less than two frames, of which a tenth of light shows the colour already: hardly a frame is as the lamp is."""
    random, held = np.random.default_rng(5), list[bool]()
    for _ in range(120):
        hz, exposure = random.uniform(8.0, 11.5), random.uniform(0.3, 0.9) / 30.0
        times = np.arange(120) / 30.0
        instants = times[:, None] + exposure * np.linspace(-0.5, 0.5, 50)
        share = ((instants * hz + random.random()) % 1.0 < 0.5).mean(axis=1)
        words = [OFF if one < 0.1 else "green" for one in share]
        spans = colour_spans(times, words, share, exposure_s=exposure)
        for run in pattern_runs(spans, {"fast": Appearance("green", hz)}, RATE_TOLERANCE):
            held.append(abs(run.rate.hz - hz) <= run.rate.doubt_hz)
    assert len(held) > 100
    assert np.mean(held) >= 0.93


@pytest.mark.parametrize("frames", FRAMES)
@pytest.mark.parametrize("seed", range(6))
def test_updating_and_fault_follow_each_other(lab: SimpleNamespace, frames: tuple[float, float], seed: int) -> None:
    plan = [(1.0, "green"), *lab.flashing("white", 2.0, 5.0, 9.0), *lab.flashing("red", 2.0, 9.0, 13.0), (13.0, "off")]
    stages = seen(lab, plan, 17.0, frames, seed)
    assert names(stages) == [DARK, "connected", "updating", "fault", DARK]
    assert_begins(stages, [None, 1.0, 5.0, 9.0, 13.0])
    assert abs(stages[2].rate.hz - 2.0) <= 1.2 * stages[2].rate.doubt_hz


@pytest.mark.parametrize("cut", [0.0, 0.25])
def test_the_dark_phase_before_another_flash_belongs_to_the_flash_before(lab: SimpleNamespace, cut: float) -> None:
    plan = [
        *lab.flashing("white", 2.0, 2.0, 5.0),
        *lab.flashing("red", 2.0, 5.0 - cut, 13.0 - cut),
        (13.0 - cut, "green"),
    ]
    stages = seen(lab, plan, 16.0, FRAMES[0])
    assert names(stages) == [DARK, "updating", "fault", "connected"]
    assert_begins(stages, [None, 2.0, 5.0 - cut, 13.0 - cut])


def test_joining_turns_into_updating(lab: SimpleNamespace) -> None:
    plan = [
        *lab.flashing("white", 0.6, 2.0, 10.3333),
        *lab.flashing("white", 2.0, 10.3333, 14.3333),
        (14.3333, "green"),
    ]
    stages = seen(lab, plan, 17.0)
    assert names(stages) == [DARK, "joining", "updating", "connected"]
    assert_begins(stages, [None, 2.0, 10.3333, 14.3333])


def test_steady_white_then_dark_is_no_flash(lab: SimpleNamespace) -> None:
    stages = seen(lab, [(1.0, "white"), (4.0, "off")], 10.0)
    assert names(stages) == [DARK, "starting", DARK]
    assert_begins(stages, [None, 1.0, 4.0])


def test_one_lit_phase_then_dark_is_too_short_to_tell(lab: SimpleNamespace) -> None:
    stages = seen(lab, [(1.0, "white"), (1.83, "off")], 8.0)
    assert names(stages) == [DARK, UNRECOGNISED, DARK]
    assert "too short" in stages[1].reason


def test_power_cut_in_a_flash_leaves_the_dark_phase_in_doubt(lab: SimpleNamespace) -> None:
    stages = seen(lab, lab.flashing("white", 0.6, 2.0, 9.9), 15.0)  # the last lit phase ends at 9.5
    assert names(stages) == [DARK, "joining", DARK]
    assert abs(stages[2].begin_s - 9.9) <= stages[2].begin_doubt_s
    assert stages[2].begin_doubt_s < 0.6


@pytest.mark.parametrize("hz", [1.0, 0.45, 0.75, 1.5, 2.6])
def test_a_rate_nobody_declared_is_unrecognised(lab: SimpleNamespace, hz: float) -> None:
    stages = seen(lab, [*lab.flashing("white", hz, 2.0, 14.0), (14.0, "off")], 18.0, FRAMES[0])
    assert set(names(stages)) <= {DARK, UNRECOGNISED}
    told = max(stages, key=lambda stage: stage.end_s - stage.begin_s if stage.stage == UNRECOGNISED else 0.0)
    assert told.rate is not None
    assert told.rate.hz == pytest.approx(hz, rel=0.02)
    assert "no declared stage fits" in told.reason


@pytest.mark.parametrize(("hz", "stage"), [(0.6 * 1.1, "joining"), (0.6 * 0.9, "joining"), (2.0 * 1.1, "updating")])
def test_a_rate_within_tolerance_keeps_its_stage_and_shows_its_rate(
    lab: SimpleNamespace, hz: float, stage: str
) -> None:
    stages = seen(lab, [*lab.flashing("white", hz, 2.0, 14.0), (14.0, "off")], 18.0, FRAMES[0])
    assert stage in names(stages)
    found = next(one for one in stages if one.stage == stage)
    assert found.rate.hz == pytest.approx(hz, rel=0.02)


@pytest.mark.parametrize(
    ("plan_of", "word"),
    [
        (lambda lab: lab.flashing("blue", 2.0, 1.0, 8.0), "blue"),  # blue is declared steady only
        (lambda lab: lab.flashing("green", 0.6, 1.0, 9.0), "green"),
        (lambda lab: lab.flashing("red", 0.6, 1.0, 9.0), "red"),  # red is declared at 2 Hz
    ],
)
def test_a_flash_of_a_colour_declared_otherwise_is_unrecognised(
    lab: SimpleNamespace, plan_of: Callable[[SimpleNamespace], list[tuple[float, str]]], word: str
) -> None:
    stages = seen(lab, plan_of(lab), 12.0, FRAMES[0])
    assert set(names(stages)) == {DARK, UNRECOGNISED}
    assert any(stage.reason.startswith(f"{word} flashing at") for stage in stages)


def test_a_colour_no_stage_declares(lab: SimpleNamespace) -> None:
    stages = seen(lab, [(1.0, "red"), (6.0, "magenta"), (10.0, "blue")], 14.0)
    assert names(stages) == [DARK, UNRECOGNISED, UNRECOGNISED, "setup"]
    assert [stage.reason for stage in stages[1:3]] == [
        "red steady: no stage is declared so",
        "the colour is not recognised",
    ]


def test_duty_far_from_the_declared_one_is_unrecognised(lab: SimpleNamespace) -> None:
    stages = seen(lab, lab.flashing("white", 0.6, 2.0, 14.0, duty=0.25), 16.0, FRAMES[0])
    assert "joining" not in names(stages)
    declared = {"joining": Appearance("white", 0.6, duty=0.25)}
    stages = seen(lab, lab.flashing("white", 0.6, 2.0, 14.0, duty=0.25), 16.0, FRAMES[0], appearances=declared)
    assert names(stages)[:2] == [DARK, "joining"]


@pytest.mark.parametrize("frames", FRAMES)
def test_two_colour_sequences_of_a_second_product(lab: SimpleNamespace, frames: tuple[float, float]) -> None:
    plan = [
        *repeated(GATE["looking"].sequence, 1.0, 9.0),
        *repeated(GATE["open"].sequence, 9.0, 20.0),
        (20.0, "green"),
    ]
    stages = seen(lab, plan, 25.0, frames, appearances=GATE)
    assert names(stages) == ["off", "looking", "open", "home"]
    assert_begins(stages, [None, 1.0, 9.0, 20.0])
    assert stages[1].rate.hz == pytest.approx(1 / 1.2, rel=0.03)


def test_a_short_darkness_in_a_steady_stage_is_shown(lab: SimpleNamespace) -> None:
    stages = seen(lab, [(1.0, "blue"), (5.0, "off"), (5.4, "blue")], 9.0)
    assert names(stages) == [DARK, "setup", DARK, "setup"]
    assert_begins(stages, [None, 1.0, 5.0, 5.4])


def test_a_boot_loop_is_no_stage(lab: SimpleNamespace) -> None:
    plan = [(when + begin, word) for begin in np.arange(1.0, 9.0, 1.1) for when, word in ((0.0, "white"), (0.8, "off"))]
    stages = seen(lab, plan, 12.0)
    assert set(names(stages)) == {DARK, UNRECOGNISED}


def test_stages_do_not_bridge_a_gap(lab: SimpleNamespace) -> None:
    random = np.random.default_rng(2)
    times = lab.frame_times(0.0, 20.0, 0.1333, random)
    times = times[(times < 8.0) | (times > 9.0)]
    words, light = lab.watch(lab.flashing("white", 0.6, 2.0, 30.0), times, 0.032)
    stages = stages_over_time(colour_spans(times, words, light), VENT)
    assert names(stages) == [DARK, "joining", "joining"]
    assert stages[1].end_s < 8.1
    assert stages[2].begin_s > 9.0
    assert math.isinf(stages[2].begin_doubt_s)


@pytest.mark.parametrize("seed", range(4))
def test_dropped_frames_lead_to_no_wrong_stage(lab: SimpleNamespace, seed: int) -> None:
    plan = [(1.0, "white"), *lab.flashing("white", 0.6, 2.2, 26.2), (26.2, "blue")]
    stages = seen(lab, plan, 30.0, seed=seed, drop=0.15)
    assert set(names(stages)) <= {DARK, "starting", "joining", "setup", UNRECOGNISED}
    assert stages[-1].stage == "setup"
    joined = sum(stage.end_s - stage.begin_s for stage in stages if stage.stage == "joining")
    assert joined > 12.0


def test_begins_of_stages_are_covered_over_many_changes(lab: SimpleNamespace) -> None:
    """Colour to colour and colour to flash of another colour: doubts cover and are not padded."""
    looks = {"setup": "blue", "connected": "green", "joining": "white", "fault": "red"}
    rates = {"joining": 0.6, "fault": 2.0}
    errors = []
    for seed in range(60):
        random = np.random.default_rng(1000 + seed)
        order = ["setup", "joining", "connected", "fault", "setup", "connected"]
        begins = 1.0 + np.cumsum(random.uniform(6.0, 9.0, len(order)))
        plan = []
        for at, (begin, stage) in enumerate(zip(begins, order, strict=True)):
            end = begins[at + 1] if at + 1 < len(begins) else begin + 6.0
            if stage in rates:  # whole periods and a lit rest, so that the end too is a change of colour
                end_lit = begin + math.floor((end - begin) * rates[stage]) / rates[stage]
                begins[at + 1 :] += end_lit + 0.3 / rates[stage] - end
                plan += lab.flashing(looks[stage], rates[stage], begin, end_lit + 0.3 / rates[stage])
            else:
                plan.append((begin, looks[stage]))
        stages = seen(lab, plan, begins[-1] + 5.0, seed=seed)
        found = [stage for stage in stages if stage.stage in order]
        assert [stage.stage for stage in found] == order
        errors += [
            (abs(stage.begin_s - begin), stage.begin_doubt_s) for stage, begin in zip(found, begins, strict=True)
        ]
    error, doubt = np.array(errors).T
    assert len(error) >= 300
    assert (error <= doubt).mean() >= 0.93
    assert doubt.mean() <= 2.0 * np.quantile(error, 0.95)


def test_two_stages_that_fit_alike_are_both_refused(lab: SimpleNamespace) -> None:
    close = {"one": Appearance("white", 0.6), "two": Appearance("white", 0.63)}
    stages = seen(lab, lab.flashing("white", 0.615, 2.0, 12.0), 15.0, appearances=close)
    assert set(names(stages)) == {DARK, UNRECOGNISED}


def test_no_spans_and_no_appearances(lab: SimpleNamespace) -> None:
    assert stages_over_time([], VENT) == []
    assert names(seen(lab, [(1.0, "white")], 5.0, appearances={"a": Appearance("green")})) == [DARK, UNRECOGNISED]
    assert stages_over_time([Span(0.0, 5.0, OFF, math.inf, math.inf, 50)], {})[0].stage == DARK


def test_contradictions_in_appearances_are_refused() -> None:
    with pytest.raises(ValueError, match="look the same"):
        stages_over_time([], {"a": Appearance("amber"), "b": Appearance("yellow")})
    with pytest.raises(ValueError, match="uses that word"):
        stages_over_time([], {DARK: Appearance("green")})
    with pytest.raises(ValueError, match="rate_tolerance"):
        stages_over_time([], VENT, rate_tolerance=0.9)


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"colour": "purple"}, "no colour"),
        ({}, "no colour"),
        ({"colour": "off", "flash_hz": 1.0}, "cannot flash"),
        ({"colour": "red", "flash_hz": 0.0}, "above 0"),
        ({"colour": "red", "flash_hz": 1.0, "duty": 1.0}, "duty"),
        ({"colour": "red", "sequence": (("red", 1.0), ("blue", 1.0))}, "not both"),
        ({"sequence": (("red", 1.0),)}, "two or more"),
        ({"sequence": (("red", 1.0), ("blue", 0.0))}, "longer than zero"),
        ({"sequence": (("red", 1.0), ("blue", 1.0), ("red", 1.0))}, "repeats a colour"),
    ],
)
def test_impossible_appearances_are_refused(fields: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Appearance(**fields)
