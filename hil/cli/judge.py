"""`hil judge RUN`: judges recorded runs again, without a bench, under their own product file or another."""

from pathlib import Path
from typing import Annotated

import typer

from hil.cli.judged_again import judge_from_readings
from hil.cli.session import run_session
from hil.core.errors import InputError


def judge(
    runs: Annotated[
        list[Path], typer.Argument(help="the run's folder; several with --from-readings", metavar="RUN...")
    ],
    product: Annotated[Path | None, typer.Option(help="judge by this product file instead of the run's own")] = None,
    from_readings: Annotated[
        bool,
        typer.Option(
            "--from-readings", help="hold the readings kept of the last judging against the limits of --product"
        ),
    ] = False,
    into: Annotated[
        Path | None, typer.Option(help="where the sheet goes (default: judged/ in the run's folder)")
    ] = None,
    select: Annotated[str, typer.Option("-k", metavar="EXPRESSION", help="only checks whose names match")] = "",
) -> None:
    """Judge a recorded run again."""
    if from_readings:
        if product is None or into is not None or select:
            raise InputError(
                "--from-readings",
                "tells all checks of the runs under other limits.",
                "Give --product, and no --into or -k.",
            )
        raise typer.Exit(judge_from_readings(runs, product))
    if len(runs) > 1:
        raise InputError(
            str(runs[1]), "one run at a time is judged by its evidence.", "Add --from-readings, or name one."
        )
    options = ["--hil-run", str(runs[0])]
    options += ["--hil-product", str(product)] if product else []
    options += ["--hil-into", str(into)] if into else []
    options += ["-k", select] if select else []
    raise typer.Exit(run_session(options))
