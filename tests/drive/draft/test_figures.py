"""The draft's figures from a record made by hand, whose truth is known: lamps by stage, limits with their margin, console.

The unit starts twice: erased at 3 s (its hotspot opens), and at 30 s with its network absent (it gives up after 24 s).
"""

from collections.abc import Iterable
from dataclasses import replace

import pytest
from support.records import (
    BEACON_S,
    CONTROL,
    HOTSPOT,
    UNIT,
    answered,
    awake,
    beacon,
    beacons,
    lamp_frames,
    line,
    make,
    moment,
    no_frames,
    power,
    seeks,
    start_line,
    switchings,
)

from hil.core.frames import LampFrames
from hil.core.moments import Moment
from hil.core.product import Bound, Lamp
from hil.drive.draft.draft import Draft, driven_as
from hil.drive.draft.figures import tell_figures
from hil.drive.draft.hotspot_told import tell_hotspot
from hil.drive.draft.watch import ABSENT, FORM_AS_SHIPPED, SAVED, SHIPPED, Watched
from hil.evidence.window import Record

END_S = 70.0
JOINS_S, GIVES_UP_S = 32.0, 56.0
FLASH_HZ = 0.6
FLASH = [
    (JOINS_S + half * 0.5 / FLASH_HZ, ("off", "white")[half % 2]) for half in range(int(24.0 * FLASH_HZ * 2))
]  # dark first
PLAN = [(3.6, "white"), (6.4, "blue"), (25.0, "off"), (30.5, "white"), *FLASH, (GIVES_UP_S, "blue")]
SWITCHED = switchings(0.0, END_S)


def states(begin_s: float, end_s: float, *, on: bool) -> list[Moment]:
    return [moment(begin_s + 0.3 * at, "power", "state", on=on) for at in range(int((end_s - begin_s) / 0.3))]


def moments() -> list[Moment]:
    supply = [*states(0.0, 3.0, on=False), power("on", 3.0), *states(3.1, 25.0, on=True), power("off", 25.0)]
    supply += [*states(25.1, 30.0, on=False), power("on", 30.0), *states(30.1, END_S, on=True)]
    air = [*beacons(6.5, 25.0), *beacons(56.3, END_S), *(seeks(JOINS_S + 2.0 * at) for at in range(12))]
    probe = [
        moment(8.0, "probe", "joined", doubt_s=0.02),
        moment(8.2, "probe", "leased", doubt_s=0.02, ip="203.0.113.2"),
    ]
    reached = moment(9.0, "probe", "reached", doubt_s=0.01, took_s=0.01)
    said = [start_line(3.1), line(3.5, "gate v1.4.0 ready"), line(6.4, "state: setup")]
    said += [
        start_line(30.1),
        line(30.5, "gate v1.4.0 ready"),
        line(32.0, "state: joining"),
        line(56.0, "state: setup"),
    ]
    page = answered(9.0, FORM_AS_SHIPPED, "form.body", first_octet_s=0.1)
    controls = awake(0.0, END_S, but=["power"])
    return [*supply, *air, *probe, reached, *said, page, *controls, *SWITCHED]


@pytest.fixture(scope="module")
def frames() -> LampFrames:
    return lamp_frames(PLAN, SWITCHED, 0.0, END_S)


def watched(seen: Iterable[Moment], shown: LampFrames) -> Watched:
    draft = Draft()
    tell_hotspot(draft, beacon(6.5, HOTSPOT), UNIT)
    recorded = tuple(seen)

    def record() -> Record:
        return replace(make(recorded, frames=shown, product=driven_as(draft)).record, product=driven_as(draft))

    return Watched(draft, record, {SHIPPED: (2.9, 24.0), ABSENT: (29.9, END_S - 0.5)})


def keys_asked(draft: Draft) -> set[str]:
    return {question.key for question in draft.questions}


def test_lamps_limits_and_console_of_a_watched_unit(frames: LampFrames) -> None:
    found = watched(moments(), frames)
    tell_figures(found, {}, "1.4.0")
    draft = found.draft
    assert draft.stages == {
        "starting": Lamp(colour="white"),
        "joining": Lamp(colour="white", flash_hz=FLASH_HZ),
        "setup": Lamp(colour="blue"),
    }
    # By hand from the plan above, by the rule: 0.6 s → 1.5, 2 s → 3, 3.5 s → 4.5, 26.3 s → 33, 24 s → 19 to 30 (and a bit).
    bounds = {name: proposal.bound for name, proposal in draft.limits.items()}
    assert bounds.pop("gives_up_s") in (Bound(lower=19.0, upper=30.5), Bound(lower=19.0, upper=30.0))
    assert bounds == {
        "lamp_on_s": Bound(upper=1.5),
        "joining_s": Bound(upper=3.0),
        "first_hotspot_s": Bound(upper=4.5),
        "hotspot_up_s": Bound(upper=33.0),
        "lease_s": Bound(upper=1.0),
        "first_octet_s": Bound(upper=1.0),
    }
    assert "26.3" in draft.limits["hotspot_up_s"].seen
    assert draft.console.version == r"gate v(\S+)"
    assert draft.console.stages == {"joining": "state: joining", "setup": "state: setup"}
    assert keys_asked(draft) == {"limits.restart_s", "limits.connected_s"}  # it was never set up


def test_a_unit_that_never_joined_shows_no_connected_lamp(frames: LampFrames) -> None:
    found = watched(moments(), frames)
    found.spans_s[SAVED] = (14.0, 24.0)  # the lamp is blue in it, and no lease was given
    tell_figures(found, {}, "1.4.0")
    assert "connected" not in found.draft.stages
    assert "stages.connected" not in keys_asked(found.draft)  # nothing was seen to ask about; the writer asks for it
    assert "needs it" in next(q.text for q in found.draft.questions if q.key == "limits.connected_s")


def test_a_camera_that_saw_nothing_leaves_the_lamps_open(frames: LampFrames) -> None:
    found = watched(moments(), no_frames())
    tell_figures(found, {}, "1.4.0")
    assert found.draft.stages == {}
    assert {"limits.lamp_on_s", "limits.gives_up_s"} <= keys_asked(found.draft)
    assert "camera" in found.draft.notes["stages"][0]
    assert "hotspot_up_s" in found.draft.limits  # the air monitor was awake


def test_a_deaf_air_monitor_makes_no_silent_limit(frames: LampFrames) -> None:
    deaf = (50.0, 58.0)
    heard = [m for m in moments() if not (m.source == "air" and deaf[0] < m.time_s < deaf[1])]
    found = watched(heard, frames)
    tell_figures(found, {}, "1.4.0")
    asked = {q.key: q.text for q in found.draft.questions}
    assert "asleep" in asked["limits.hotspot_up_s"]
    assert any(m.data.get("name") == CONTROL for m in heard)
    assert BEACON_S < 0.5


def test_a_silent_console_is_asked_about(frames: LampFrames) -> None:
    found = watched((m for m in moments() if m.kind != "line"), frames)
    tell_figures(found, {}, "1.4.0")
    assert not found.draft.console.speaks
    assert "console.speaks" in keys_asked(found.draft)


def test_a_lamp_that_does_not_tell_two_stages_apart_is_asked_about(frames: LampFrames) -> None:
    steady = [(3.6, "blue"), (25.0, "off"), (30.5, "blue")]
    found = watched(moments(), lamp_frames(steady, SWITCHED, 0.0, END_S))
    tell_figures(found, {}, "1.4.0")
    assert found.draft.stages == {"setup": Lamp(colour="blue")}
    assert {"stages.starting", "stages.joining"} <= keys_asked(found.draft)
    driven_as(found.draft)  # which would refuse two stages with one lamp
