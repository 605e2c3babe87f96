"""`hil judge RUN`: judges a recorded run again, without a bench, under its own product file or another."""

from pathlib import Path
from typing import Annotated

import typer

from hil.cli.session import run_session


def judge(
    run: Annotated[Path, typer.Argument(help="the run's folder")],
    product: Annotated[Path | None, typer.Option(help="judge by this product file instead of the run's own")] = None,
    into: Annotated[
        Path | None, typer.Option(help="where the sheet goes (default: judged/ in the run's folder)")
    ] = None,
    select: Annotated[str, typer.Option("-k", metavar="EXPRESSION", help="only checks whose names match")] = "",
) -> None:
    """Judge a recorded run again."""
    options = ["--hil-run", str(run)]
    options += ["--hil-product", str(product)] if product else []
    options += ["--hil-into", str(into)] if into else []
    options += ["-k", select] if select else []
    raise typer.Exit(run_session(options))
