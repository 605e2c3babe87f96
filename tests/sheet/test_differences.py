"""The first difference of a failed check from the last passed run: told on the HTML sheet and on the PDF, with its run."""

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from support.html_pages import HOSTILE, local_names, tree_of, words_of

from hil.core.moments import Moment
from hil.core.run_folder import RunInfo
from hil.sheet.differences import NO_STEP, NONE_TOLD, PassedRun
from hil.sheet.write import Outputs, write_outputs

if TYPE_CHECKING:
    from tests.sheet.conftest import Run

TOLD = (
    "+27.2 s: no joining of the hotspot by the probe; in the passed run 5.3 s after the hotspot silent In leg wrong network "
    "key, take 1; seconds since it began. The passed run: sheet MV2-0418-00731-002 of 2026-03-13 17:02:10 +01:00, take 1 of "
    "that leg."
)


def passed(run: "Run", *more: Moment, number: str = "MV2-0418-00731-002") -> PassedRun:
    """A run like another, the evening before, in which more was seen."""
    info: RunInfo = replace(run.info, sheet_number=number, began="2026-03-13T17:02:10+01:00")
    moments = tuple(sorted((*run.moments, *more), key=lambda m: m.time_s))
    return PassedRun(info, lambda: replace(run, info=info, moments=moments).record)


def written(run: "Run", into: Path, *runs: PassedRun) -> Outputs:
    """The sheet of a run beside runs that passed."""
    return write_outputs(run.record, run.info, run.results, run.verdict, into, runs)


def words(outputs: Outputs) -> str:
    return words_of(tree_of(outputs.html.read_text(encoding="utf-8")))


JOINED = Moment(205.2, 0.05, "probe", "joined")


def test_the_sheet_says_what_differed_first_and_from_which_run(mixed_run: "Run", tmp_path: Path) -> None:
    outputs = written(mixed_run, tmp_path, passed(mixed_run, JOINED))
    assert TOLD in words(outputs)
    assert "more than 1 s and 5 % of its time out of time, beyond both doubts. No verdict rests on it." in words(
        outputs
    )
    if shutil.which("pdftotext"):
        command = ["pdftotext", str(outputs.pdf), "-"]
        shown = subprocess.run(command, capture_output=True, check=True, timeout=30, encoding="utf-8").stdout
        assert TOLD in re.sub(r"[\s\u200b]+", " ", shown)


def test_no_verdict_rests_on_it(mixed_run: "Run", tmp_path: Path) -> None:
    alone = written(mixed_run, tmp_path / "alone")
    beside = written(mixed_run, tmp_path / "beside", passed(mixed_run, JOINED))
    assert alone.junit.read_bytes() == beside.junit.read_bytes()


def test_a_leg_that_went_as_in_the_passed_run_says_so(mixed_run: "Run", tmp_path: Path) -> None:
    assert f"First difference {NO_STEP}" in words(written(mixed_run, tmp_path, passed(mixed_run)))


def test_without_a_passed_run_the_sheet_says_that_there_was_none(mixed_run: "Run", tmp_path: Path) -> None:
    said = words(written(mixed_run, tmp_path))
    assert NONE_TOLD in said
    assert "First difference" not in said


def test_a_sheet_without_failures_says_nothing_of_it(passed_run: "Run", tmp_path: Path) -> None:
    said = words(written(passed_run, tmp_path))
    assert NONE_TOLD not in said
    assert "First difference" not in said


def test_the_newest_run_that_drove_the_leg_is_taken(mixed_run: "Run", tmp_path: Path) -> None:
    newest = passed(mixed_run, number="without-the-leg")
    newest.info.legs = [leg for leg in newest.info.legs if leg.name != "wrong_network_key"]
    said = words(written(mixed_run, tmp_path, newest, passed(mixed_run, JOINED), passed(mixed_run, number="older")))
    assert TOLD in said
    assert "without-the-leg" not in said


def test_the_passed_run_is_read_only_where_a_check_failed_in_a_leg_of_it(passed_run: "Run", tmp_path: Path) -> None:
    def refuse() -> None:
        pytest.fail("the record was read")

    written(passed_run, tmp_path, PassedRun(passed_run.info, refuse))  # type: ignore[arg-type]


def test_hostile_names_of_another_run_stay_text(mixed_run: "Run", tmp_path: Path) -> None:
    outputs = written(mixed_run, tmp_path, passed(mixed_run, JOINED, number=HOSTILE))
    tree = tree_of(outputs.html.read_text(encoding="utf-8"))
    assert not set(local_names(tree)) & {"script", "img", "iframe"}
    assert "<script>alert(1)</script>" in words_of(tree)
