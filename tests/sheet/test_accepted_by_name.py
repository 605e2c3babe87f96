"""A finding that passed by its acceptance alone is said on the first page, in the statements and beside its check. Our rule."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from hil.core.verdicts import Finding, Verdict
from hil.judge.results import accepted_findings
from hil.sheet.front import accepted_by_name, verdict_sentence
from hil.sheet.write import write_outputs

if TYPE_CHECKING:
    from tests.sheet.conftest import Run

SAID = "TCP port 8080 is open, against a provision; accepted until 2027-03-31 by N. N.: pilot <series>"
ACCEPTED = Finding(Verdict.PASS, "port 8080 is closed", SAID, accepted="open_port_8080")


def test_nothing_accepted_is_said_as_that(passed_run: "Run") -> None:
    assert accepted_by_name(passed_run.results) == "No finding."
    assert "accepted" not in verdict_sentence(Verdict.PASS, passed_run.results, passed_run.info)


def test_an_accepted_finding_is_said_in_verdict_and_statements(passed_run: "Run") -> None:
    first, *others = passed_run.results
    results = (replace(first, findings=(*first.findings, ACCEPTED, ACCEPTED)), *others)
    assert accepted_by_name(results) == f"open_port_8080 ({first.title.rstrip('.')}): {SAID}."
    assert verdict_sentence(Verdict.PASS, results, passed_run.info).endswith("1 finding accepted by name.")


def test_the_same_finding_of_two_checks_is_one_finding_told_twice(passed_run: "Run") -> None:
    first, second, *others = passed_run.results
    results = tuple(replace(r, findings=(ACCEPTED,)) for r in (first, second)) + tuple(others)
    assert len(accepted_findings(results)) == 2
    assert "1 finding accepted by name" in verdict_sentence(Verdict.PASS, results, passed_run.info)


def test_it_stands_on_the_sheet_as_text(passed_run: "Run", tmp_path: Path) -> None:
    first, *others = passed_run.results
    results = (replace(first, findings=(ACCEPTED,)), *others)
    run = passed_run
    outputs = write_outputs(run.record, run.info, results, Verdict.PASS, tmp_path)
    html = outputs.html.read_text(encoding="utf-8")
    assert html.count("pilot &lt;series&gt;") >= 2  # in the statements, and beside the check
    assert "1 finding accepted by name." in html
