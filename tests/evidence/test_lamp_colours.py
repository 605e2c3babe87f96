"""The colours of a run's lamp, over a hand-made picture: as many as were shown, where the drawn light lies, and how far apart."""

import numpy as np
import pytest
from support.records import Plan, lamp_frames, make, power, states, switchings

from hil.core.frames import LampFrames
from hil.evidence.lamp_colours import LampColours, colours_seen, stages_by_colour
from hil.evidence.window import Record

ON_S, END_S = 104.0, 124.0
SWITCHED = switchings(98.0, 126.0)
SUPPLY = [*states(97.0, ON_S, on=False), power("on", ON_S), *states(ON_S + 0.1, 126.0)]
PLAN: Plan = [(ON_S + 0.3, "white"), (110.0, "blue"), (114.0, "green"), (118.0, "red")]


def recorded(plan: Plan, frames: LampFrames | None = None) -> Record:
    return make(
        [*SWITCHED, *SUPPLY], frames=lamp_frames(plan, SWITCHED, 98.0, 126.0) if frames is None else frames
    ).record


def seen(record: Record) -> LampColours:
    return colours_seen(record, ON_S - 1.0, END_S)


def test_each_colour_shown_is_seen_and_no_other() -> None:
    found = seen(recorded(PLAN))
    assert {one.word for one in found.seen} == {"white", "blue", "green", "red"}
    # Frames are taken evenly: blue, shown for a fifth of the time the lamp is lit, is a fifth of them.
    share = next(one.frames for one in found.seen if one.word == "blue") / found.lit
    assert share == pytest.approx(4.0 / (END_S - ON_S - 0.3), abs=0.03)
    assert found.untold <= 0.02 * found.lit


def test_the_nearest_two_are_named_by_their_distance() -> None:
    found = seen(recorded(PLAN))
    by_word = {one.word: np.array(one.middle) for one in found.seen}
    pairs = [(one, other) for one in by_word for other in by_word if one < other]
    nearest = min(pairs, key=lambda pair: float(np.hypot(*(by_word[pair[0]] - by_word[pair[1]]))))
    apart = found.apart()
    assert apart is not None
    assert {apart[0], apart[1]} == set(nearest)
    assert apart[2] == pytest.approx(float(np.hypot(*(by_word[nearest[0]] - by_word[nearest[1]]))))
    assert apart[3] > 1.0


def test_one_colour_has_no_nearest() -> None:
    found = seen(recorded([(ON_S + 0.3, "green")]))
    assert [one.word for one in found.seen] == ["green"]
    assert found.apart() is None


def test_a_camera_that_was_away_says_why() -> None:
    nothing = lamp_frames(PLAN, SWITCHED, 98.0, 126.0).within(0.0, 1.0)
    found = seen(recorded(PLAN, nothing))
    assert (found.seen, found.lit) == ((), 0)
    assert found.reason == "camera: no frames were recorded"


def test_stages_stand_by_the_colours_promised_for_them() -> None:
    product = recorded(PLAN).product
    assert stages_by_colour(product) == {
        "white": ["starting", "joining", "updating"],
        "blue": ["setup"],
        "green": ["connected"],
        "red": ["fault"],
    }


def test_frames_are_taken_from_the_legs_end_too() -> None:
    found = seen(recorded([(ON_S + 0.3, "white"), (END_S - 1.0, "green")]))
    assert [one.word for one in found.seen] == ["white", "green"]
