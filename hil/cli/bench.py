"""`hil bench`: what a bench is made of, and whether it is ready."""

from collections.abc import Sequence
from contextlib import nullcontext
from pathlib import Path
from typing import Annotated

import cv2
import numpy as np
import typer
from hil_fixtures.interrupts import ended_in_order
from rich.console import Console
from rich.live import Live
from rich.table import Table
from rich.text import Text

from hil.cli.aim_picture import drawn_aim
from hil.core.aim_file import AimFile, aim_file_of, dark_picture_of, read_aim
from hil.core.bench_file import BenchFile, load_bench_file
from hil.core.colours_file import colours_file_of
from hil.core.errors import InputError
from hil.core.kept_file import write_kept
from hil.core.qualified_file import qualified_file_of
from hil.core.text import count, printable
from hil.core.verdicts import EXIT_BENCH
from hil.drive.bench.aim import aim_slots
from hil.drive.bench.aims import Aim
from hil.drive.bench.check import Tried, check_bench
from hil.drive.bench.learn import learn_colours
from hil.drive.bench.qualify import AXES, finding, qualify_lamp
from hil.drive.facts import now_text
from hil.instruments.first_bench_file import Found, first_bench_file
from hil.instruments.host.found import find_cameras, find_ports, find_radios
from hil.instruments.keeper.client import INSTALLED
from hil.instruments.keeper.pack import write_keeper
from hil.lamp import OFF, NotTold
from hil.lamp.aim import Aimed, NotAimed
from hil.lamp.curve import CameraCurve
from hil.lamp.gauge import GaugeStudy
from hil.lamp.light import SRGB_DECODE
from hil.lamp.still import read_still
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


@bench_app.command()
def aim(
    bench: Annotated[
        list[Path] | None,
        typer.Option(help="bench file (default: the virtual bench); given again: of another slot before this camera"),
    ] = None,
    into: Annotated[
        Path | None, typer.Option(help="where to write the aim file (default: beside the bench file)")
    ] = None,
    linearity: Annotated[
        bool,
        typer.Option("--linearity", help="measure also how the camera's codes follow the light, by exposure steps"),
    ] = False,
    keep_exposure: Annotated[
        bool,
        typer.Option("--keep-exposure", help="leave the camera's exposure as it is, though a lamp is blown out or dim"),
    ] = False,
) -> None:
    """Find the lamps in the camera's picture, by having them go on and off. Each unit must light its lamp when it starts."""
    paths = [bench_named(str(path)) for path in bench or [Path("virtual")]]
    if into is not None and len(paths) > 1:
        raise InputError(f"--into {into}", "is one file for several slots.", "Leave it out: each goes beside its own.")
    files = [load_bench_file(path) for path in paths]
    places = [into or aim_file_of(_beside(path, file)) for path, file in zip(paths, files, strict=True)]
    screen = Console(stderr=True, highlight=False)
    shown = screen.status("The bench is opened …") if screen.is_terminal else None
    say = (lambda step: shown.update(Text(f"{printable(step)} …"))) if shown else lambda _: None
    with ended_in_order(lambda: None), shown or nullcontext():
        found = aim_slots(files, linearity=linearity, cuts=not keep_exposure, say=say)
    drawn = places[0].with_suffix(".png")
    cv2.imwrite(str(drawn), drawn_aim(found))
    for trouble in found.troubles:
        typer.echo(printable(trouble))
    typer.echo(f"The picture with what was found: {drawn}")
    if (cut := found.slots[0].cut) is not None:
        typer.echo(f"The camera's exposure: {cut}.")
    stored = [
        _store(one, place, file)
        for one, place, file in zip(found.slots, places, files, strict=True)
        if not found.faults
    ]
    if stored and linearity and not found.slots[0].curve:
        typer.echo("No curve was measured.")
        raise typer.Exit(EXIT_BENCH)
    if not stored or not all(stored):
        typer.echo("Not aimed." if not any(stored) else "Not aimed: " + _not_aimed(found.slots))
        raise typer.Exit(EXIT_BENCH)


def _beside(path: Path, file: BenchFile) -> Path:
    return path if file.stays else Path(f"{file.kind}.toml")


def _not_aimed(aims: Sequence[Aim]) -> str:
    lacking = [aim.slot for aim in aims if not (isinstance(aim.unit, Aimed) and isinstance(aim.bench, Aimed))]
    return ", ".join(f"slot {printable(slot)}" for slot in lacking) + "."


def _store(found: Aim, place: Path, file: BenchFile) -> bool:
    """Write a slot's aim file, where both lamps were found."""
    if isinstance(found.unit, NotAimed) or isinstance(found.bench, NotAimed):
        return False
    height, width = found.picture.shape[:2]
    unit, own = found.unit.region, found.bench.region
    curve = _curve_of(found, place)
    dark = dark_picture_of(place)
    cv2.imwrite(str(dark), found.dark_picture)
    aimed = AimFile(
        camera=found.camera,
        picture=(width, height),
        unit_region=unit,
        bench_region=own,
        curve=curve,
        dark_picture=dark.name,
        dim_light=found.dim_light,
        settings=dict(found.settings),
    )
    write_kept(aimed, place)
    typer.echo(f"unit_region = {list(unit)}\nbench_region = {list(own)}")
    counts = "It counts where the bench file leaves these two out."
    if not file.stays:
        counts = (
            "It does not count: the units of this bench lie elsewhere each time (a virtual bench stays by its seed)."
        )
    typer.echo(f"Aim file: {place}. {counts}")
    return True


def _curve_of(found: Aim, place: Path) -> tuple[float, ...] | None:
    """The camera's curve: as measured, or as it was known of this camera before."""
    if isinstance(found.curve, CameraCurve):
        first, last = found.curve.seen
        typer.echo(
            f"The camera's curve, from code {first} to {last}: off that of sRGB by at most {found.curve.off_srgb:.0%}; "
            f"{found.curve.left:.1%} of the light left unexplained."
        )
        return tuple(float(light) for light in found.curve.linear)
    before = read_aim(place)
    return before.curve if before is not None and before.camera == found.camera else None


@bench_app.command(name="read")
def read_photo(
    pictures: Annotated[list[Path], typer.Argument(metavar="PICTURE…", help="photographs, each of a lit lamp")],
    region: Annotated[
        tuple[int, int, int, int] | None,
        typer.Option(metavar="X Y WIDTH HEIGHT", help="where the lamp is (default: the brightest spot)"),
    ] = None,
    bench: Annotated[
        Path | None,
        typer.Option(help="bench file of the camera that took them: its curve counts, where it was measured"),
    ] = None,
) -> None:
    """Tell the colour of a lit lamp in a photograph. A run is surer: it knows what the lamp looks like dark."""
    measured = load_bench_file(bench).lamp_camera.curve if bench else None
    curve = SRGB_DECODE if measured is None else np.asarray(measured, np.float32)
    for file in pictures:
        picture = cv2.imread(str(file), cv2.IMREAD_COLOR)
        if picture is None:
            raise InputError(str(file), "is no picture that can be read.", "Name a JPEG or PNG file.")
        try:
            found = read_still(picture.astype("uint8"), region, curve)
        except ValueError as error:
            raise InputError(str(file), str(error), "Give --region X Y WIDTH HEIGHT inside the picture.") from error
        x, y, width, height = found.region
        at = f"at {x}, {y}, {width} × {height} pixels"
        told = (
            f"{at}, u′ {found.uv[0]:.3f}, v′ {found.uv[1]:.3f}"
            if found.word != OFF
            else "nothing outshines its surroundings"
        )
        typer.echo(f"{printable(str(file))}: {found.word} ({told})")


@bench_app.command()
def qualify(
    runs: Annotated[list[Path], typer.Argument(metavar="RUN…", help="folders of runs, two or more")],
    bench: Annotated[
        Path | None,
        typer.Option(
            help="bench file of these runs: what its camera cannot tell apart is kept beside it, and counts in accept"
        ),
    ] = None,
) -> None:
    """Tell how far the lamp camera is to be trusted, from runs between which it was aimed anew, exposed or lit otherwise."""
    file = load_bench_file(bench) if bench else None
    found = qualify_lamp(runs)
    if bench is not None and file is not None:
        write_kept(finding(found, runs, file, now_text()[:10]), qualified_file_of(bench))
    told = f"{count(found.runs, 'run')}, {', '.join(found.colours)}, {count(found.trials, 'frame')} of each in each"
    typer.echo(f"Lamp camera: {told}.")
    for axis, study in zip(AXES, found.studies, strict=True):
        typer.echo(f"  {axis}  {study.reason if isinstance(study, NotTold) else _told(study)}")
    typer.echo(f"  In per cent of {found.tolerance:.3f}, by which the nearest two colours lie apart in CIE 1976 u′v′.")
    if not isinstance(found.stages, NotTold):
        agreed = f"{found.stages.agreed:.0%} of {count(found.stages.items, 'leg')}".replace("%", " %")
        left_out = f"; {found.untold} left out, their last light too short to tell" if found.untold else ""
        typer.echo(
            f"  Stage at the end of a leg as the witnesses confirm: {agreed}, kappa {found.stages.kappa:.2f}{left_out}."
        )
    if found.unseen:
        typer.echo(f"  Promised and not seen: {', '.join(found.unseen)}: nothing is said of that.")
    for reason in found.reasons:
        typer.echo(printable(reason))
    typer.echo("Not qualified." if found.reasons else "Qualified.")
    if bench is not None:
        counts = f"hil accept refuses a product that uses {', or '.join(map(str, found.alike))}." if found.alike else ""
        typer.echo(f"Kept in {qualified_file_of(bench)}. {counts}".rstrip())
    if found.reasons:
        raise typer.Exit(EXIT_BENCH)


@bench_app.command()
def learn(
    runs: Annotated[list[Path], typer.Argument(metavar="RUN…", help="folders of runs of golden units on this bench")],
    bench: Annotated[Path, typer.Option(help="bench file (default: the virtual bench)")] = Path("virtual"),
    into: Annotated[
        Path | None, typer.Option(help="where to write the colours file (default: beside the bench file)")
    ] = None,
) -> None:
    """Have the lamp camera learn the product's colours from units you trust: their console says which stage they show."""
    path = bench_named(str(bench))
    bench_file = load_bench_file(path)
    colours = learn_colours(runs, bench_file)
    place = into or colours_file_of(_beside(path, bench_file))
    write_kept(colours, place)
    for word, seen in colours.colours.items():
        red, green = seen.share
        typer.echo(
            f"{word:6} {red:.3f} red, {green:.3f} green, {1 - red - green:.3f} blue; {count(seen.frames, 'frame')}"
        )
    counts = f"It counts for {printable(colours.product)}, as long as the camera keeps its settings."
    if not bench_file.stays:
        counts = "It does not count: this bench's camera is another one each time (a virtual bench stays by its seed)."
    typer.echo(f"Colours file: {place}. {counts}")


def _told(study: GaugeStudy) -> str:
    parts = {"repeatability": study.repeatability, "reproducibility": study.reproducibility, "both": study.gauge}
    told = ", ".join(f"{name} {part.percent_of_tolerance or 0.0:.1f} %" for name, part in parts.items())
    return f"{told}; {study.distinct_categories or 'any number of'} distinct categories"


@bench_app.command()
def scan(
    into: Annotated[Path, typer.Option(help="where to write the bench file; stills of cameras go beside it")] = Path(
        "bench.toml"
    ),
) -> None:
    """List ports, radios and cameras of this host, and write a first bench file that explains itself."""
    if into.exists():
        raise InputError(f"--into {into}", "is there already.", "Name another file.")
    if not into.parent.is_dir():
        raise InputError(f"--into {into}", f"there is no folder {into.parent}.", "Make it, or name another file.")
    found = Found(find_ports(), find_radios(), find_cameras())
    screen = Console(highlight=False)
    for line in _lines(found):
        screen.print(Text(printable(line)), soft_wrap=True)
    for camera in found.cameras:
        if camera.still is not None:
            still = into.with_name(f"{into.stem}-{Path(camera.path).name}.png")
            cv2.imwrite(str(still), camera.still)
            screen.print(Text(f"Its picture: {still}"), soft_wrap=True)
    into.write_text(first_bench_file(found), encoding="utf-8")
    told = f"Bench file: {into}. Answer its questions; then: hil bench check --bench {into}"
    screen.print(Text(told), soft_wrap=True)


def _lines(found: Found) -> list[str]:
    ports = [
        f"port    {port.path}  {port.description}  serial number {port.serial_number or '-'}" for port in found.ports
    ]
    radios = [
        f"radio   {radio.interface}  {radio.address}  {', '.join(radio.modes)}{'  (used by the host)' if radio.is_used else ''}"
        for radio in found.radios
    ]
    cameras = [f"camera  {camera.path}  {camera.name}" for camera in found.cameras]
    return [
        *(ports or ["port    none: no serial adapter on USB"]),
        *(radios or ["radio   none"]),
        *(cameras or ["camera  none"]),
    ]


@bench_app.command()
def keeper(into: Annotated[Path, typer.Option(help="where to write it")]) -> None:
    """Write the keeper that lets an ordinary user's runs use radios, and say how root installs it."""
    write_keeper(into)
    typer.echo(f"Written: {into}. Install it as root:")
    typer.echo(f"  install -o root -g root -m 755 {into} {INSTALLED}")
    typer.echo(f"  echo 'USER ALL=(root) NOPASSWD: {INSTALLED} \"\"' > /etc/sudoers.d/hil-keeper")


def _table(found: list[Tried], name: str) -> Table:
    table = Table("instrument", "", "what it showed", title=f"Bench {printable(name)}", title_justify="left")
    table.columns[0].no_wrap = table.columns[1].no_wrap = True
    for tried in found:
        word, style = WORDS[tried.ready]
        table.add_row(Text(printable(tried.instrument)), Text(word, style), Text(printable(tried.told)))
    return table
