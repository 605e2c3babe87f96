"""Pictures of cuts and starts: what is in them is what the evidence holds, and they are well-formed SVG."""

import re
from xml.etree import ElementTree as ET

import pytest

from hil.core.product import load_product
from hil.core.readings import Reading
from hil.evidence.save_cuts import CutOutcome, Held, Phase, SaveCut
from hil.evidence.seen import Seen
from hil.sheet.palette import FAIL_INK, INK, PAPER
from hil.sheet.tries_pictures import cuts_picture, starts_picture
from hil.virtual import DEMO_PRODUCT

SVG = "{http://www.w3.org/2000/svg}"


def outcome(number: int, since_sent_s: float | None, held: Held) -> CutOutcome:
    cut = SaveCut(number, since_sent_s or 0.0, {}, 1.0, 2.0, 3.0)
    return CutOutcome(cut, held, Seen(held is not Held.NEITHER, str(held)), Phase.BETWEEN, since_sent_s)


def circles(picture: str, fill: str) -> list[tuple[float, float]]:
    """Where discs of a colour stand, from the left."""
    found = (e for e in ET.fromstring(picture).iter(f"{SVG}circle") if e.get("fill") == fill)
    return sorted((float(e.get("cx", "")), float(e.get("cy", ""))) for e in found)


def words(picture: str) -> list[str]:
    return [e.text or "" for e in ET.fromstring(picture).iter(f"{SVG}text")]


MANY = [outcome(n, 0.01 * n, Held.OLD if n < 8 else Held.NEW) for n in range(1, 16)]


def test_each_cut_is_drawn_once_in_the_row_of_what_was_held() -> None:
    picture = cuts_picture(MANY, 0.1)
    old, new = circles(picture, PAPER), circles(picture, INK)
    assert (len(old), len(new)) == (7, 8)
    assert max(x for x, _ in old) < min(x for x, _ in new)
    assert {y for _, y in old} != {y for _, y in new}
    assert "neither" not in words(picture)


def test_a_cut_that_left_neither_is_crossed_in_the_colour_of_failure() -> None:
    picture = cuts_picture([*MANY, outcome(16, 0.155, Held.NEITHER)], 0.1)
    crosses = [e for e in ET.fromstring(picture).iter(f"{SVG}polyline") if e.get("stroke") == FAIL_INK]
    assert len(crosses) == 2
    assert "neither" in words(picture)


def test_late_cuts_have_a_scale_of_their_own() -> None:
    """Cuts about the answer, at 0.1 s, keep most of the width beside one at 2 s."""
    picture = cuts_picture([*MANY, outcome(16, 2.0, Held.NEW)], 0.1)
    new = circles(picture, INK)
    assert new[-1][0] == pytest.approx(712.0)
    assert new[-2][0] > 0.5 * 720.0


@pytest.mark.parametrize("outcomes", [[], [outcome(1, None, Held.UNTOLD)], [outcome(1, 0.0, Held.OLD)]])
def test_little_makes_a_picture_all_the_same(outcomes: list[CutOutcome]) -> None:
    assert "old settings" in words(cuts_picture(outcomes, None))


def test_starts_by_what_began_them() -> None:
    product = load_product(DEMO_PRODUCT)
    timed: list[Reading | Seen] = [Reading.of(3.9 + 0.1 * n, 0.02, "s") for n in range(4)]
    never: list[Reading | Seen] = [Reading.of(4.0, 0.02, "s"), Reading(18.0, float("inf"), "s")]
    untold: list[Reading | Seen] = [Seen.untold("console asleep")]
    picture = starts_picture({"power": timed, "reset line": never, "software": untold}, product)
    assert len(circles(picture, INK)) == 5
    said = words(picture)
    assert "4 starts: median 4.05 s, 95th percentile 4.20 s, 3.90 to 4.20 s" in said
    assert "1 starts: median 4.00 s, 95th percentile 4.00 s, 4.00 to 4.00 s; 1 without a time" in said
    assert "1 without a time" in said
    assert FAIL_INK in picture


def test_ticks_are_round_numbers() -> None:
    said = words(cuts_picture([outcome(n, 0.0137 * n, Held.OLD) for n in range(12)], None))
    ticks = [word for word in said if re.fullmatch(r"[\d.]+", word)]
    assert ticks[:3] == ["0", "0.02", "0.04"]
