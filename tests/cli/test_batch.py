"""`hil accept --batch`: what is asked, refused and left, with recorded runs in place of new ones.

The bounds on the page are held against scipy's own exact interval.
"""

import io
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest
from scipy.stats import binomtest
from support.html_pages import tree_of, words_of
from support.runs import hil

from hil.cli.batch import BatchSession
from hil.core.labels import read_labels
from hil.core.run_folder import RunFolder

LABELS = "serial_number,address,hotspot_key\n" + "".join(
    f"MV2-{n},02:4d:56:00:a7:3{n},leafandstem{n}\n" for n in range(5)
)


class Runs:
    """In place of runs: copies of recorded ones, with the verdict and the failed check that a test wants."""

    def __init__(self, recorded: Path) -> None:
        self._recorded = recorded
        self.commands: list[Sequence[str]] = []
        self.verdicts: dict[str, list[str]] = {}

    def __call__(self, command: Sequence[str], **_more: object) -> "subprocess.CompletedProcess[bytes]":
        self.commands.append(command)
        serial_number, reports = command[command.index("--unit") + 1], Path(command[command.index("--reports") + 1])
        verdict = self.verdicts[serial_number].pop(0)
        if verdict == "wrong input":
            return subprocess.CompletedProcess(command, 2)
        folder = RunFolder(reports / f"run-{len(self.commands)}")
        folder.path.mkdir()
        for name in ("run.json", "sheet.pdf", "sheet.html", "readings.json"):
            shutil.copyfile(self._recorded / name, folder.path / name)
        info = folder.read_info()
        info.verdict = verdict
        folder.write_info(info)
        kept = folder.path / "readings.json"
        if verdict == "fail":  # the first check of all
            kept.write_text(
                kept.read_text(encoding="utf-8").replace('"verdict":"pass"', '"verdict":"fail"', 2), encoding="utf-8"
            )
        return subprocess.CompletedProcess(command, {"pass": 0, "fail": 1, "unjudged": 3}[verdict])


@pytest.fixture
def runs(quick_run: Path, monkeypatch: pytest.MonkeyPatch) -> Runs:
    made = Runs(quick_run)
    monkeypatch.setattr("hil.cli.batch.subprocess.run", made)
    return made


def batch(folder: Path, typed: Sequence[str], monkeypatch: pytest.MonkeyPatch) -> int:
    (folder / "labels.csv").write_text(LABELS, encoding="utf-8")
    place = folder / "batch-1"
    place.mkdir()
    monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in typed)))
    return BatchSession(place, read_labels(folder / "labels.csv"), ["--profile", "quick"]).run()


def test_each_unit_is_judged_once_and_has_its_sheet_and_its_line(
    runs: Runs, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    runs.verdicts = {"MV2-0": ["pass"], "MV2-1": ["fail"], "MV2-2": ["unjudged", "pass"], "MV2-3": ["pass"]}
    typed = ["MV2-0", "MV2-0", "MV2-9", "MV2-1", "MV2-1", "MV2-2", "MV2-2", "MV2-3", ""]
    assert batch(tmp_path, typed, monkeypatch) == 1
    said = capfd.readouterr().out
    for told in (
        "MV2-0 has been judged in this batch already: pass",
        "MV2-9 is not on the list",
        "MV2-1 has been judged",
    ):
        assert told in said
    assert "4 units: 3 passed (2 in the first run), 1 failed, 0 undecided." in said
    assert "failed in 1 unit: " in said
    assert len(runs.commands) == 5
    assert all(command[command.index("accept") :][1:3] == ["--profile", "quick"] for command in runs.commands)
    place = tmp_path / "batch-1"
    assert sorted(path.name for path in place.glob("*.pdf")) == [
        "MV2-0.pdf",
        "MV2-1.pdf",
        "MV2-2-2.pdf",
        "MV2-2.pdf",
        "MV2-3.pdf",
    ]
    words = words_of(tree_of((place / "batch.html").read_text(encoding="utf-8")))
    exact = binomtest(3, 4).proportion_ci(0.95, "exact")
    assert f"3 of 4, 75% (between {exact.low:.0%} and {exact.high:.0%})" in words
    assert "run 2 of 2" in words


def test_the_page_is_there_after_the_first_unit_and_wrong_input_ends_the_batch(
    runs: Runs, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    runs.verdicts = {"MV2-0": ["pass"], "MV2-1": ["wrong input"]}
    assert batch(tmp_path, ["MV2-0", "MV2-1", "MV2-2"], monkeypatch) == 2
    assert "1 of 1 unit passed" in words_of(tree_of((tmp_path / "batch-1" / "batch.html").read_text(encoding="utf-8")))


def test_a_batch_of_none_passes_nothing(runs: Runs, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert batch(tmp_path, [], monkeypatch) == 3
    assert runs.commands == []


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "--batch: the units' labels are not given"),
        (("--labels", "no.csv"), "no.csv: there is no such list"),
        (("--labels", "labels.csv", "-k", "lamp"), "takes neither --unit nor --leg"),
    ],
)
def test_a_batch_that_cannot_be_is_wrong_input(tmp_path: Path, words: tuple[str, ...], told: str) -> None:
    (tmp_path / "labels.csv").write_text(LABELS, encoding="utf-8")
    ended = hil("accept", "--batch", *words, cwd=tmp_path)
    assert ended.code == 2
    assert told in ended.err
    assert not ended.reports.exists()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--unit", "MV2-9"), "'MV2-9' is not on the list labels.csv"),
        ((), "which of its units is in the slot is not said"),
    ],
)
def test_a_unit_that_is_not_on_the_list_is_wrong_input(tmp_path: Path, words: tuple[str, ...], told: str) -> None:
    (tmp_path / "labels.csv").write_text(LABELS, encoding="utf-8")
    ended = hil("accept", "--labels", "labels.csv", *words, cwd=tmp_path)
    assert ended.code == 2
    assert told in ended.err
