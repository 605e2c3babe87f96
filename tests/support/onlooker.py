"""A person at the lamp in place of the camera of a recorded run: they see each stage when the console tells it, and press a key.

What they see is the unit's own word, so the tests' units must tell the truth; how late each key comes is drawn within what the
instrument allows for.
"""

import random
import re
from collections.abc import Callable
from math import inf
from pathlib import Path

from hil.core.moments import Moment
from hil.core.product import load_product
from hil.core.run_folder import RunFolder
from hil.instruments.lamp_by_eye import DARK, LATEST_S, SOONEST_S, SOURCE
from support.alterations import drop, write_moments

APART_S = 0.1  # between two keys
Look = tuple[float, str]
Alter = Callable[[str, list[Look]], list[Look]]


def put_person_in_place(folder: Path, alter: Alter = lambda _leg, looks: looks, unsure: str = "") -> None:
    """Drop the camera's record, and add that of a person; who was not sure of the leg that is named."""
    drop(folder, "camera")
    run, late = RunFolder(folder), random.Random(5)
    moments = [moment for moment in run.read_moments() if moment.source != "bench lamp"]
    looks = _looks(moments, load_product(run.product_file).console.stages)
    added = [Moment(0.0, 0.0, SOURCE, "keys", {"text": "1  starting: white steady"})]
    for watch, leg in enumerate(run.read_info().legs, 1):
        before = [look for time_s, look in looks if time_s <= leg.begin_s]
        first = [(leg.begin_s - LATEST_S - APART_S, before[-1] if before else DARK)]
        inside = [(time_s, look) for time_s, look in looks if leg.begin_s < time_s <= leg.end_s]
        pressed_s = -inf
        for time_s, look in alter(leg.name, [*first, *inside]):
            pressed_s = max(time_s + late.uniform(SOONEST_S, LATEST_S), pressed_s + APART_S)
            at_s = pressed_s - (SOONEST_S + LATEST_S) / 2.0
            added.append(Moment(at_s, (LATEST_S - SOONEST_S) / 2.0, SOURCE, "shows", {"watch": watch, "look": look}))
        word = {"since_s": leg.begin_s, "until_s": leg.end_s, "whole": leg.name != unsure}
        added.append(Moment(leg.end_s, 0.0, SOURCE, "told", {"watch": watch, **word}))
    write_moments(run, [*moments, *added])


def _looks(moments: list[Moment], told: dict[str, str]) -> list[Look]:
    looks: list[Look] = []
    for moment in sorted(moments, key=lambda m: m.time_s):
        if moment.is_("power", "off"):
            looks.append((moment.time_s, DARK))
        elif moment.is_("console", "line"):
            looks += [(moment.time_s, stage) for stage, text in told.items() if re.search(text, moment.text("text"))]
    return looks
