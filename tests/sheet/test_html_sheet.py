"""The HTML sheet, parsed by html5lib as a browser would: what it says, and that hostile text stays text."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import pytest
from support.html_pages import HOSTILE, HTML, local_names, tree_of, words_of

from hil.core.moments import Json, Moment
from hil.core.verdicts import Finding, Verdict
from hil.judge.results import CheckResult
from hil.sheet.write import write_outputs

if TYPE_CHECKING:
    from tests.sheet.conftest import Run


def parsed(run: "Run", into: Path) -> ET.Element:
    """The sheet of a run as a tree."""
    outputs = write_outputs(run.record, run.info, run.results, run.verdict, into)
    return tree_of(outputs.html.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def mixed_words(mixed_run: "Run", tmp_path_factory: pytest.TempPathFactory) -> str:
    """All text of the mixed run's sheet."""
    return words_of(parsed(mixed_run, tmp_path_factory.mktemp("words")))


@pytest.fixture
def hostile_run(mixed_run: "Run") -> "Run":
    """A run in which everything a unit or a file may say is hostile."""
    finding = Finding(Verdict.FAIL, HOSTILE, HOSTILE, at_s=209.8)
    bad = CheckResult(HOSTILE, HOSTILE, (HOSTILE,), (HOSTILE,), Verdict.FAIL, (finding,), reason=HOSTILE)
    facts: dict[str, dict[str, Json]] = {HOSTILE: {HOSTILE: HOSTILE}, "canaries": {HOSTILE: "innocent"}}
    facts |= {
        section: dict.fromkeys(rows, HOSTILE) | {HOSTILE: [HOSTILE, {HOSTILE: HOSTILE}]}
        for section, rows in mixed_run.info.facts.items()
        if section != "canaries"
    }
    legs = [replace(leg, name=HOSTILE, begins=HOSTILE, confirmed=HOSTILE) for leg in mixed_run.info.legs]
    info = replace(
        mixed_run.info,
        sheet_number=HOSTILE,
        began=HOSTILE,
        tool_version=HOSTILE,
        broken=HOSTILE,
        facts=facts,
        legs=legs,
    )
    console = Moment(209.9, 0.1, "console", "line", {"text": HOSTILE})
    others = [Moment(100.0, 0.1, source, HOSTILE, {"name": HOSTILE}) for source in ("air", "probe", HOSTILE)]
    moments = (*mixed_run.moments, *others, console)
    return replace(mixed_run, info=info, moments=moments, results=(*mixed_run.results, bad))


def test_hostile_text_makes_no_element_and_no_attribute(hostile_run: "Run", mixed_run: "Run", tmp_path: Path) -> None:
    tree = parsed(hostile_run, tmp_path)
    names = set(local_names(tree))
    assert not names & {"script", "img", "iframe", "object", "embed", "link", "form", "a"}
    assert names <= set(local_names(parsed(mixed_run, tmp_path)))
    attributes = {str(key).rpartition("}")[2] for element in tree.iter() for key in element.attrib}
    assert not [key for key in attributes if key.startswith("on") or key in ("src", "srcdoc", "action")]
    words = words_of(tree)
    assert "<script>alert(1)</script>" in words  # shown, as text
    assert "{{ 7*7 }}" in words


def test_terminal_escapes_and_bidi_marks_are_shown_not_kept(hostile_run: "Run", tmp_path: Path) -> None:
    words = words_of(parsed(hostile_run, tmp_path))
    assert r"\x1b[2J\x07\u202e" in words
    assert not set(words) & {"\x1b", "\x07", "\u202e"}


def test_the_sheet_needs_nothing_else(mixed_run: "Run", tmp_path: Path) -> None:
    tree = parsed(mixed_run, tmp_path)
    links = [value for element in tree.iter() for key, value in element.attrib.items() if str(key).endswith("href")]
    assert links
    assert all(value.startswith("data:image/png;base64,") for value in links)
    style = next(element.text or "" for element in tree.iter(f"{HTML}style"))
    assert "url(" not in style
    assert "@import" not in style


@pytest.mark.parametrize(
    "said",
    [
        "MV2-0418-00731-003",  # sheet number
        "PO-11872",
        "Lot 0418",
        "Mossgate MV-2",
        "Hardware revision C",
        "MV2-0418-00731",
        "02:4d:56:00:a7:31",
        "3fa94c1b e07d5526 a8e10b9c d4417f62 58b3de90 417ac2ef 6d05b881 3e5f7a04",  # the whole digest of the build
        "2.4.1, read on the status page",
        "mossgate-mv2.toml",
        "40a7f5e3188b…",  # the product file's, short
        "bench 3, room B",
        "0.1.0 (a41c9e2)",
        "R. Okafor",
        "2026-03-14 09:12:31 +01:00",
        "2026-03-14 09:13:58 +01:00",
        "Supply 5.0 V",
        "Ambient not stated",
        "control network heard throughout but 203.4 to 207.9 s",
        "ILAC-G8:09/2019",
        "Saved network absent (2 takes)",
        "Accepted by name No finding.",
        "1 check not applicable",
        "This sheet speaks of this unit only.",
        "The verdict proposes: reject",
        "Signature",
        "White balance fixed",  # a section nobody foresaw
        "1 of 24 checks failed, 2 unjudged, 1 not reached.",
    ],
)
def test_what_a_quality_engineer_looks_for_is_said(mixed_words: str, said: str) -> None:
    assert said in mixed_words


def test_a_reading_stands_with_requirement_limits_value_doubt_and_witness(mixed_words: str) -> None:
    begin = mixed_words.index("The unit gives up joining in time Witness: air.")
    row = "the unit gives up joining in time 22.5 … 25.5 s 24.31 s ± 0.31 s"
    assert row in mixed_words[begin : begin + 200]


def test_a_failed_finding_is_told_with_moment_still_and_console(mixed_words: str) -> None:
    part = mixed_words[mixed_words.index("Appendix B. Failed") : mixed_words.index("Appendix C. What")]
    assert "Expected save to restart, wrong key: ≤ 30 s" in part
    assert "209.80 s: 31.80 s into leg 6, wrong network key, take 1" in part
    assert "Lamp at 209.82 s" in part
    assert "I (208200) vent" in part  # 1.6 s before
    assert "I (207400) vent" not in part  # 2.4 s before one finding, 6.1 s after the other


def test_secrets_are_shown_by_name_only(mixed_run: "Run", tmp_path: Path) -> None:
    trial: dict[str, Json] = {"network": "bench-77", "network_key": "trialnetkey0042", "control_network": "control-9f2",
             "values": {"network": "bench-77", "reports_key": "trialreportkey7"}, "secret_names": ["reports_key"]}  # fmt: skip
    told = Moment(209.5, 0.1, "console", "line", {"text": "key is trialnetkey0042, trialreportkey7"})
    info = replace(mixed_run.info, facts=mixed_run.info.facts | {"trial": trial})
    run = replace(mixed_run, info=info, moments=(*mixed_run.moments, told))
    outputs = write_outputs(run.record, run.info, run.results, run.verdict, tmp_path)
    html = outputs.html.read_text(encoding="utf-8")
    for secret in ("zk3v9q0canary77", "pp41x8canary90", "label-key-731", "trialnetkey0042", "trialreportkey7"):
        assert secret not in html
        assert secret not in outputs.junit.read_text(encoding="utf-8")
    assert "key is [canary: network key], [canary: reports key]" in html
    assert "bench-77" in html


def test_a_passed_sheet_shows_its_nearest_readings_on_the_first_page(passed_run: "Run", tmp_path: Path) -> None:
    words = words_of(parsed(passed_run, tmp_path))
    first = words[: words.index("Appendix A. Results")]
    assert "PASS" in first.upper()
    nearest = first[first.index("Readings nearest") :]
    assert nearest.index("gives up joining") < nearest.index("when the network is absent")  # 3 % before 4 %
    assert "Checks that did not pass" not in first
