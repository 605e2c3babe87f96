"""The chromaticity diagram: each colour seen stands at its place, and the words beside it hold what was measured."""

from xml.etree import ElementTree as ET

import numpy as np
import pytest
from support.records import Plan, lamp_frames, make, power, states, switchings

from hil.core.run_folder import LegRecord
from hil.evidence.lamp_colours import ColourSeen
from hil.sheet.colour_picture import MARK, colour_picture
from hil.sheet.colours import colours_part

SVG = "{http://www.w3.org/2000/svg}"
SPREAD = np.array([[4e-4, 1e-4], [1e-4, 2e-4]])
GREEN = ColourSeen("green", 40, (0.125, 0.5625), SPREAD, 0.004)
WHITE = ColourSeen("white", 90, (0.1978, 0.4683), SPREAD / 4.0, 0.002)


def leg_of(begin_s: float, end_s: float) -> LegRecord:
    return LegRecord("a leg", "", 1, begin_s, end_s, "off", "off", "off", end_s - begin_s, bridge=False)


def discs(picture: str) -> list[tuple[float, float]]:
    drawn = ET.fromstring(picture)
    return [
        (float(e.get("cx", "")), float(e.get("cy", ""))) for e in drawn.iter(f"{SVG}circle") if e.get("r") == str(MARK)
    ]


def test_colours_stand_where_they_were_seen() -> None:
    """Two points of the diagram fix its scale; u' runs to the right and v' upwards."""
    green, white = discs(colour_picture([GREEN, WHITE], {"green": ["connected"], "white": ["starting"]}))
    assert (white[0] - green[0]) / (0.1978 - 0.125) == pytest.approx(
        (white[1] - green[1]) / (0.5625 - 0.4683), rel=1e-3
    )
    assert white[0] > green[0]
    assert white[1] > green[1]


def test_the_ellipse_holds_95_of_100_frames() -> None:
    """Of normal scatter, drawn with numpy: within the ellipse's Mahalanobis distance lie 95 %."""
    drawn = ET.fromstring(colour_picture([GREEN], {"green": ["connected"]}))
    (middle,) = discs(colour_picture([GREEN], {"green": ["connected"]}))
    ring = next(
        e
        for e in drawn.iter(f"{SVG}polyline")
        if e.get("stroke-width") == "1.2" and len(e.get("points", "").split()) == 37
    )
    corners = (
        np.array([[float(word) for word in point.split(",")] for point in ring.get("points", "").split()]) - middle
    )
    scale = (discs(colour_picture([GREEN, WHITE], {}))[1][0] - middle[0]) / (0.1978 - 0.125)
    frames = np.random.default_rng(7).multivariate_normal((0.0, 0.0), SPREAD, 20000) * (scale, -scale)
    angles = np.arctan2(corners[:-1, 1], corners[:-1, 0])
    order = np.argsort(angles)
    reach = np.interp(
        np.arctan2(frames[:, 1], frames[:, 0]), angles[order], np.hypot(*corners[:-1].T)[order], period=2 * np.pi
    )
    assert (np.hypot(*frames.T) < reach).mean() == pytest.approx(0.95, abs=0.01)


def test_what_is_not_promised_and_what_is_not_seen_is_said() -> None:
    drawn = ET.fromstring(colour_picture([GREEN], {"red": ["fault"]}))
    words = [e.text for e in drawn.iter(f"{SVG}text")]
    assert "green, not promised" in words
    assert "red, not seen" in words


def test_the_words_hold_what_was_measured() -> None:
    on_s, end_s = 104.0, 120.0
    switched = switchings(98.0, 122.0)
    plan: Plan = [(on_s + 0.3, "white"), (110.0, "amber"), (115.0, "green")]
    supply = [*states(97.0, on_s, on=False), power("on", on_s), *states(on_s + 0.1, 122.0)]
    record = make([*switched, *supply], frames=lamp_frames(plan, switched, 98.0, 122.0)).record
    part = colours_part(record, [leg_of(on_s, end_s)])
    told = {row.label: row.value for row in part.rows}
    assert list(told) == ["White", "Amber", "Green", "All"]
    assert told["White"].startswith("Promised for starting, joining, updating; seen in ")
    assert told["Amber"].startswith("Not promised; seen in ")
    assert "Nearest to each other: " in told["All"]
    assert len(discs(part.picture)) == 3


def test_a_run_without_a_camera_says_why() -> None:
    part = colours_part(make([]).record, [leg_of(1.0, 2.0)])
    assert part.picture == ""
    assert [row.label for row in part.rows] == ["Not measured"]
