"""Text made harmless: held against the Unicode Character Database, ECMA-48 and UAX #9."""

import unicodedata

import pytest

from hil.core.text import printable


@pytest.mark.parametrize(
    ("raw", "shown"),
    [
        ("Mossgate vent 3", "Mossgate vent 3"),
        ("Gewächshaus Süd €", "Gewächshaus Süd €"),
        ("😀", "😀"),
        ("<b>&amp;", "<b>&amp;"),
        ("\x1b[2J\x1b]0;owned\x07", r"\x1b[2J\x1b]0;owned\x07"),  # ECMA-48: clear the screen; xterm: set the title
        ("\x9b31m", r"\x9b31m"),  # ECMA-48, 5.4: CSI in one octet
        ("one\r\ntwo\tthree\0", r"one\x0d\x0atwo\x09three\x00"),
        ("\x7f", r"\x7f"),
        ("vent\u202egnp.exe", r"vent\u202egnp.exe"),
        ("a\u00a0b\u00adc", r"a\xa0b\xadc"),
        ("\ufeff\u200b", r"\ufeff\u200b"),
        ("\udcff", r"\udcff"),  # a stray octet under surrogateescape (PEP 383)
        ("\U000e0041", r"\U000e0041"),
        ("back\\slash", "back\\slash"),
        ("", ""),
    ],
)
def test_shown(raw: str, shown: str) -> None:
    assert printable(raw) == shown


# Unicode Bidirectional Algorithm, UAX #9, table 4: explicit and implicit formatting characters.
@pytest.mark.parametrize("mark", [*"\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\u061c"])
def test_bidi_marks_are_shown_as_escapes(mark: str) -> None:
    assert printable(mark) == f"\\u{ord(mark):04x}"


def test_no_control_of_any_code_point_passes() -> None:
    every = "".join(map(chr, range(0x110000)))
    shown = printable(every)
    categories = {unicodedata.category(character) for character in set(shown) - {" "}}
    assert not categories & {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp", "Zs"}
    assert printable(shown) == shown
    assert shown.isprintable()
