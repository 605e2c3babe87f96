"""Pictures, read back by the XML library; what a bar must show is arithmetic on its own scale."""

import re
from math import inf
from xml.etree import ElementTree as ET

import pytest

from hil.core.readings import Reading
from hil.core.verdicts import Limits, Verdict
from hil.sheet.palette import ALLOWED, INK, TONES
from hil.sheet.pictures import BAR_WIDTH, reading_bar, verdict_mark

SVG = "{http://www.w3.org/2000/svg}"


def shapes(svg: str, tag: str, colour: str) -> list[ET.Element]:
    """Shapes of a kind and colour."""
    return [e for e in ET.fromstring(svg).iter(SVG + tag) if colour in (e.get("fill"), e.get("stroke"))]


def band(svg: str, colour: str) -> tuple[float, float]:
    """Left and right end of the first box of a colour."""
    box = shapes(svg, "rect", colour)[0]
    return float(box.get("x", "")), float(box.get("x", "")) + float(box.get("width", ""))


def test_each_verdict_has_a_shape_of_its_own_without_colour() -> None:
    bare = {re.sub(r"#[0-9a-f]{6}|aria-label=\"[^\"]*\"", "", verdict_mark(verdict)) for verdict in Verdict}
    assert len(bare) == len(Verdict)


@pytest.mark.parametrize(
    ("value", "doubt", "limits", "verdict"),
    [
        (27.4, 1.5, Limits(None, 30.0, "s"), Verdict.PASS),
        (24.0, 0.4, Limits(22.5, 25.5, "s"), Verdict.PASS),
        (8.0, 0.5, Limits(6.0, None, "s"), Verdict.PASS),
    ],
)
def test_a_passing_reading_is_drawn_inside_the_allowed_band(
    value: float, doubt: float, limits: Limits, verdict: Verdict
) -> None:
    svg = reading_bar(Reading.of(value, doubt, "s"), limits, verdict)
    allowed, drawn = band(svg, ALLOWED), band(svg, TONES[verdict].ink)
    assert allowed[0] <= drawn[0] < drawn[1] <= allowed[1]
    assert len(shapes(svg, "line", INK)) == (limits.lower is not None) + (limits.upper is not None)


def test_a_failing_reading_is_drawn_beyond_the_limit() -> None:
    svg = reading_bar(Reading.of(33.0, 0.5, "s"), Limits(None, 30.0, "s"), Verdict.FAIL)
    assert band(svg, TONES[Verdict.FAIL].ink)[0] > band(svg, ALLOWED)[1]


def test_a_straddling_reading_holds_the_limit() -> None:
    svg = reading_bar(Reading.of(30.05, 0.9, "s"), Limits(None, 30.0, "s"), Verdict.UNJUDGED)
    drawn, limit = band(svg, TONES[Verdict.UNJUDGED].ink), band(svg, ALLOWED)[1]
    assert drawn[0] < limit < drawn[1]


@pytest.mark.parametrize(("low", "high"), [(45.0, inf), (900.0, 901.0)])
def test_a_reading_that_leaves_the_picture_ends_in_an_arrow(low: float, high: float) -> None:
    svg = reading_bar(Reading(low, high, "s"), Limits(None, 30.0, "s"), Verdict.FAIL)
    assert shapes(svg, "polygon", TONES[Verdict.FAIL].ink)
    inside = reading_bar(Reading.of(20.0, 1.0, "s"), Limits(None, 30.0, "s"), Verdict.PASS)
    assert not shapes(inside, "polygon", TONES[Verdict.PASS].ink)


@pytest.mark.parametrize("low", [-inf, 0.0, 3.0, 29.9, 31.0, 1e6])
@pytest.mark.parametrize("limits", [Limits(None, 30.0, "s"), Limits(0.0, None, "s"), Limits(0.0, 0.5, "s")])
def test_nothing_is_drawn_outside_the_picture(low: float, limits: Limits) -> None:
    svg = reading_bar(Reading(low, max(low, 0.0) + 0.01, "s"), limits, Verdict.UNJUDGED)
    for box in ET.fromstring(svg).iter(SVG + "rect"):
        left, width = float(box.get("x", "")), float(box.get("width", ""))
        assert left >= 0.0
        assert width >= 0.0
        assert left + width <= BAR_WIDTH
