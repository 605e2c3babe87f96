"""The page of a challenge, parsed by html5lib as a browser would: what it says, and that hostile text stays text.

The series is made up by hand; what the page must say of it follows from the series alone.
"""

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest
from support.html_pages import HOSTILE, HTML, local_names, tree_of, words_of

from hil.core.moments import Json
from hil.core.verdicts import Verdict
from hil.judge.challenged import Challenged, Driven, over_runs
from hil.judge.signature import ExpectedVerdict, SeenReading, SeenVerdict, differences
from hil.sheet.challenge_page import Challenge, build_page, challenge_page

LATE, NAME, FINE, IDLE = (f"test_start.py::test_{name}" for name in ("late", "name", "fine", "idle"))
KEYS = "test_form.py::test_key"
TITLES = {LATE: "It is connected in time", NAME: "Its name is right", FINE: "It is fine", IDLE: "It idles"}
FACTS: dict[str, dict[str, Json]] = {
    "bench": {"name": "bench 3", "kind": "virtual", "slot": "1", "speed": 4.0, "sha256": "40a7f5e3188b" * 5 + "4444"},
    "product": {"name": "Mossgate MV-2", "model": "MV-2", "file": "mossgate-mv2.toml", "sha256": ""},
    "instruments": {"board": "virtual, firmware under micropython", "camera": "not said here"},
}
ABOVE = SeenReading("restart → connected", Verdict.FAIL, 13.18, 13.22, None, 12.0, "s")
NEVER = SeenReading("power on → hotspot", Verdict.FAIL, 24.0, None, None, 6.0, "s")
INSIDE = SeenReading("power on → lamp", Verdict.PASS, 0.4, 0.5, None, 1.0, "s")


def unit(name: str, verdict: Verdict, expected: tuple[ExpectedVerdict, ...], *seen: SeenVerdict) -> Challenged:
    """A unit of the series."""
    driven = Driven(
        f"{name}/run/20261125-141716-0c8d",
        "",
        "",
        "3fa94c1be07d5526",
        "0.1.0, sources a41c9e2b",
        None,
        90.0,
        ("start",),
    )
    return Challenged(
        name, not expected, verdict, f"What ails {name}.", expected, seen, differences(expected, seen), driven=driven
    )


GOOD = unit("good", Verdict.PASS, (), SeenVerdict(LATE, Verdict.PASS), SeenVerdict(NAME, Verdict.PASS))
CONNECTED_LATE = unit(
    "connected_late",
    Verdict.FAIL,
    (ExpectedVerdict(LATE, Verdict.FAIL, reading="above"),),
    SeenVerdict(LATE, Verdict.FAIL, "late", (ABOVE, INSIDE, NEVER)),
    SeenVerdict(FINE, Verdict.PASS),
)
NAMELESS = unit(
    "nameless",
    Verdict.FAIL,
    (ExpectedVerdict(NAME, Verdict.FAIL, says="heard 'x'"), ExpectedVerdict("test_form.py::*", Verdict.NOT_REACHED)),
    SeenVerdict(NAME, Verdict.FAIL, "name: heard 'x', 3 times"),
    SeenVerdict(f"{KEYS}[long]", Verdict.NOT_REACHED, "no route"),
    SeenVerdict(f"{KEYS}[short]", Verdict.NOT_REACHED, "no route"),
    SeenVerdict(f"{KEYS}[odd]", Verdict.NOT_REACHED, "no route"),
    SeenVerdict(f"{KEYS}[empty]", Verdict.NOT_REACHED, "no route"),
)
UNNOTICED = unit("unnoticed", Verdict.PASS, (ExpectedVerdict(FINE, Verdict.FAIL),), SeenVerdict(FINE, Verdict.PASS))
SERIES = Challenge(
    number="challenge-20261125-141700-9d31",
    began="2026-11-25T14:17:00+00:00",
    ended="2026-11-25T14:55:31+00:00",
    part="",
    profile="quick",
    units=(GOOD, CONNECTED_LATE, NAMELESS),
    asked=3,
    all_units=True,
    titles=TITLES,
    facts=FACTS,
)


def parsed(series: Challenge) -> ET.Element:
    """Its page as a tree."""
    return tree_of(challenge_page(series))


@pytest.mark.parametrize(
    "said",
    [
        "challenge-20261125-141700-9d31",
        "2 of 2 known-bad units caught by the checks meant for them, 0 missed, 0 false alarms in 1 golden run.",
        "The bench is virtual",
        "2026-11-25 14:17:00 UTC",
        "2026-11-25 14:55:31 UTC",
        "0.1.0, sources a41c9e2b",
        "40a7f5e3188b…",
        "virtual, firmware under micropython",
        "3 of 3 with a result, in 3 runs",
        "connected_late What ails connected_late.",
        "test_start.py:: test_late",
        "It is connected in time",
        "fail, above its limit",
        "fail: 13.20 ± 0.02 s",
        "limits ≤ 12 s",
        "fail: > 24.0 s",
        "fail, saying “heard 'x'”",
        "fail: name: heard 'x', 3 times",
        "All 4 checks of test_form.py",
        "4 not reached",
        "build 3fa94c1be07d; 2 checks: 1 pass, 1 fail; legs start",
        "20261125-141716-0c8d",
    ],
)
def test_what_it_says(said: str) -> None:
    assert said in words_of(parsed(SERIES))


def test_sums_and_bounds() -> None:
    """The closed form for no event: 1 - 0.05^(1/n), in per cent rounded up to a tenth."""
    rows = {row.what: (row.count, row.of, row.bound) for row in build_page(SERIES).sums}
    assert rows == {
        "Known-bad units caught as intended: by every check meant for them": (2, "2", ""),
        "Known-bad units caught in part: by some of the checks meant for them": (0, "2", ""),
        "Known-bad units caught by another check only": (0, "2", ""),
        "Known-bad units missed: the bench passed them": (0, "2", "77.7 %"),
        "False alarms: golden units that the bench failed": (0, "1", "95.0 %"),
        "Checks that failed with no fault before them, over all units": (0, "3", "63.2 %"),
    }


def test_a_reading_that_passed_is_not_shown_as_what_caught() -> None:
    (late, _) = build_page(SERIES).bad
    assert [(row.seen, row.limits, bool(row.bar)) for row in late.checks] == [
        ("fail: 13.20 ± 0.02 s", "limits ≤ 12 s", True),
        ("fail: > 24.0 s", "limits ≤ 6 s", True),
    ]
    assert [bool(row.title) for row in late.checks] == [True, False]


def test_few_checks_of_a_group_are_shown_singly() -> None:
    seen = NAMELESS.seen[:3]
    few = replace(NAMELESS, seen=seen, differences=differences(NAMELESS.expected, seen))
    (view,) = build_page(replace(SERIES, units=(few,), asked=1)).bad
    assert [(row.name[1], row.seen) for row in view.checks[1:]] == [
        ("test_key[long]", "not reached: no route"),
        ("test_key[short]", "not reached: no route"),
    ]


@pytest.mark.parametrize(
    ("series", "word"),
    [
        (SERIES, "as expected"),
        (replace(SERIES, units=(*SERIES.units, UNNOTICED), asked=4), "not as expected"),
        (replace(SERIES, asked=4), "not complete"),
        (replace(SERIES, units=(UNNOTICED,), asked=4), "not as expected"),
        (replace(SERIES, units=(replace(GOOD, verdict=Verdict.UNJUDGED),), asked=1), "undecided"),
        (replace(SERIES, units=(replace(GOOD, trouble="killed"),), asked=1), "not complete"),
        (replace(SERIES, units=(), asked=3), "not complete"),
    ],
)
def test_the_word_on_top(series: Challenge, word: str) -> None:
    assert build_page(series).mark.word == word
    assert word in words_of(parsed(series))


def test_a_missed_unit_is_told_with_what_it_should_have_come_to() -> None:
    page = build_page(replace(SERIES, units=(UNNOTICED,), asked=1))
    (view,) = page.bad
    assert (view.mark.word, view.expected, view.seen) == ("missed", "fail", "pass")
    assert [(row.seen, row.came) for row in view.checks] == [("pass", False)]
    assert view.differences == ()


def test_a_check_that_failed_besides_is_told() -> None:
    seen = (*CONNECTED_LATE.seen[:1], SeenVerdict(FINE, Verdict.FAIL, "it wobbles"))
    more = replace(CONNECTED_LATE, seen=seen, differences=differences(CONNECTED_LATE.expected, seen))
    (view,) = build_page(replace(SERIES, units=(more,), asked=1)).bad
    assert view.mark.word == "caught, and more"
    assert view.differences == (f"extra: {FINE} fail: it wobbles",)


@pytest.mark.parametrize(
    ("reason", "shown"),
    [
        ("heard 'x'", "fail: heard 'x'"),
        (f"heard 'x' {'a ' * 150}", f"fail: heard 'x' {'a ' * 95}…"),  # 200 characters, and that there are more
        (f"{'a ' * 150}heard 'x' again", f"fail: … {'a ' * 50}heard 'x' again"),  # 100 before what it had to say
    ],
)
def test_what_a_check_had_to_say_is_shown_wherever_it_stands(reason: str, shown: str) -> None:
    seen = (SeenVerdict(NAME, Verdict.FAIL, reason),)
    long = replace(NAMELESS, seen=seen, differences=differences(NAMELESS.expected, seen))
    (view,) = build_page(replace(SERIES, units=(long,), asked=1)).bad
    assert view.checks[0].seen == shown


def test_a_unit_of_several_runs_is_told_with_its_share_and_all_its_sheets() -> None:
    """Share: scipy.stats.binomtest(1, 3).proportion_ci() is 0.0084 … 0.9057."""
    passed = replace(
        unit("x", Verdict.PASS, CONNECTED_LATE.expected, SeenVerdict(LATE, Verdict.PASS)),
        differences=(),
        driven=replace(CONNECTED_LATE.driven, folder="connected_late-2/run/20261125-141810-77aa"),
    )
    whole = over_runs([passed, CONNECTED_LATE, passed])
    series = replace(SERIES, units=(whole,), asked=1)
    words = words_of(parsed(series))
    assert "3 runs; caught in 1 of 3: 0.8 to 90.6 % of its runs, at 95 %; 4.5 min of unit time" in words
    assert words.index("sheets 20261125-141810-77aa") < words.index("20261125-141716-0c8d")
    assert words.count("20261125-141810-77aa") == 2
    assert "fail: 13.20 ± 0.02 s" in words
    assert build_page(series).mark.word == "as expected"


def test_a_brief_series_says_so_and_tells_no_check_that_never_caught() -> None:
    page = build_page(replace(SERIES, brief=True))
    assert page.never == ()
    assert "the legs of the first check meant for each" in words_of(parsed(replace(SERIES, brief=True)))


def test_that_more_than_stated_failed_is_said_on_top() -> None:
    seen = (*CONNECTED_LATE.seen[:1], SeenVerdict(FINE, Verdict.FAIL, "it wobbles"))
    more = replace(CONNECTED_LATE, seen=seen, differences=differences(CONNECTED_LATE.expected, seen))
    sentence = build_page(replace(SERIES, units=(more,), asked=1)).sentence
    assert "1 of these by others too" in sentence


def test_what_is_not_as_expected_stands_first() -> None:
    words = words_of(parsed(replace(SERIES, units=(*SERIES.units, UNNOTICED), asked=4)))
    assert words.index("Not as expected") < words.index("unnoticed") < words.index("How to read it")
    assert "Not as expected" not in words_of(parsed(SERIES))


def test_checks_that_never_caught_are_told_when_all_units_were_driven() -> None:
    page = build_page(SERIES)
    assert page.never == (("It is fine", "test_start.py", "test_fine"), ("It idles", "test_start.py", "test_idle"))
    assert "2 checks failed on no known-bad unit as stated" in page.never_note
    for part in (replace(SERIES, all_units=False, part="1/3"), replace(SERIES, asked=4)):
        page = build_page(part)
        assert page.never == ()
        assert page.never_note.startswith("Not told")


@pytest.mark.parametrize(
    ("series", "said"),
    [
        (replace(SERIES, asked=4), "did not come to its end"),
        (replace(SERIES, all_units=False, part="2/3"), "part 2/3 of them"),
        (
            replace(SERIES, units=(GOOD, replace(NAMELESS, driven=replace(NAMELESS.driven, tool_revision="0.2.0")))),
            "The tool was changed while the series ran",
        ),
    ],
)
def test_what_weakens_it_stands_on_top(series: Challenge, said: str) -> None:
    assert said in " ".join(build_page(series).notices)
    assert said not in " ".join(build_page(SERIES).notices)


@pytest.fixture
def hostile() -> Challenge:
    """A series in which every text is hostile."""
    seen = (
        SeenVerdict(HOSTILE, Verdict.FAIL, HOSTILE, (replace(ABOVE, promised=HOSTILE, unit=HOSTILE, because=HOSTILE),)),
        SeenVerdict(f"{HOSTILE}2", Verdict.UNJUDGED, HOSTILE),
    )
    expected = (
        ExpectedVerdict(HOSTILE, Verdict.FAIL, "above", HOSTILE),
        ExpectedVerdict(f"{HOSTILE}::*", Verdict.FAIL, says=HOSTILE),
    )
    bad = replace(
        unit(HOSTILE, Verdict.FAIL, expected, *seen),
        trouble=HOSTILE,
        driven=Driven(HOSTILE, HOSTILE, HOSTILE, HOSTILE, HOSTILE, None, 1.0, (HOSTILE,)),
    )
    facts: dict[str, dict[str, Json]] = {name: dict.fromkeys(rows, HOSTILE) for name, rows in FACTS.items()}
    return Challenge(HOSTILE, HOSTILE, HOSTILE, HOSTILE, HOSTILE, (bad, GOOD), 2, False, {HOSTILE: HOSTILE}, facts)


def test_hostile_text_makes_no_element_and_no_attribute(hostile: Challenge) -> None:
    tree = parsed(hostile)
    assert set(local_names(tree)) <= set(local_names(parsed(SERIES))) | {"li", "ul"}
    attributes = {str(key).rpartition("}")[2] for element in tree.iter() for key in element.attrib}
    assert not [key for key in attributes if key.startswith("on") or key in ("src", "srcdoc", "action")]
    words = words_of(tree)
    assert "<script>alert(1)</script>" in words  # shown, as text
    assert "{{ 7*7 }}" in words
    assert r"\x1b[2J\x07\u202e" in words
    assert not set(challenge_page(hostile)) & {"\x1b", "\x07", "\u202e"}


def test_it_needs_nothing_else_and_links_to_sheets_beside_it(hostile: Challenge) -> None:
    for series in (SERIES, hostile):
        tree = parsed(series)
        assert "script" not in set(local_names(tree))
        hrefs = [value for element in tree.iter() for key, value in element.attrib.items() if str(key).endswith("href")]
        places = {f"#{element.attrib['id']}" for element in tree.iter() if "id" in element.attrib}
        links = set(hrefs) - places
        assert links
        assert all(re.fullmatch(r"[\w./%-]+/sheet\.html", link) for link in links)  # relative, and no scheme
        style = next(element.text or "" for element in tree.iter(f"{HTML}style"))
        assert "url(" not in style
        assert "@import" not in style
