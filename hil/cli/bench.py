"""`hil bench`: what a bench is made of, and whether it is ready."""

from contextlib import nullcontext
from pathlib import Path
from typing import Annotated

import typer
from hil_fixtures.interrupts import ended_in_order
from rich.console import Console
from rich.live import Live
from rich.table import Table
from rich.text import Text

from hil.core.bench_file import load_bench_file
from hil.core.text import count, printable
from hil.core.verdicts import EXIT_BENCH
from hil.drive.bench_check import Tried, check_bench
from hil.virtual import bench_named

bench_app = typer.Typer(no_args_is_help=True, help="What a bench is made of, and whether it is ready.")
WORDS = {True: ("ready", "green"), False: ("not ready", "bold red"), None: ("not looked at", "dim")}


@bench_app.command()
def check(
    bench: Annotated[Path, typer.Option(help="bench file (default: the virtual bench)")] = Path("virtual"),
) -> None:
    """Try each instrument by itself. The unit is switched on and off; nothing is written to it."""
    bench_file = load_bench_file(bench_named(str(bench)))
    screen = Console(highlight=False)
    found: list[Tried] = []
    shown = Live(console=screen, refresh_per_second=4, transient=True) if screen.is_terminal else None
    with ended_in_order(lambda: None), shown or nullcontext():
        for tried in check_bench(bench_file):
            found.append(tried)
            if shown is not None:
                shown.update(_table(found, bench_file.name))
    screen.print(_table(found, bench_file.name))
    for tried in found:
        if tried.remedy:
            screen.print(Text(f"{tried.instrument}: {printable(tried.remedy)}"))
    lacking = [tried for tried in found if not tried.ready]
    if not lacking:
        screen.print("The bench is ready.")
        return
    screen.print(f"The bench is not ready: {count(len(lacking), 'instrument')} of {len(found)}.")
    raise typer.Exit(EXIT_BENCH)


def _table(found: list[Tried], name: str) -> Table:
    table = Table("instrument", "", "what it showed", title=f"Bench {printable(name)}", title_justify="left")
    table.columns[0].no_wrap = table.columns[1].no_wrap = True
    for tried in found:
        word, style = WORDS[tried.ready]
        table.add_row(Text(printable(tried.instrument)), Text(word, style), Text(printable(tried.told)))
    return table
