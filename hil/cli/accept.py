"""`hil accept`: drives a unit through the route, judges it, leaves a sheet."""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

import typer
from hil_fixtures.session import new_folder_path

from hil.cli.batch import BatchSession
from hil.cli.session import run_session
from hil.core.errors import InputError
from hil.core.labels import read_labels
from hil.legs.leg import Profile


def accept(
    bench: Annotated[Path | None, typer.Option(help="bench file (default: the virtual bench)")] = None,
    product: Annotated[Path | None, typer.Option(help="product file (default: the Mossgate MV-2)")] = None,
    build: Annotated[Path | None, typer.Option(help="build file or its folder (default: the MV-2's firmware)")] = None,
    previous: Annotated[
        Path | None, typer.Option(help="build file of the version before, to update from (default: see the sheet)")
    ] = None,
    unit: Annotated[str | None, typer.Option(metavar="SERIAL", help="serial number of the unit in the slot")] = None,
    labels: Annotated[Path | None, typer.Option(help="list of labels (CSV) on which the unit in the slot is")] = None,
    batch: Annotated[
        bool,
        typer.Option("--batch", help="judge one unit of the list after another, as they are scanned; a page of all"),
    ] = False,
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
    given = {
        "product": product,
        "build": build,
        "previous": previous,
        "speed": speed,
        "profile": profile,
        "labels": labels,
    }
    if batch:
        raise typer.Exit(_batch({"bench": bench, **given}, unit, reports, leg, select, stop_early=stop_early))
    for name, value in {**given, "unit": unit}.items():
        options += [f"--hil-{name}", str(value)] if value is not None else []
    options += [f"--hil-leg={name}" for name in leg or ()]
    options += ["-k", select] if select else []
    options += ["-x"] if stop_early else []
    if bench is None and product is None:
        typer.echo("No bench file given: this is the virtual bench, with the Mossgate MV-2.")
    raise typer.Exit(run_session(options, reports=reports))


def _batch(
    given: Mapping[str, object],
    unit: str | None,
    reports: Path,
    leg: list[str] | None,
    select: str,
    *,
    stop_early: bool,
) -> int:
    """Judge a batch; what would make it anything but whole runs of one profile is refused."""
    labels = given["labels"]
    if not isinstance(labels, Path):
        raise InputError("--batch", "the units' labels are not given.", "Add --labels FILE, a CSV list.")
    if unit or leg or select or stop_early:
        raise InputError(
            "--batch", "takes neither --unit nor --leg, -k or -x.", "A batch is of whole runs: leave them out."
        )
    known = read_labels(labels)
    path = new_folder_path(reports)
    folder = path.with_name(f"batch-{path.name}")
    folder.mkdir(parents=True)
    options = [word for name, value in given.items() if value is not None for word in (f"--{name}", str(value))]
    return BatchSession(folder, known, options).run()
