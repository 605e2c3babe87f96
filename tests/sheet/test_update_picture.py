"""The picture of cuts over an update: what is in it is what the evidence holds, and it is well-formed SVG."""

from xml.etree import ElementTree as ET

from hil.evidence.seen import Seen
from hil.evidence.update_cuts import Started, UpdateCut, UpdateCutOutcome
from hil.sheet.palette import FAIL_INK, INK, PAPER
from hil.sheet.update_picture import update_picture

SVG = "{http://www.w3.org/2000/svg}"


def outcome(number: int, share: float | None, started: Started, *, holds: bool = True) -> UpdateCutOutcome:
    cut = UpdateCut(number, "just after the answer", share, "1.3.9", "1.4.0", 1.0, 2.0, 3.0)
    return UpdateCutOutcome(cut, started, Seen(holds, str(started)))


MANY = [
    *(outcome(n, n / 10, Started.OLD) for n in range(1, 10)),
    outcome(10, None, Started.NEW),
    outcome(11, None, Started.OLD, holds=False),
]


def test_each_cut_stands_by_its_share_in_the_row_of_what_started() -> None:
    drawn = ET.fromstring(update_picture(MANY))
    discs = [(float(e.get("cx", "")), e.get("fill")) for e in drawn.iter(f"{SVG}circle")]
    old = [x for x, fill in discs if fill == PAPER]
    assert len(old) == 9
    assert old == sorted(old)
    assert [fill for _, fill in discs if fill != PAPER] == [INK]
    crosses = [e for e in drawn.iter(f"{SVG}polyline") if e.get("stroke") == FAIL_INK]
    assert len(crosses) == 2
    words = [e.text for e in drawn.iter(f"{SVG}text")]
    assert words.count("just after the answer") == 2
    assert {"old version", "new version"} < set(words)
    assert "neither" not in words


def test_a_version_that_is_neither_has_a_row_of_its_own() -> None:
    words = [e.text for e in ET.fromstring(update_picture([outcome(1, 0.1, Started.NEITHER)])).iter(f"{SVG}text")]
    assert "neither" in words
