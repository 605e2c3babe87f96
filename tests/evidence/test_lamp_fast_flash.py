"""A fast flash before a camera that shows each of its phases in two frames or one: a lost frame may swallow a phase.

What the picture shows is known to the test, as in `test_lamp`: connected, then updating at 2 Hz, 0.25 s a phase.
"""

import numpy as np
import pytest
from support.records import FRAME_RATE, Plan, flashing, lamp_frames, make, power, states, switchings

from hil.core.frames import LampFrames
from hil.evidence.lamp import LampView
from hil.evidence.seen import Seen

ON_S, UPDATING_S, END_S = 104.0, 106.0, 110.0
SWITCHED = switchings(98.0, 114.0)
SUPPLY = [*states(97.0, ON_S, on=False), power("on", ON_S), *states(ON_S + 0.1, 114.0)]
EVERY = 4
INTERVAL_S = EVERY / FRAME_RATE


def shown(plan: Plan, lost: int | None = None) -> Seen:
    """What is read of a plan at a quarter of the usual frame rate; `lost`: one of the frames from the flash on is not there."""
    frames = lamp_frames(plan, SWITCHED, 98.0, 114.0)
    kept = np.arange(0, len(frames.times_s), EVERY)
    if lost is not None:
        kept = np.delete(kept, np.searchsorted(frames.times_s[kept], UPDATING_S) + lost)
    seen = LampFrames(frames.times_s[kept], frames.unit[kept], frames.bench[kept])
    lamp = LampView(make([*SWITCHED, *SUPPLY], frames=seen).window(UPDATING_S, END_S))
    return lamp.shows_in_order(["updating"])


FLASH: Plan = [(ON_S + 0.3, "green"), *flashing("white", 2.0, UPDATING_S, END_S + 1.0)]
AFTER = int((END_S - UPDATING_S) / INTERVAL_S)


def test_no_frame_that_is_lost_is_the_unit_s_fault() -> None:
    assert shown(FLASH).holds is True
    found = [shown(FLASH, lost) for lost in range(AFTER)]
    assert [seen.text for seen in found if seen.holds is False] == []
    assert {seen.holds for seen in found} == {True, None}
    assert all("camera asleep" in seen.text for seen in found if seen.holds is None)


@pytest.mark.parametrize("held_s", [0.75, 1.0])
def test_a_phase_that_is_held_fails_where_every_frame_was_seen(held_s: float) -> None:
    """The same light as after a lost frame, and no frame is lost."""
    from_s = UPDATING_S + 1.5
    held = [(time_s, colour) for time_s, colour in FLASH if not from_s < time_s < from_s + held_s]
    assert shown(held).holds is False


def test_a_frame_lost_elsewhere_excuses_nothing() -> None:
    """A fault's red for a second and a half, and a frame lost at the flash's begin."""
    plan = [*(at for at in FLASH if at[0] < END_S - 1.6), (END_S - 1.5, "red")]
    assert shown(plan, lost=4).holds is False
