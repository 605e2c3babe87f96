"""A run's folder as the record that views of evidence read."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager

from hil.core.colours_file import read_colours
from hil.core.product import Product
from hil.core.run_folder import RunFolder, RunInfo
from hil.evidence.window import Record
from hil.lamp.learnt import Learnt, LearntColour


def read_record(folder: RunFolder, info: RunInfo, product: Product) -> Record:
    """Read moments and frames, once; pages and the console are read when they are asked for."""
    with _no_collecting():
        frames, moments = folder.read_frames(), folder.read_moments()
    return Record(
        product=product,
        facts=info.facts,
        moments=moments,
        frames=lambda: frames,
        page=folder.read_page,
        console=folder.read_console,
        began=info.began,
        learnt=learnt_colours(folder),
    )


def learnt_colours(folder: RunFolder) -> Learnt:
    """What the camera had learnt of the lamp's colours when the run was driven.

    Raises:
        InputError: it cannot be read.
    """
    file = read_colours(folder.colours_file)
    return {word: LearntColour(seen.share, seen.spread) for word, seen in file.colours.items()} if file else {}


@contextmanager
def _no_collecting() -> Iterator[None]:
    """Within, nobody looks for garbage among tens of thousands of moments of which none is."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
