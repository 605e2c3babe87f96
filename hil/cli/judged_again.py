"""`hil judge RUN… --from-readings --product FILE`: recorded runs under other limits, from the readings kept of them."""

from collections.abc import Iterator, Sequence
from pathlib import Path

from rich.console import Console
from rich.table import Column, Table
from rich.text import Text

from hil.cli.panel import STYLES
from hil.core.errors import InputError
from hil.core.product import load_product
from hil.core.text import count, printable
from hil.core.verdicts import EXIT_CODES, Verdict
from hil.judge.again import CheckAgain, NewPromises, RunAgain
from hil.judge.kept import KEPT_FILE, KeptRun, from_json

PLACES = (Path("judged"), Path())  # in a run's folder: where it was judged again, and where it was driven
UNDECIDED = "undecided"
MOST_LISTED = 12


def judge_from_readings(runs: Sequence[Path], product: Path) -> int:
    """Judge them, say what changes, and give the exit code: that of the worst run.

    Raises:
        InputError: the product file is wrong, or a run has no readings that can be read.
    """
    promises = NewPromises(load_product(product))
    judged = [promises.judge(read_kept(run)) for run in runs]
    console = Console(highlight=False, soft_wrap=True)
    console.print(_table(judged))
    for run in judged:
        for line in _told(run):
            console.print(line)
    return _exit_code(judged)


def read_kept(run: Path) -> KeptRun:
    """Read what the last judging of a run kept.

    Raises:
        InputError: there is nothing, or nothing of ours.
    """
    file = next((run / place / KEPT_FILE for place in PLACES if (run / place / KEPT_FILE).is_file()), None)
    if file is None:
        raise InputError(
            str(run),
            f"no {KEPT_FILE} is here: no judging kept its readings.",
            "Judge it once by its evidence: hil judge RUN.",
        )
    try:
        return from_json(file.read_bytes())
    except (OSError, ValueError) as error:
        raise InputError(
            str(file), f"these are no readings: {error}.", "Judge the run by its evidence again."
        ) from error


def _table(judged: Sequence[RunAgain]) -> Table:
    table = Table(Column("Run", no_wrap=True), "Before", "Under the new limits", "Changed", "Undecided", box=None)
    for run in judged:
        changed, undecided = len(run.changed), len(run.undecided)
        table.add_row(Text(printable(run.run)), _word(run.before), _word(run.after), str(changed), str(undecided))
    return table


def _word(verdict: Verdict | None) -> Text:
    return Text(str(verdict), STYLES[verdict]) if verdict is not None else Text(UNDECIDED)


def _told(run: RunAgain) -> Iterator[Text]:
    """Which checks changed, and which could not be judged, those of one reason together."""
    if run.partial:
        yield Text(f"{printable(run.run)}: a part of the checks only was judged: this opens no gate.")
    for check in run.changed:
        why = f": {printable(check.why)}" if check.why else ""
        yield Text(f"{printable(run.run)}: {check.name}: {check.before} → {check.after}{why}")
    reasons: dict[str, list[CheckAgain]] = {}
    for check in run.undecided:
        reasons.setdefault(check.why, []).append(check)
    for why, checks in reasons.items():
        names = ", ".join(check.name for check in checks[:MOST_LISTED])
        more = f" and {len(checks) - MOST_LISTED} more" if len(checks) > MOST_LISTED else ""
        yield Text(f"{printable(run.run)}: {count(len(checks), 'check')} undecided, {printable(why)}: {names}{more}")


def _exit_code(judged: Sequence[RunAgain]) -> int:
    verdicts = [run.after for run in judged]
    if Verdict.FAIL in verdicts:
        return EXIT_CODES[Verdict.FAIL]
    return EXIT_CODES[Verdict.PASS if all(v is Verdict.PASS for v in verdicts) else Verdict.UNJUDGED]
