"""`hil product draft`: watches one good unit and writes a first product file, with the questions it leaves open."""

from pathlib import Path
from typing import Annotated

import typer
from hil_fixtures.interrupts import ended_in_order
from rich.console import Console

from hil.core.bench_file import BenchFile, load_bench_file
from hil.core.build import load_build
from hil.core.errors import InputError
from hil.core.product import QUESTION_MARK
from hil.core.text import printable
from hil.core.verdicts import EXIT_CODES, Verdict
from hil.drive.draft.session import Drafted, draft_product
from hil.virtual import DEMO_BENCH


def draft(
    bench: Annotated[Path | None, typer.Option(help="bench file (default: the virtual bench)")] = None,
    build: Annotated[
        Path | None, typer.Option(help="build file or its folder: the unit is erased and this put on it first")
    ] = None,
    into: Annotated[Path, typer.Option(help="where to write the product file")] = Path("product.toml"),
    by_hand: Annotated[bool, typer.Option("--by-hand", help="you fill the unit's form in yourself")] = False,
) -> None:
    """Watch one good unit and write a first product file, with questions where it could not tell."""
    _refuse_to_overwrite(into)
    bench_file = load_bench_file(bench or DEMO_BENCH)
    _refuse_hands(bench_file, by_hand=by_hand)
    given = load_build(build) if build else None
    if bench is None:
        _say("No bench file given: this is the virtual bench, with its demo unit.")
    flash = given is not None or _is_virtual(bench_file)  # a real unit may be watched as it is
    try:
        with ended_in_order(lambda: None):
            drafted = draft_product(bench_file, given, _tell, flash=flash, by_hand=by_hand)
    except KeyboardInterrupt:
        typer.echo("hil: interrupted; the unit is switched off, no product file was written.", err=True)
        raise
    raise typer.Exit(_finish(drafted, into))


def _refuse_to_overwrite(into: Path) -> None:
    if into.exists():
        raise InputError(f"--into {into}", "is there already.", "Name another file.")
    if not into.parent.is_dir():
        raise InputError(f"--into {into}", f"there is no folder {into.parent}.", "Make it, or name another file.")


def _is_virtual(bench_file: BenchFile) -> bool:
    """A virtual unit's flash is empty before each run."""
    return bench_file.kind == "virtual"


def _refuse_hands(bench_file: BenchFile, *, by_hand: bool) -> None:
    if by_hand and _is_virtual(bench_file):
        raise InputError(
            "--by-hand", "nobody can reach into a virtual bench.", "Leave it out: the tool fills the form in."
        )


def _say(text: str) -> None:
    """One paragraph, broken between words on a terminal and nowhere else."""
    console = Console(highlight=False)
    console.print(text, markup=False, soft_wrap=not console.is_terminal)


def _tell(time_s: float, line: str) -> None:
    _say(f"{time_s:7.1f} s  {printable(line)}")


def _finish(drafted: Drafted, into: Path) -> int:
    """Write the file, say what is open, and how it ended."""
    if drafted.stopped:
        _say(f"The unit came no further: {printable(drafted.stopped)}.")
    if not drafted.text:
        _say("No product file was written.")
        return EXIT_CODES[Verdict.FAIL]
    try:
        into.write_text(drafted.text, encoding="utf-8")
    except OSError as error:
        raise InputError(f"--into {into}", f"cannot be written: {error.strerror}.", "Name another file.") from error
    _say(f"\nOpen questions, {len(drafted.questions)} of them, each marked {QUESTION_MARK} in the file:")
    for question in drafted.questions:
        _say(f"  {printable(question)}")
    _say(f"\n{into}: answer them, take each out of its list of questions, then: hil product check {into}")
    return EXIT_CODES[Verdict.FAIL] if drafted.stopped else EXIT_CODES[Verdict.PASS]
