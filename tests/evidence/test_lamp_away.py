"""The lamp's view where the camera was moved, or something stood before it: hand-made pictures, and what the camera booked."""

import numpy as np
import pytest
from support.records import flashing, lamp_frames, make, moment, power, states, switchings

from hil.core.frames import LampFrames
from hil.core.moments import Moment
from hil.evidence.lamp import LampView
from hil.evidence.lamp_colours import colours_seen

ON_S, JOINING_S, SETUP_S, GREEN_S = 106.0, 108.0, 118.0, 128.0
ORDER = ["starting", "joining", "setup", "connected"]
PLAN = [
    *((ON_S + 0.3, "white"), *flashing("white", 0.6, JOINING_S, SETUP_S)),
    *((SETUP_S, "blue"), (GREEN_S, "green")),
]
SWITCHED = switchings(98.0, 140.0)
SUPPLY = [*states(97.0, ON_S, on=False), power("on", ON_S), *states(ON_S + 0.1, 140.0)]
FRAMES = lamp_frames(PLAN, SWITCHED, 98.0, 140.0)


def disturbed(begin_s: float, end_s: float) -> LampFrames:
    """The unit's region shows another part of the board, light as a lamp is, and the bench's lamp blinks on."""
    unit, away = FRAMES.unit.copy(), (FRAMES.times_s > begin_s) & (FRAMES.times_s < end_s)
    unit[away] = lamp_frames([(0.0, "red")], SWITCHED, 98.0, 140.0).unit[away]
    return LampFrames(FRAMES.times_s, unit, FRAMES.bench)


def view(frames: LampFrames, *booked: Moment, begin_s: float = 100.0, end_s: float = 136.0) -> LampView:
    return LampView(make([*SWITCHED, *SUPPLY, *booked], frames=frames).window(begin_s, end_s))


def moved(time_s: float, since_s: float) -> Moment:
    return moment(time_s, "camera", "moved", since_s=since_s, by_px=7.4)


def hidden(time_s: float, since_s: float) -> Moment:
    return moment(time_s, "camera", "hidden", since_s=since_s, why="what lies around the lamp looks otherwise")


def in_place(time_s: float) -> Moment:
    return moment(time_s, "camera", "in place")


def test_all_is_well_without_it() -> None:
    assert view(FRAMES).shows_in_order(ORDER).holds is True
    assert view(disturbed(120.0, 141.0)).shows_in_order(ORDER).holds is False


def test_a_moved_camera_neither_passes_nor_fails_the_order_from_then_on() -> None:
    seen = view(disturbed(120.0, 141.0), moved(122.0, 119.5)).shows_in_order(ORDER)
    assert seen.holds is None
    assert seen.text == "camera asleep from 119.3 s on: it or the board was moved by 7 pixels"


def test_a_camera_moved_since_it_was_aimed_tells_nothing_of_the_whole_run_and_says_what_to_do() -> None:
    lamp = view(FRAMES, moment(99.0, "camera", "moved", by_px=4.6, since_aim=True))
    why = "it or the board was moved by 5 pixels since it was aimed: aim it anew (hil bench aim)"
    assert [(gap.begin_s, gap.end_s, gap.woke, gap.why) for gap in lamp.asleep] == [(100.0, 136.0, False, why)]
    assert lamp.trouble == f"camera: {why}"
    seen = lamp.shows_in_order(ORDER)
    assert (seen.holds, why in seen.text) == (None, True)
    assert not lamp.begins("setup", ON_S).seen


OTHER = "camera /dev/video0: its gain is to be 31, and stays at 30. Is it another one? Aim anew: hil bench aim."


def gone(from_s: float, until_s: float) -> LampFrames:
    keep = (FRAMES.times_s <= from_s) | (FRAMES.times_s >= until_s)
    return LampFrames(FRAMES.times_s[keep], FRAMES.unit[keep], FRAMES.bench[keep])


@pytest.mark.parametrize("kind", ["stopped", "stalled"])
def test_a_camera_that_comes_back_set_otherwise_says_so_wherever_it_is_missed(kind: str) -> None:
    lamp = view(gone(122.0, 141.0), moment(122.2, "camera", kind), moment(123.0, "camera", "not taken", why=OTHER))
    seen = lamp.shows_in_order(ORDER)
    assert (seen.holds, OTHER in seen.text) == (None, True)
    assert OTHER in lamp.begins("connected", ON_S).because
    assert lamp.begins("setup", ON_S).measured


def test_one_that_is_set_as_before_in_the_end_is_asleep_until_then_alone() -> None:
    again = (moment(120.2, "camera", "stopped"), moment(121.0, "camera", "not taken", why=OTHER))
    lamp = view(gone(120.0, 124.0), *again, moment(124.0, "camera", "started"))
    (gap,) = (gap for gap in lamp.asleep if gap.why == OTHER)
    assert gap.woke
    assert gap.begin_s <= 120.2 < gap.end_s <= 124.0
    assert lamp.shows_in_order(ORDER[:3]).holds is None


def test_what_came_before_is_still_measured() -> None:
    lamp = view(disturbed(122.0, 141.0), moved(123.0, 121.5))
    setup, connected = lamp.begins("setup", ON_S), lamp.begins("connected", ON_S)
    assert setup.measured
    assert setup.earliest_s <= SETUP_S <= setup.latest_s
    assert not connected.seen
    assert connected.earliest_s <= 121.5
    assert "moved by 7 pixels" in connected.because


def test_a_leg_after_it_is_told_by_nobody() -> None:
    lamp = view(disturbed(110.0, 141.0), moved(111.0, 109.5), begin_s=124.0, end_s=132.0)
    seen = lamp.shows_in_order(["setup", "connected"])
    assert (seen.holds, seen.text) == (None, "camera asleep from 124.0 s on: it or the board was moved by 7 pixels")
    assert [(gap.begin_s, gap.end_s, gap.woke) for gap in lamp.asleep] == [(124.0, 132.0, False)]


def test_a_leg_before_it_is_judged_as_ever() -> None:
    lamp = view(disturbed(124.0, 141.0), moved(126.0, 123.5), end_s=123.0)
    assert lamp.asleep == []
    assert lamp.shows_in_order(ORDER[:3]).holds is True


def test_a_hand_before_the_lamp_makes_a_stretch_nobody_saw_and_another_take_helps() -> None:
    lamp = view(disturbed(122.0, 123.0), hidden(122.2, 121.8), in_place(123.2))
    seen = lamp.shows_in_order(ORDER)
    assert seen.holds is None
    assert "asleep from 121.6 s to 123.5 s: what lies around the lamp looks otherwise" in seen.text
    assert lamp.begins("connected", ON_S).because.startswith("camera asleep")
    assert lamp.begins("setup", ON_S).measured


def test_a_leg_after_a_hand_is_judged_as_ever() -> None:
    lamp = view(disturbed(109.0, 112.0), hidden(109.2, 108.9), in_place(112.2), begin_s=120.0)
    assert lamp.asleep == []
    assert lamp.shows_in_order(["setup", "connected"]).holds is True


def test_frames_of_another_place_are_no_dark_reference() -> None:
    """The camera was away while the supply was off, but for the last second: the dark lamp is known by that."""
    lamp = view(disturbed(98.0, 104.6), hidden(98.5, 98.0), in_place(104.7))
    assert lamp.begins("starting", ON_S).measured
    assert [span.colour for span in lamp.spans][:2] == ["off", "white"]


def test_the_sheet_s_colours_are_not_those_of_another_place() -> None:
    made = make([*SWITCHED, *SUPPLY, moved(122.0, 119.5)], frames=disturbed(120.0, 141.0))
    assert {one.word for one in colours_seen(made.record, 98.0, 140.0).seen} == {"white", "blue"}


@pytest.mark.parametrize("step_s", [-3.0, 0.0])
def test_stamps_that_go_back_tell_nothing(step_s: float) -> None:
    times_s = FRAMES.times_s.copy()
    times_s[700] = times_s[699] + step_s
    lamp = view(LampFrames(times_s, FRAMES.unit, FRAMES.bench))
    assert lamp.shows_in_order(ORDER).holds is None
    assert lamp.trouble == "camera: the stamps of its frames go back at frame 700"
    assert not np.isfinite(lamp.begins("setup", ON_S).latest_s)
