"""`hil accept --batch`: one unit after another, each judged by a run of its own; a sheet each, and a page of them all."""

import shutil
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

import typer

from hil.cli.challenge_plan import suite_checks
from hil.core.bench_file import Label
from hil.core.errors import BenchError
from hil.core.moments import Json
from hil.core.run_folder import RunFolder, RunInfo
from hil.core.text import count, printable
from hil.core.verdicts import EXIT_CODES, EXIT_INTERRUPTED, EXIT_WRONG_INPUT, Verdict
from hil.drive.facts import now_text
from hil.judge.batch import UnitRun, batch_verdict, failures_by_check, runs_of, sums_of, why_not_again
from hil.judge.kept import KEPT_FILE, from_json
from hil.sheet.batch_page import Batch, batch_page

PAGE = "batch.html"


class BatchSession:
    """A batch in a folder; its page is written anew after each unit, so that nothing is lost."""

    def __init__(self, folder: Path, labels: Mapping[str, Label], options: Sequence[str]) -> None:
        """Begin with no unit; `options` are those of `hil accept` for every run."""
        self._folder, self._labels, self._options = folder, labels, options
        self._began, self._facts = now_text(), dict[str, dict[str, Json]]()
        self._runs: list[UnitRun] = []
        self._titles = {check.name: check.title for check in suite_checks()}

    def run(self) -> int:
        """Ask for units until there are no more; the exit code."""
        while True:
            serial_number = self._next()
            if not serial_number:
                break
            code = self._judge(serial_number)
            if code in (EXIT_WRONG_INPUT, EXIT_INTERRUPTED):  # has been said
                return code
        self._say_end()
        return EXIT_CODES[batch_verdict(self._runs)]

    def _next(self) -> str:
        """The serial number of the next unit, as it is typed or scanned; empty at the end."""
        while True:
            tried = sums_of(self._runs).units
            typer.echo(
                f"\nUnit {tried + 1}: put it into the slot and scan its serial number (Enter alone ends the batch): ",
                nl=False,
            )
            line = sys.stdin.readline()
            typed = line.strip()
            if not typed:
                typer.echo()
                return ""
            refused = why_not_again(self._runs, typed) if typed in self._labels else "is not on the list of labels"
            if not refused:
                return typed
            typer.echo(f"{printable(typed)} {refused}.")

    def _judge(self, serial_number: str) -> int:
        before = set(self._folder.iterdir())
        words = ["accept", *self._options, "--unit", serial_number, "--reports", str(self._folder)]
        command = [sys.executable, "-W", "ignore", "-c", "from hil.cli.main import main; main()", *words]
        code = subprocess.run(command, stdin=subprocess.DEVNULL, check=False).returncode
        made = next(
            (path for path in self._folder.iterdir() if path not in before and (path / "run.json").exists()), None
        )
        if made is not None:
            info = RunFolder(made).read_info()
            self._facts = info.facts
            self._runs.append(_run_of(serial_number, made, info))
            self._keep_sheet(serial_number, made)
            self._write_page()
        elif code not in (EXIT_WRONG_INPUT, EXIT_INTERRUPTED):
            typer.echo(f"{printable(serial_number)}: the run left no record; test the unit again.")
        return code

    def _keep_sheet(self, serial_number: str, run: Path) -> None:
        """Put the sheet beside the page under the unit's own name."""
        number = len(runs_of(self._runs, serial_number))
        name = serial_number if number == 1 else f"{serial_number}-{number}"
        if (run / "sheet.pdf").exists():
            shutil.copyfile(run / "sheet.pdf", self._folder / f"{name}.pdf")

    def _write_page(self) -> None:
        batch = Batch(self._folder.name, self._began, now_text(), tuple(self._runs), self._titles, self._facts)
        new = self._folder / f"{PAGE}.new"
        try:
            new.write_text(batch_page(batch), encoding="utf-8")
            new.replace(self._folder / PAGE)
        except OSError as error:
            raise BenchError(
                str(self._folder / PAGE), f"it cannot be written: {error}.", "Make room on the disk."
            ) from error

    def _say_end(self) -> None:
        sums = sums_of(self._runs)
        if not sums.units:
            typer.echo("No unit was judged.")
            return
        typer.echo(
            f"{count(sums.units, 'unit')}: {sums.passed} passed ({sums.passed_at_first} in the first run), {sums.failed} failed, "
            f"{sums.undecided} undecided."
        )
        for name, number in failures_by_check(self._runs):
            typer.echo(f"  failed in {count(number, 'unit')}: {self._titles.get(name, name)}")
        typer.echo(f"Page: {self._folder / PAGE}")


def _run_of(serial_number: str, run: Path, info: RunInfo) -> UnitRun:
    verdict = Verdict(info.verdict) if info.verdict else Verdict.UNJUDGED  # killed, or the disk was full
    kept = run / KEPT_FILE
    checks = from_json(kept.read_bytes()).checks if kept.exists() else ()
    failed = tuple(check.name for check in checks if check.verdict is Verdict.FAIL)
    return UnitRun(serial_number, verdict, run.name, failed, info.began)
