"""Has a bench's camera learn a product's colours from recorded runs of golden units."""

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from hil.core.aim_file import CameraSetting
from hil.core.bench_file import BenchFile
from hil.core.colours_file import ColoursFile, LearntShares, colours_file_of, read_colours
from hil.core.errors import InputError
from hil.core.product import Product, load_product
from hil.core.run_folder import RunFolder
from hil.drive.recorded import read_record
from hil.evidence.golden_light import Light, light_by_colour
from hil.evidence.window import Record
from hil.instruments.camera_settings import locked_at
from hil.lamp import LearntColour, NotTold, learn_colour
from hil.lamp.learnt import PARTED, too_alike

LEARN_ANEW = "Learn anew (hil bench learn), or remove that file."


def learn_colours(folders: Sequence[Path], bench_file: BenchFile) -> ColoursFile:
    """Learn from runs of one product, driven on this bench with units that are trusted.

    Raises:
        InputError: a folder is no run, or one whose camera was set otherwise, the runs are of several products, their consoles
            told no stage, or two colours came out too alike.
    """
    found: dict[str, list[Light]] = {}
    products = set()
    for path in folders:
        folder = RunFolder(path)
        info = folder.read_info()
        record = read_record(folder, info, load_product(folder.product_file))
        products.add(record.product.name)
        if not info.legs:
            raise InputError(str(path), "no leg was driven in this run.", "Name another run.")
        _all_set_so(path, record, bench_file.lamp_camera.settings)
        seen = light_by_colour(record, min(leg.begin_s for leg in info.legs), max(leg.end_s for leg in info.legs))
        for word, light in seen.items():
            found.setdefault(word, []).append(light)
    if len(products) > 1:
        raise InputError("hil bench learn", f"runs of {', '.join(sorted(products))}.", "Name runs of one product.")
    light_of = {word: np.concatenate(parts) for word, parts in found.items()}
    colours = {word: learn_colour(light) for word, light in light_of.items()}
    learnt = {word: colour for word, colour in colours.items() if not isinstance(colour, NotTold)}
    if not learnt:
        why = "no colour was seen while the console told the stage it is promised for."
        raise InputError("hil bench learn", why, "Name whole runs, of a product whose console tells its stages.")
    _all_part(learnt)
    return ColoursFile(
        camera=str(bench_file.lamp_camera.source),
        settings=bench_file.lamp_camera.settings,
        product=products.pop(),
        learnt_from=tuple(path.name for path in folders),
        colours={
            word: LearntShares(share=colour.share, spread=colour.spread, frames=len(light_of[word]))
            for word, colour in learnt.items()
        },
    )


def _all_set_so(path: Path, record: Record, settings: Mapping[CameraSetting, int]) -> None:
    """Refuse a run whose camera was set otherwise than this bench's is, where it booked how it was set."""
    for booked in record.by_kind.get(("camera", "settings"), ()):
        for name, value in settings.items():
            told = booked.data.get(name, locked_at(value))
            if told != locked_at(value):
                problem = f"its camera's {name.replace('_', ' ')} was {told}; that of this bench is {locked_at(value)}."
                raise InputError(str(path), problem, "Name runs that were driven since the camera was aimed so.")


def _all_part(learnt: dict[str, LearntColour]) -> None:
    """Refuse colours that nobody could tell apart."""
    alike = too_alike(learnt)
    if alike:
        one, other, apart = min(alike, key=lambda pair: pair[2])
        told = f"{one} and {other} lie {apart:.1f} times both their spreads apart before this camera; {PARTED:g} are wanted."
        remedy = "Lower its exposure until the lamp's own window shows its colour (else it is the lit board that does)"
        raise InputError("hil bench learn", told, f"{remedy}, shade the board or go nearer, and aim anew.")


def colours_for(bench_file: BenchFile, bench_path: Path, product: Product) -> ColoursFile | None:
    """What this bench's camera has learnt of a product; None where it has learnt nothing, or is drawn anew each time.

    Raises:
        InputError: it learnt with another camera, or one that was set otherwise, or the file cannot be read.
    """
    place = colours_file_of(bench_path)
    colours = read_colours(place)
    if colours is None or colours.product != product.name or not bench_file.stays:
        return None
    camera = str(bench_file.lamp_camera.source)
    if colours.camera != camera:
        raise InputError(str(place), f"learnt with camera {colours.camera}; the bench has {camera}.", LEARN_ANEW)
    was, given = colours.settings, bench_file.lamp_camera.settings
    if was != given:
        raise InputError(str(place), f"learnt with {_told(was)}; the bench has {_told(given)}.", LEARN_ANEW)
    return colours


def _told(settings: Mapping[CameraSetting, int]) -> str:
    held = ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in settings.items())
    return held or "none of the camera's settings held"


def learnt_from(colours: ColoursFile) -> str:
    """For the sheet: which colours the camera had learnt, and of what."""
    return f"{', '.join(colours.colours)}: learnt from {', '.join(colours.learnt_from)}"
