"""Whole outputs of whole runs, and of runs that left little."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from hil.core.run_folder import RunFolder, RunInfo
from hil.core.verdicts import Verdict
from hil.drive.recorded import read_record
from hil.sheet.write import write_outputs

if TYPE_CHECKING:
    from tests.sheet.conftest import Run


def texts(run: "Run", into: Path, **changes: bool | str) -> str:
    """The HTML of a run whose record is changed."""
    info = replace(run.info)
    for name, value in changes.items():
        setattr(info, name, value)
    outputs = write_outputs(replace(run, info=info).record, info, run.results, run.verdict, into)
    return outputs.html.read_text(encoding="utf-8")


def test_a_folder_that_is_not_there_is_made(mixed_run: "Run", tmp_path: Path) -> None:
    run, into = mixed_run, tmp_path / "a" / "b"
    outputs = write_outputs(run.record, run.info, run.results, run.verdict, into)
    assert outputs.html == into / "sheet.html"
    assert outputs.pdf.read_bytes().startswith(b"%PDF-")
    assert outputs.junit.read_bytes().startswith(b"<?xml")


def test_a_run_that_left_nothing_has_a_sheet(mixed_run: "Run", tmp_path: Path) -> None:
    info = RunInfo("none-1", "", "", [], partial=False)
    record = read_record(RunFolder(tmp_path / "no"), info, mixed_run.product)
    outputs = write_outputs(record, info, (), Verdict.UNJUDGED, tmp_path)
    html = outputs.html.read_text(encoding="utf-8")
    assert "nothing was judged" in html
    assert "did not come to its end" in html
    assert html.count("not stated") >= 8
    assert outputs.pdf.stat().st_size > 5000


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (
            {"broken": "power: the supply does not obey"},
            "The bench broke during this run: power: the supply does not obey",
        ),
        ({"complete": False}, "did not come to its end"),
        ({"partial": True}, "opens no gate"),
    ],
)
def test_what_limits_a_sheet_stands_on_its_first_page(
    mixed_run: "Run", tmp_path: Path, changes: dict[str, bool | str], said: str
) -> None:
    assert said in texts(mixed_run, tmp_path, **changes)
    assert said not in texts(mixed_run, tmp_path)


def test_a_pass_of_a_part_is_not_proposed_for_acceptance(passed_run: "Run", tmp_path: Path) -> None:
    assert "The verdict proposes: <b>accept</b>" in texts(passed_run, tmp_path)
    assert "The verdict proposes: <b>hold, and test again</b>" in texts(passed_run, tmp_path, partial=True)
