"""Runs of a lamp, recorded by hand: a test knows what was lit and what the console told."""

import shutil
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from hil.core.clock import Clock
from hil.core.frames import FrameWriter
from hil.core.moments import Moment
from hil.core.run_folder import LegRecord, RunFolder, RunInfo
from hil.core.timeline import Timeline
from hil.virtual import DEMO_PRODUCT
from support.records import Plan, lamp_frames, line, power, states, switchings

ON_S, SETUP_S, CONNECTED_S, END_S = 104.0, 110.0, 118.0, 126.0
SWITCHED = switchings(98.0, 128.0)
SUPPLY = [*states(97.0, ON_S, on=False), power("on", ON_S), *states(ON_S + 0.1, 128.0)]
TOLD = [
    line(ON_S + 0.3, "stage: starting"),
    line(SETUP_S, "stage: setup"),
    line(CONNECTED_S, "stage: connected"),
]
PLAN: Plan = [(ON_S + 0.3, "white"), (SETUP_S, "blue"), (CONNECTED_S, "green")]
LEGS = (("first", ON_S - 1.0, CONNECTED_S - 1.0, "setup (defaults)"), ("then", CONNECTED_S - 1.0, END_S, "connected"))


def recorded(
    folder: Path,
    plan: Plan = PLAN,
    *,
    tint: float = 1.0,
    legs: tuple[tuple[str, float, float, str], ...] = LEGS,
    told: Sequence[Moment] = TOLD,
) -> Path:
    """A run's folder. `tint`: times the codes of green, as another balance of the camera gives; `told`: on the console."""
    run = RunFolder(folder).make()
    timeline = Timeline(Clock(), run.timeline)
    for moment in (*SWITCHED, *SUPPLY, *told):
        timeline.add(moment.source, moment.kind, time_s=moment.time_s, doubt_s=moment.doubt_s, details=moment.data)
    timeline.close()
    frames, writer = lamp_frames(plan, SWITCHED, 98.0, 128.0), FrameWriter(run.lamp)
    for time_s, unit, bench in zip(frames.times_s, frames.unit, frames.bench, strict=True):
        tinted = np.clip(unit * np.array([1.0, tint, 1.0]), 0, 255).astype(np.uint8)
        writer.add(float(time_s), tinted, bench)
    writer.close()
    info = RunInfo("1", "2026-01-01T00:00:00", "0", [], partial=False, complete=True)
    info.facts = {"bench": {"name": "bench 3", "slot": "2"}}
    info.legs = [
        LegRecord(name, "", 0, begin_s, end_s, "off", "off", confirmed, 1.0, bridge=False)
        for name, begin_s, end_s, confirmed in legs
    ]
    run.write_info(info)
    shutil.copy(DEMO_PRODUCT, run.product_file)
    return folder
