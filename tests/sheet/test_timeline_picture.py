"""The timeline picture, read back by the XML library, and the lanes it draws."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from hil.core.frames import LampFrames
from hil.core.moments import Moment
from hil.core.run_folder import LegRecord
from hil.evidence.window import Record
from hil.sheet.lanes import UNASKED, lanes_of
from hil.sheet.palette import FAIL_INK, MUTED
from hil.sheet.timeline_picture import LEFT, RIGHT, timeline_picture

if TYPE_CHECKING:
    from tests.sheet.conftest import Run

MakeRecord = Callable[[Sequence[Moment]], Record]
SVG = "{http://www.w3.org/2000/svg}"
NO_FRAMES = LampFrames(np.zeros(0), np.zeros((0, 1, 1, 3), np.uint8), np.zeros((0, 1, 1, 3), np.uint8))
LEG = LegRecord("a_leg", "", 1, 0.0, 100.0, "off", "setup", "setup", 100.0, bridge=False)


@pytest.fixture
def record(mixed_run: "Run") -> MakeRecord:
    """Makes a record of some moments."""
    return lambda moments: Record(mixed_run.product, {}, tuple(moments), lambda: NO_FRAMES, lambda _: b"", lambda: b"")


def words_in(svg: str) -> list[str]:
    """All texts of a picture."""
    return [element.text or "" for element in ET.fromstring(svg).iter(SVG + "text")]


def boxes(svg: str, colour: str) -> list[tuple[float, float]]:
    """Left and right end of each box of a colour."""
    found = [e for e in ET.fromstring(svg).iter(SVG + "rect") if e.get("fill") == colour]
    return [(float(e.get("x", "")), float(e.get("x", "")) + float(e.get("width", ""))) for e in found]


def test_power_is_drawn_from_on_to_off_and_on_to_the_end(record: MakeRecord) -> None:
    power = [Moment(t, 0.0, "power", kind) for t, kind in ((25.0, "on"), (50.0, "off"), (75.0, "on"))]
    svg = timeline_picture(record(power), [LEG], NO_FRAMES, {})
    quarter = (RIGHT - LEFT) / 4.0
    ends = [end for box in boxes(svg, MUTED) for end in box]
    assert ends == pytest.approx([LEFT + quarter, LEFT + 2 * quarter, LEFT + 3 * quarter, RIGHT], abs=0.01)


def test_beacons_go_to_the_lane_of_their_network(record: MakeRecord) -> None:
    names = ["mossgate-a731", "mossgate-A731", "control-9f2", "mossgate-a731-guest", ""]
    moments = [Moment(float(at), 0.0, "air", "beacon", {"name": name}) for at, name in enumerate(names)]
    lanes = {lane.name: lane.times_s for lane in lanes_of(record(moments))}
    assert lanes["Hotspot beacons"] == (0.0, 1.0)
    assert lanes["Bench’s own beacons"] == (2.0, 3.0, 4.0)


def test_a_start_nobody_asked_for_is_told_from_those_asked_for(mixed_run: "Run", record: MakeRecord) -> None:
    lane = lanes_of(record(mixed_run.moments))[-1]
    assert lane.words == ("leg", "leg", "leg", "leg", UNASKED)
    svg = timeline_picture(record(mixed_run.moments), mixed_run.info.legs, NO_FRAMES, {})
    alarm = [e.get("fill") for e in ET.fromstring(svg).iter(SVG + "text") if e.text == UNASKED]
    assert alarm == [FAIL_INK]


def test_a_source_nobody_foresaw_gets_a_lane(record: MakeRecord) -> None:
    svg = timeline_picture(record([Moment(10.0, 0.0, "broker", "report")]), [LEG], NO_FRAMES, {})
    assert {"Broker", "report"} <= set(words_in(svg))


def test_controls_do_not_crowd_the_picture(record: MakeRecord) -> None:
    moments = [Moment(float(t), 0.0, "access point", "answering") for t in range(100)]
    lanes = {lane.name: lane.times_s for lane in lanes_of(record(moments))}
    assert lanes["Access point"] == ()


def test_the_lamp_is_drawn_in_its_colour_over_its_time(record: MakeRecord) -> None:
    dark, blue = (30, 40, 30), (240, 40, 30)
    colours = np.array([dark] * 100 + [blue] * 100, dtype=np.uint8)
    crops = colours[:, None, None, :] * np.ones((1, 8, 8, 1), np.uint8)
    frames = LampFrames(np.arange(200) / 2.0, crops, crops)
    svg = timeline_picture(record([]), [LEG], frames, {})
    (lit,) = boxes(svg, "#0000ff")  # what is left above the dark state is blue alone
    middle = (LEFT + RIGHT) / 2.0
    assert lit == pytest.approx((middle, RIGHT), abs=3.0)


def test_a_blown_out_core_does_not_whiten_the_colour(record: MakeRecord) -> None:
    crops = np.full((200, 8, 8, 3), 30, np.uint8)
    crops[100:] = (30, 200, 30)
    crops[100:, 2:6, 2:6] = 255
    frames = LampFrames(np.arange(200) / 2.0, crops, crops)
    svg = timeline_picture(record([]), [LEG], frames, {})
    assert len(boxes(svg, "#00ff00")) == 1
    assert not boxes(svg, "#ffffff")


def test_the_lamp_is_drawn_by_the_curve_that_was_measured_of_its_camera(record: MakeRecord) -> None:
    crops = np.zeros((200, 8, 8, 3), np.uint8)
    crops[100:] = (100, 200, 0)
    frames = LampFrames(np.arange(200) / 2.0, crops, crops)
    straight = Moment(0.0, 0.0, "camera", "curve", {"linear": [code / 255.0 for code in range(256)]})
    assert len(boxes(timeline_picture(record([straight]), [LEG], frames, {}), "#00ffb4")) == 1
    assert len(boxes(timeline_picture(record([]), [LEG], frames, {}), "#00ff87")) == 1


def test_a_stretch_without_frames_stays_empty(record: MakeRecord) -> None:
    crops = np.full((200, 8, 8, 3), 200, np.uint8)
    times_s = np.concatenate([np.arange(100) / 4.0, 75.0 + np.arange(100) / 4.0])
    svg = timeline_picture(record([]), [LEG], LampFrames(times_s, crops, crops), {})
    first, second = boxes(svg, "#ffffff")
    quarter = (RIGHT - LEFT) / 4.0
    assert first == pytest.approx((LEFT, LEFT + quarter), abs=8.0)  # 8: the second a last frame is kept for
    assert second == pytest.approx((RIGHT - quarter, RIGHT), abs=8.0)


def test_failed_checks_are_marked_by_their_number(record: MakeRecord) -> None:
    svg = timeline_picture(record([]), [LEG], NO_FRAMES, {17: [50.0]})
    assert "17" in words_in(svg)
    (mark,) = boxes(svg, FAIL_INK)
    assert sum(mark) / 2.0 == pytest.approx((LEFT + RIGHT) / 2.0)


def test_words_never_run_into_the_next_mark(record: MakeRecord) -> None:
    close = [Moment(50.0 + at / 10.0, 0.0, "probe", f"joined and more {at}") for at in range(40)]
    svg = timeline_picture(record(close), [replace(LEG, end_s=60.0)], NO_FRAMES, {})
    assert not [word for word in words_in(svg) if word.startswith("joined")]  # no room for any: none is drawn


def test_an_empty_run_has_no_picture(record: MakeRecord) -> None:
    assert timeline_picture(record([]), [], NO_FRAMES, {}) == ""
