"""`hil accept`: drives a unit through the route, judges it, leaves a sheet."""

from pathlib import Path
from typing import Annotated

import typer

from hil.cli.session import run_session
from hil.legs.leg import Profile


def accept(
    bench: Annotated[Path | None, typer.Option(help="bench file (default: the virtual bench)")] = None,
    product: Annotated[Path | None, typer.Option(help="product file (default: the Mossgate MV-2)")] = None,
    build: Annotated[Path | None, typer.Option(help="build file or its folder (default: the MV-2's firmware)")] = None,
    previous: Annotated[
        Path | None, typer.Option(help="build file of the version before, to update from (default: see the sheet)")
    ] = None,
    unit: Annotated[str | None, typer.Option(metavar="SERIAL", help="serial number of the unit in the slot")] = None,
    speed: Annotated[float | None, typer.Option(help="unit seconds a real second, on the virtual bench")] = None,
    profile: Annotated[
        Profile | None,
        typer.Option(
            help="which checks: of each board, of a build before its release, of hours (none yet); default quick"
        ),
    ] = None,
    reports: Annotated[Path, typer.Option(help="where the run's folder is made")] = Path("reports"),
    leg: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="only checks on this leg; given again: on these")
    ] = None,
    select: Annotated[str, typer.Option("-k", metavar="EXPRESSION", help="only checks whose names match")] = "",
    stop_early: Annotated[bool, typer.Option("-x", help="stop at the first check that does not pass")] = False,
) -> None:
    """Judge one unit, from bare board to sheet."""
    options = ["--hil-bench", str(bench) if bench else "virtual"]
    given = {"product": product, "build": build, "previous": previous, "unit": unit, "speed": speed, "profile": profile}
    for name, value in given.items():
        options += [f"--hil-{name}", str(value)] if value is not None else []
    options += [f"--hil-leg={name}" for name in leg or ()]
    options += ["-k", select] if select else []
    options += ["-x"] if stop_early else []
    if bench is None and product is None:
        typer.echo("No bench file given: this is the virtual bench, with the Mossgate MV-2.")
    raise typer.Exit(run_session(options, reports=reports))
