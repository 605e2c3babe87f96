"""The PDF sheet, read by poppler's pdftotext and pdfinfo."""

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from hil.core.moments import Json
from hil.core.verdicts import Finding, Verdict
from hil.judge.results import CheckResult
from hil.sheet.write import write_outputs

if TYPE_CHECKING:
    from tests.sheet.conftest import Run

pytestmark = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler's tools are not installed")

TYPST_SOURCE = '#read("sheet.css") $x^2$ *bold* _i_ `raw` @ref <label> \\ #panic("x") "quoted" // no comment'


def written(run: "Run", into: Path) -> Path:
    """The PDF of a run."""
    return write_outputs(run.record, run.info, run.results, run.verdict, into).pdf


def page_text(pdf: Path, page: int) -> str:
    """One page's text, blanks made one."""
    command = ["pdftotext", "-layout", "-f", str(page), "-l", str(page), str(pdf), "-"]
    shown = subprocess.run(command, capture_output=True, check=True, timeout=30, encoding="utf-8")
    return re.sub(r"\s+", " ", shown.stdout)


def pages_of(pdf: Path) -> int:
    """How many pages."""
    shown = subprocess.run(["pdfinfo", str(pdf)], capture_output=True, check=True, timeout=30, encoding="utf-8")
    found = re.search(r"Pages:\s+(\d+)", shown.stdout)
    assert found
    assert re.search(r"Page size:\s+595\.\d+ x 841\.\d+ pts \(A4\)", shown.stdout)
    assert "CreationDate" not in shown.stdout
    return int(found[1])


def test_every_page_says_which_of_how_many_and_whose(mixed_run: "Run", tmp_path: Path) -> None:
    pdf = written(mixed_run, tmp_path)
    pages = pages_of(pdf)
    assert pages > 2
    for page in range(1, pages + 1):
        text = page_text(pdf, page)
        assert f"Page {page} of {pages}" in text
        assert "Sheet MV2-0418-00731-003" in text
        assert "Unit MV2-0418-00731" in text


def test_the_same_run_gives_the_same_bytes(mixed_run: "Run", tmp_path: Path) -> None:
    assert written(mixed_run, tmp_path / "one").read_bytes() == written(mixed_run, tmp_path / "two").read_bytes()


def test_another_reading_gives_other_bytes(mixed_run: "Run", passed_run: "Run", tmp_path: Path) -> None:
    assert written(mixed_run, tmp_path / "one").read_bytes() != written(passed_run, tmp_path / "two").read_bytes()


def test_the_first_page_of_a_passed_unit_says_all_from_verdict_to_signature(passed_run: "Run", tmp_path: Path) -> None:
    first = page_text(written(passed_run, tmp_path), 1)
    parts = ["PASS", "MV2-0418-00731", "3fa94c1b", "R. Okafor", "not stated", "All checks: 20 passed", "24.31 s ± 0.31 s",
             "Decision rule", "this unit only", "proposes: accept", "Signature"]  # fmt: skip
    assert [part for part in parts if part not in first] == []


def test_the_signature_of_a_failed_unit_is_on_the_first_page_too(mixed_run: "Run", tmp_path: Path) -> None:
    first = page_text(written(mixed_run, tmp_path), 1)
    assert "FAIL" in first
    assert "Signature" in first


def test_text_that_looks_like_source_is_set_as_text(mixed_run: "Run", tmp_path: Path) -> None:
    finding = Finding(Verdict.FAIL, TYPST_SOURCE, TYPST_SOURCE)
    bad = CheckResult("test_x", TYPST_SOURCE, ("wrong_network_key",), (), Verdict.FAIL, (finding,))
    facts: dict[str, dict[str, Json]] = {
        "unit": {"serial number": '#panic("x")'},
        TYPST_SOURCE: {TYPST_SOURCE: TYPST_SOURCE},
    }
    run = replace(mixed_run, results=(bad,), info=replace(mixed_run.info, facts=facts))
    pdf = written(run, tmp_path)
    text = " ".join(page_text(pdf, page) for page in range(1, pages_of(pdf) + 1))
    assert '#read("sheet.css") $x^2$ *bold* _i_' in text.replace("“", '"').replace("”", '"')
    assert '#panic("x")' in text


def test_a_word_longer_than_its_column_stays_on_the_page(mixed_run: "Run", tmp_path: Path) -> None:
    finding = Finding(Verdict.FAIL, "promise", "x" * 500)
    bad = CheckResult("test_" + "y" * 300, "z" * 300, ("wrong_network_key",), (), Verdict.FAIL, (finding,))
    pdf = written(replace(mixed_run, results=(bad,)), tmp_path)
    command = ["pdftotext", "-bbox", str(pdf), "-"]
    boxes = subprocess.run(command, capture_output=True, check=True, timeout=30, encoding="utf-8").stdout
    ends = [float(end) for end in re.findall(r'<word [^>]*xMax="([\d.]+)"', boxes)]
    assert max(ends) <= 595.3 - 40.0  # A4 in points, less the margin of 16 mm and a hair
