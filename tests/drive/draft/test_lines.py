"""Patterns of a console, from lines by hand: of our demo, and of boards that print otherwise (made up after common logs)."""

import re

from support.records import line

from hil.core.product import Console
from hil.drive.draft.lines import Said, literal, readable, stage_patterns, start_pattern, version_pattern

USUAL = Console().start


def said(on_s: float, *texts: str, every_s: float = 0.5) -> Said:
    return Said(on_s, tuple(line(on_s + 0.2 + at * every_s, text) for at, text in enumerate(texts)))


ROM = "rst:0x1 (POWERON_RESET),boot:0x13 (SPI_FAST_FLASH_BOOT)"


def test_the_usual_banner_of_a_start() -> None:
    starts = [said(0.0, "ets Jul 29 2019 12:21:46", ROM, "hello"), said(60.0, "ets Jul 29 2019 12:21:46", ROM, "hello")]
    assert start_pattern(starts, USUAL) == (USUAL, True)


def test_another_banner_is_the_first_line_that_every_start_has_once() -> None:
    starts = [
        said(0.0, "[0.001] x", "*** Booting (v2) ***", "ok", "ok"),
        said(60.0, "[0.002] x", "*** Booting (v2) ***", "ok"),
    ]
    pattern, usual = start_pattern(starts, USUAL)
    assert not usual
    assert re.search(pattern, "*** Booting (v2) ***")
    assert not re.search(pattern, "*** Booting v2 ***")


def test_no_banner_is_none() -> None:
    assert start_pattern([said(0.0, "a"), said(9.0, "b")], USUAL) == ("", False)
    assert start_pattern([], USUAL) == ("", False)


def test_the_version_s_line_becomes_a_pattern_for_other_versions() -> None:
    lines = said(0.0, ROM, "[    0.512] gate GX firmware v2.7.1, built today").lines
    pattern = version_pattern(lines, "2.7.1")
    assert pattern is not None
    found = re.search(pattern, "[    9.001] gate GX firmware v2.10.0-rc1, built tomorrow")
    assert found is not None
    assert found[1] == "2.10.0-rc1"
    assert version_pattern(lines, "9.9") is None
    assert version_pattern(lines, "") is None


def test_stage_lines_stand_near_what_witnesses_saw_every_time() -> None:
    starts = [
        said(0.0, ROM, "state: boot", "state: search", "state: portal"),
        said(60.0, ROM, "state: boot", "state: search", "got ip 192.0.2.7", "state: online"),
    ]
    begins = {"starting": [0.6, 60.6], "joining": [1.2, 61.2], "setup": [1.8], "connected": [61.8], "fault": [3.0]}
    spoken = [Said(s.on_s, s.lines[1:]) for s in starts]
    assert stage_patterns(spoken, begins, own=["192.0.2.7"]) == {  # type: ignore[arg-type]
        "starting": "state: boot",
        "joining": "state: search",
        "setup": "state: portal",
        "connected": "state: online",
    }


def test_a_line_far_from_the_stage_is_not_its_line() -> None:
    assert stage_patterns([said(0.0, "joining")], {"joining": [9.0]}, own=[]) == {}


def test_noise_is_not_readable() -> None:
    assert readable(said(0.0, "hello", "world").lines)
    assert not readable(said(0.0, r"\xf8\x8e", r"a\x00", "hello").lines)


def test_a_literal_finds_its_text_and_no_other() -> None:
    for text in ("a.b", "x|y", "(1)", "[0]", "a+b*c?", "^$", "\\n", "{1}"):
        assert re.fullmatch(literal(text), text)
    assert not re.search(literal("a.b"), "axb")
