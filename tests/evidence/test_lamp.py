"""The lamp's view over a hand-made picture of both lamps.

What the picture shows is known to the test: the plan of colours, the camera's lag, and when the bench's lamp was
switched. Readings must hold the plan's own times; the reading of colours and rates is held elsewhere against others.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from support.records import (
    FRAME_RATE,
    LAG_S,
    awake,
    flashing,
    lamp_frames,
    make,
    power,
    states,
    switchings,
)

from hil.core.frames import LampFrames
from hil.core.moments import Moment
from hil.evidence.camera import camera_of
from hil.evidence.events import PowerOn, lamp_shows
from hil.evidence.lamp import LampView
from hil.evidence.window import Window
from hil.lamp.light import SRGB_DECODE

ON_S = 106.0
JOINING_S, SETUP_S = 108.0, 118.0
PLAN = [(ON_S + 0.3, "white"), *flashing("white", 0.6, JOINING_S, SETUP_S), (SETUP_S, "blue")]
BEGIN_S, END_S = 100.0, 130.0
SWITCHED = switchings(98.0, 134.0)
SUPPLY = [*states(97.0, ON_S, on=False), power("on", ON_S), *states(ON_S + 0.1, 134.0)]
FRAME_S = 1.0 / FRAME_RATE


@cache
def frames() -> LampFrames:
    return lamp_frames(PLAN, SWITCHED, 98.0, 134.0)


def part(keep: "np.ndarray[tuple[int], np.dtype[np.bool_]]") -> LampFrames:
    return LampFrames(frames().times_s[keep], frames().unit[keep], frames().bench[keep])


def window(seen: LampFrames | None = None, moments: list[Moment] | None = None) -> Window:
    recorded = [*SWITCHED, *SUPPLY] if moments is None else moments
    return make(recorded, frames=frames() if seen is None else seen).window(BEGIN_S, END_S)


@pytest.fixture(scope="module")
def lamp() -> LampView:
    return LampView(window())


def test_frames_are_read_by_the_curve_that_the_bench_had_measured() -> None:
    measured = [(code / 255.0) ** 1.8 for code in range(256)]
    booked = [*SWITCHED, *SUPPLY, Moment(97.0, 0.0, "camera", "curve", {"linear": list(measured)})]
    for moments, curve in ((booked, measured), (None, SRGB_DECODE)):
        dark = camera_of(window(moments=moments).record, BEGIN_S, END_S).dark
        assert dark is not None
        assert dark.curve == pytest.approx(curve)


def test_the_delay_is_the_camera_s_own(lamp: LampView) -> None:
    assert lamp.delay is not None
    # A change is put midway between the frames before and after it; the stamps here are up to 0.004 s late.
    assert abs(lamp.delay.offset_s - LAG_S) <= lamp.delay.doubt_s + 0.002
    assert lamp.delay.doubt_s < FRAME_S


def test_it_is_awake_throughout(lamp: LampView) -> None:
    assert lamp.asleep == []


@pytest.mark.parametrize(("stage", "time_s"), [("starting", ON_S + 0.3), ("setup", SETUP_S)])
def test_a_reading_holds_the_time_at_which_it_happened(lamp: LampView, stage: str, time_s: float) -> None:
    seen = lamp.begins(stage, ON_S)
    assert seen.measured
    assert seen.earliest_s <= time_s <= seen.latest_s
    assert seen.latest_s - seen.earliest_s < 0.5


def test_a_flash_begins_within_its_own_doubt(lamp: LampView) -> None:
    seen = lamp.begins("joining", ON_S)
    assert seen.earliest_s <= JOINING_S <= seen.latest_s


def test_the_stages_in_order(lamp: LampView) -> None:
    assert lamp.shows_in_order(["starting", "joining", "setup"]).holds is True


SHORT_S = JOINING_S + 0.24  # when a join of one flash begins, so that frames fall badly


@pytest.mark.parametrize(("lit_s", "order"), [(0.0, True), (0.5, None)])
def test_a_join_of_one_flash_is_one_where_the_frames_of_its_end_are_lost(lit_s: float, order: bool | None) -> None:
    """Seven frames a second, and none of the quarter of a second in which the lamp was dark before it is green."""
    end_s = SHORT_S + 1.0 / 0.6 + lit_s
    plan = [
        *((ON_S + 0.3, "white"), (SHORT_S, "off"), (SHORT_S + 0.5 / 0.6, "white")),
        *((end_s, "off"), (end_s + 0.25, "green")),
    ]
    shown = lamp_frames(plan, SWITCHED, 98.0, 134.0)
    times_s = shown.times_s - LAG_S
    keep = (np.arange(len(times_s)) % 4 == 0) & ~((times_s > end_s - 0.02) & (times_s < end_s + 0.36))
    unit = shown.unit[keep].copy()
    green = int(np.flatnonzero(times_s[keep] > end_s)[0])
    unit[green] = (unit[green] * 0.93).astype(np.uint8)  # green in the midst of its exposure
    seen = LampFrames(shown.times_s[keep], unit, shown.bench[keep])
    found = LampView(window(seen)).shows_in_order(["starting", "joining", "connected"])
    assert found.holds is order, found.text


@pytest.mark.parametrize(("lost_s", "holds"), [(0.0, False), (0.03, False), (0.2, None)])
def test_light_nobody_could_tell_fails_only_where_it_was_seen(lost_s: float, holds: bool | None) -> None:
    """One frame may be lost: of several on end nobody knows what they would have shown."""
    plan = [(ON_S + 0.3, "white"), (JOINING_S, "red"), (JOINING_S + 1.0, "blue")]
    shown = lamp_frames(plan, SWITCHED, 98.0, 134.0)
    times_s, begin_s = shown.times_s - LAG_S, JOINING_S + 0.4
    keep = ~((times_s > begin_s) & (times_s < begin_s + lost_s))
    seen = LampView(window(LampFrames(shown.times_s[keep], shown.unit[keep], shown.bench[keep])))
    found = seen.shows_in_order(["starting", "joining", "setup"])
    assert found.holds is holds, found.text
    assert ("camera asleep from 108.4 s to 108.6 s" in found.text) is (holds is None)


@pytest.mark.parametrize(("lost_s", "order"), [(0.0, True), (0.17, None)])
def test_a_short_start_whose_first_frames_are_lost_is_nobody_s_fault(lost_s: float, order: bool | None) -> None:
    """Fifteen frames a second; what is left of the steady light could be the first part of the flash that follows."""
    begin_s = ON_S + 1.1
    off_s = begin_s + 1.15
    plan = [
        *((begin_s, "white"), (off_s, "off"), (off_s + 0.5 / 0.6, "white"), (off_s + 1.0 / 0.6, "off")),
        (off_s + 1.0 / 0.6 + 0.2, "green"),
    ]
    shown = lamp_frames(plan, SWITCHED, 98.0, 134.0)
    times_s = shown.times_s - LAG_S
    keep = (np.arange(len(times_s)) % 2 == 0) & ~((times_s > begin_s - 0.02) & (times_s < begin_s - 0.02 + lost_s))
    seen = LampFrames(shown.times_s[keep], shown.unit[keep], shown.bench[keep])
    found = LampView(window(seen)).shows_in_order(["starting", "joining", "connected"])
    assert found.holds is order, found.text
    assert ("where joining seemed to begin" in found.text) is (order is None)


@pytest.mark.parametrize(("flash_s", "order"), [(0.5 / 0.6, True), (1.25, False)])
def test_a_short_start_and_a_short_join_may_look_like_one_odd_flash(flash_s: float, order: bool) -> None:
    """Light that outlasts the flash's own is the start, and what follows is the join only where it keeps the flash's times."""
    begin_s = ON_S + 0.5
    off_s = begin_s + 1.25
    plan = [
        *((begin_s, "white"), (off_s, "off"), (off_s + flash_s, "white"), (off_s + 2.0 * flash_s, "off")),
        (off_s + 2.0 * flash_s + 0.05, "green"),
    ]
    shown = lamp_frames(plan, SWITCHED, 98.0, 134.0)
    keep = np.arange(len(shown.times_s)) % 3 == 0
    seen = LampFrames(shown.times_s[keep], shown.unit[keep], shown.bench[keep])
    found = LampView(window(seen)).shows_in_order(["starting", "joining", "connected"])
    assert found.holds is order, found.text


@pytest.mark.parametrize(
    "expected",
    [
        ["starting", "setup"],
        ["joining", "starting", "setup"],
        ["starting", "joining"],
        ["starting", "joining", "setup", "fault"],
        [],
    ],
)
def test_another_order_is_a_failure_and_tells_what_was_seen(lamp: LampView, expected: list[str]) -> None:
    seen = lamp.shows_in_order(expected)
    assert seen.holds is False
    assert seen.text == "starting → joining → setup"
    assert seen.at_s is not None


def test_an_order_since_a_later_time(lamp: LampView) -> None:
    assert lamp.shows_in_order(["setup"], after_s=SETUP_S + 1.0).holds is True


def test_the_rate_of_a_flash(lamp: LampView) -> None:
    reading = lamp.rate("joining")
    assert reading is not None
    assert reading.low <= 0.6 <= reading.high
    assert lamp.rate("setup") is None


def test_a_stage_never_shown_was_not_before_the_end(lamp: LampView) -> None:
    seen = lamp.begins("connected", ON_S)
    assert (seen.seen, seen.earliest_s, seen.because) == (False, END_S, "")


def test_a_lamp_that_showed_it_before_answers_nothing(lamp: LampView) -> None:
    """Blue from 118 s on is no answer to what happened at 124 s: late it cannot be, and in time nobody can say."""
    seen = lamp.begins("setup", 124.0)
    assert not seen.measured
    assert seen.earliest_s == -np.inf
    assert seen.latest_s < 124.0
    assert "camera" in seen.because


class TestAsleep:
    """A camera that stood still, stopped, or never looked."""

    def test_a_picture_that_stands_still_is_asleep_for_that_stretch(self) -> None:
        seen = frames()
        at = (seen.times_s > 112.0) & (seen.times_s < 116.0)
        first = int(np.argmax(at))
        unit, bench = seen.unit.copy(), seen.bench.copy()
        unit[at], bench[at] = unit[first], bench[first]
        lamp = LampView(window(LampFrames(seen.times_s, unit, bench)))
        assert len(lamp.asleep) == 1
        assert lamp.asleep[0].begin_s == pytest.approx(112.0, abs=0.8)
        assert lamp.asleep[0].end_s == pytest.approx(116.0, abs=0.8)
        order = lamp.shows_in_order(["starting", "joining", "setup"])
        assert order.holds is None
        assert "camera asleep" in order.text

    def test_a_stage_first_seen_after_a_sleep_may_have_begun_in_it(self) -> None:
        gone = LampView(window(part(~((frames().times_s > 116.0) & (frames().times_s < 121.0)))))
        seen = gone.begins("setup", ON_S)
        assert not seen.measured
        assert seen.earliest_s < SETUP_S < seen.latest_s
        assert "camera asleep" in seen.because

    def test_a_sleep_before_an_event_asked_for_does_not_matter(self) -> None:
        gone = LampView(window(part(~((frames().times_s > 101.0) & (frames().times_s < 104.0)))))
        seen = gone.begins("starting", ON_S)
        assert seen.measured

    def test_a_camera_that_stopped_tells_nothing_of_later(self) -> None:
        stopped = LampView(window(part(frames().times_s < 112.0)))
        seen = stopped.begins("setup", ON_S)
        assert not seen.seen
        assert seen.earliest_s <= 112.0
        assert "camera asleep" in seen.because

    def test_without_frames_nobody_can_say(self) -> None:
        lamp = LampView(window(part(frames().times_s < 0.0)))
        assert lamp.shows_in_order([]).holds is None
        seen = lamp.begins("setup", ON_S)
        assert not seen.seen
        assert seen.because.startswith("camera: no frames")
        assert [(gap.begin_s, gap.end_s) for gap in lamp.asleep] == [(BEGIN_S, END_S)]

    def test_without_the_bench_lamp_nobody_can_say(self) -> None:
        lamp = LampView(window(moments=SUPPLY))
        assert lamp.shows_in_order(["starting", "joining", "setup"]).holds is None
        assert "never switched" in lamp.begins("setup", ON_S).because

    def test_a_bench_lamp_that_is_not_seen_to_change_tells_nothing(self) -> None:
        still = LampFrames(frames().times_s, frames().unit, np.broadcast_to(frames().bench[0], frames().bench.shape))
        lamp = LampView(window(still))
        assert lamp.delay is None
        assert "delay could not be measured" in lamp.begins("setup", ON_S).because
        assert lamp.shows_in_order(["starting", "joining", "setup"]).holds is None

    def test_without_frames_of_the_dark_lamp_nobody_can_say(self) -> None:
        always_on = [*SWITCHED, *states(97.0, 134.0)]
        lamp = LampView(window(moments=always_on))
        assert "dark reference" in lamp.begins("setup", ON_S).because
        assert lamp.shows_in_order(["starting", "joining", "setup"]).holds is None

    def test_frames_of_a_unit_in_reset_are_none_of_a_dark_lamp(self) -> None:
        """What keeps its light in reset, as an addressable lamp does, would be taken for the dark."""
        in_reset = [replace(m, data={**m.data, "in_reset": True}) for m in SUPPLY]
        lamp = LampView(window(moments=[*SWITCHED, *in_reset]))
        assert "dark reference" in lamp.begins("setup", ON_S).because
        assert lamp.shows_in_order(["starting", "joining", "setup"]).holds is None


def test_a_lamp_that_stays_dark_is_told_as_dark() -> None:
    dark = lamp_frames([], SWITCHED, 98.0, 134.0)
    lamp = LampView(window(dark))
    assert lamp.shows_in_order(["starting"]).holds is False
    assert lamp.shows_in_order(["starting"]).text == "dark"
    seen = lamp.begins("starting", ON_S)
    assert (seen.seen, seen.because) == (False, "")


def test_a_colour_that_no_stage_has_is_unrecognised_and_fails() -> None:
    red = lamp_frames([(ON_S + 0.3, "white"), (SETUP_S, "red")], SWITCHED, 98.0, 134.0)
    seen = LampView(window(red)).shows_in_order(["starting", "setup"])
    assert seen.holds is False
    assert "unrecognised (red)" in seen.text


def test_a_lamp_that_breathes_is_no_flash_and_no_steady_light() -> None:
    """Blue that goes up and down instead of staying on."""
    shown = lamp_frames([(ON_S + 0.3, "white"), (SETUP_S, "blue")], SWITCHED, 98.0, 134.0)
    times_s, unit = shown.times_s - LAG_S, shown.unit.astype(float)
    dark = unit[times_s < ON_S].mean(axis=0)
    breath = np.where(times_s > SETUP_S, 0.55 - 0.45 * np.cos(2 * np.pi * 0.5 * (times_s - SETUP_S)), 1.0)
    linear = ((unit - dark) / 255.0).clip(0.0) ** 2.2 * breath[:, None, None, None]
    breathing = np.clip(dark + 255.0 * linear ** (1 / 2.2), 0, 255).astype(np.uint8)
    seen = LampView(window(LampFrames(shown.times_s, breathing, shown.bench))).shows_in_order(["starting", "setup"])
    assert seen.holds is False
    assert "unrecognised (blue), going up and down smoothly at 0.50 Hz" in seen.text


def test_a_flash_nobody_declared_is_told_with_its_rate_and_duty() -> None:
    plan = [
        (ON_S + 0.3, "white"),
        *((SETUP_S + at + more, word) for at in range(11) for more, word in ((0, "blue"), (0.3, "off"))),
    ]
    seen = LampView(window(lamp_frames(plan, SWITCHED, 98.0, 134.0))).shows_in_order(["starting", "setup"])
    assert seen.holds is False
    assert "unrecognised (blue), flashing at 1.00 Hz ± 0.00 Hz, lit for 30% of the time" in seen.text


def test_the_whole_goes_with_the_other_witnesses() -> None:
    """Power on to lamp, through the evidence as a check reads it."""
    made = make([*awake(97.0, 134.0, but=["power"]), *SWITCHED, *SUPPLY], frames=frames())
    reading = made.evidence(BEGIN_S, END_S, "power", "lamp").between(PowerOn, lamp_shows("starting"))
    assert reading.low <= 0.3 <= reading.high  # type: ignore[union-attr]
