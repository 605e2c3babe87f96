"""A moment as one line of JSON. Held against the standard library's own reader (RFC 8259)."""

import json

import pytest

from hil.core.moments import Moment

AWKWARD = [
    "plain",
    'quotes " and \\ strokes',
    "tab\tand line\nend",
    "Gewächshaus ° 温室",
    "line separators \u2028 \u2029 and next line \u0085",
    "bell \x07 and escape \x1b[2J",
    "file \x1c group \x1d record \x1e",
    "",
]


@pytest.mark.parametrize("text", AWKWARD)
def test_a_line_reads_back_as_it_was(text: str) -> None:
    moment = Moment(12.345678, 0.0125, "console", "line", {"text": text, "n": 3, "on": True, "none": None, "l": [1]})
    line = moment.to_line()
    assert "\n" not in line
    assert Moment.from_line(line) == moment
    assert json.loads(line)["text"] == text


def test_times_are_kept_to_the_microsecond() -> None:
    read = Moment.from_line(Moment(1234.56789012, 0.00000049, "air", "beacon").to_line())
    assert read.time_s == pytest.approx(1234.56789012, abs=5e-7)
    assert read.doubt_s == 0.0


@pytest.mark.parametrize(
    "line",
    [
        "",
        "{",
        '{"t": 1.0, "doubt": 0.0, "source": "air", "ki',
        '{"doubt": 0.0, "source": "air", "kind": "beacon"}',
        '{"t": "soon", "doubt": 0.0, "source": "air", "kind": "beacon"}',
        '{"t": null, "doubt": 0.0, "source": "air", "kind": "beacon"}',
        "[1, 2]",
        '"text"',
        "7",
        "null",
    ],
)
def test_a_line_that_is_none_of_ours_is_refused(line: str) -> None:
    with pytest.raises(ValueError, match=r".*"):
        Moment.from_line(line)


def test_text_and_number_of_a_detail() -> None:
    moment = Moment(0.0, 0.0, "air", "beacon", {"name": "x", "channel": 6, "share": 0.5, "on": True, "none": None})
    assert (moment.text("name"), moment.text("channel"), moment.text("missing", "?")) == ("x", "6", "?")
    assert (moment.number("channel"), moment.number("share"), moment.number("on")) == (6.0, 0.5, 1.0)
    assert moment.number("missing", 7.0) == 7.0
    assert moment.number("none", 7.0) == 7.0
    assert moment.number("name") != moment.number("name")  # not a number


def test_is_asks_for_both_source_and_kind() -> None:
    moment = Moment(0.0, 0.0, "air", "beacon")
    assert moment.is_("air", "beacon")
    assert not moment.is_("air", "seeks")
    assert not moment.is_("probe", "beacon")
