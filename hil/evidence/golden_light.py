"""The light of a golden unit's lamp by colour, as its own console tells the stages: what a camera learns colours from.

Everywhere else the console is under test. A golden unit is one that somebody trusts, so here its word counts, and the camera
is what is being taught.
"""

import re
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from hil.core.product import Stage
from hil.evidence.camera import camera_of
from hil.evidence.window import Record
from hil.lamp import COLOURS, SAME_COLOUR, read_light

Light = NDArray[np.float64]

SETTLES_S = 0.5  # after a stage was told, and before the next one is: the lamp may follow, or go before
ENDS_A_STAGE = (("power", "off"), ("power", "on"), ("console", "reset line released"))


def light_by_colour(record: Record, begin_s: float, end_s: float) -> dict[str, Light]:
    """Give linear RGB of single lit frames by the colour that was promised for the stage told, each of shape (n, 3)."""
    camera = camera_of(record, begin_s, end_s)
    if camera.frames is None or camera.dark is None or camera.delay is None:
        return {}
    times_s = camera.frames.times_s - camera.delay.offset_s
    found: dict[str, list[Light]] = {}
    for stage, from_s, to_s in _told(record, end_s):
        word = _only_colour(record.product.stages[stage]) if stage in record.product.stages else None
        inside = (times_s > from_s + SETTLES_S) & (times_s < to_s - SETTLES_S)
        if word is None or not inside.any():
            continue
        light = read_light(camera.frames.unit[inside], camera.dark)
        found.setdefault(word, []).append(light.rgb_linear[light.lit & light.plausible])
    return {word: np.concatenate(parts) for word, parts in found.items()}


def _told(record: Record, end_s: float) -> Iterator[tuple[str, float, float]]:
    """Each stage told on the console, from when to when it lasted by that."""
    console, lines = record.product.console, record.by_kind.get(("console", "line"), ())
    ends_s = [m.time_s for kind in ENDS_A_STAGE for m in record.by_kind.get(kind, ())]
    ends_s = sorted([*ends_s, *(line.time_s for line in lines if re.search(console.start, line.text("text")))])
    told = [
        (stage, line.time_s)
        for line in lines
        for stage, pattern in console.stages.items()
        if re.search(pattern, line.text("text"))
    ]
    for at, (stage, from_s) in enumerate(told):
        next_s = told[at + 1][1] if at + 1 < len(told) else end_s
        yield stage, from_s, min([next_s, end_s, *(time_s for time_s in ends_s if time_s > from_s)])


def _only_colour(stage: Stage) -> str | None:
    """The colour of a stage whose lamp is lit in one colour; None for a sequence of several."""
    lamp = stage.lamp
    words = {phase.colour for phase in lamp.sequence} | ({lamp.colour} if lamp.colour else set())
    lit = {SAME_COLOUR.get(word, word) for word in words} & set(COLOURS)
    return lit.pop() if len(lit) == 1 else None
