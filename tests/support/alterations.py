"""Alterations of a recorded run: what would be on disk had one witness not been there, stood still, or stopped early.

Each takes the folder of a copied run and the name of a witness as `hil.evidence.leg_evidence.WITNESSES` has it, and
changes the record in place: the moments of that witness, and the files it leaves. What the bench ordered for another
witness's sake stays: the bench's own lamp was switched whether the camera looked or not.

The witness works for the first hundredth of each leg, so that it has shown something; between legs it works again.
"""

import re
import shutil
from bisect import bisect_right
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import inf
from pathlib import Path

import numpy as np

from hil.core.frames import Crops, FrameWriter, LampFrames
from hil.core.moments import Moment
from hil.core.run_folder import RunFolder

WORKS_FOR = 0.01  # share of each leg: what some checks rest on comes early
OUTPUTS = (
    "judged",
    "allure-results",
    "sheet.html",
    "sheet.pdf",
    "junit.xml",
    "sums.json",
    "virtual",
    "build",
    "previous",
)
SOURCES = {"air monitor": "air"}  # a witness's moments bear its name; the air monitor's say "air"


@dataclass(frozen=True)
class Stretches:
    """The parts of a run in which a witness does not work."""

    spans: tuple[tuple[float, float], ...]

    def hold(self, time_s: float) -> bool:
        """Whether a time lies in one."""
        return any(begin_s < time_s <= end_s for begin_s, end_s in self.spans)

    def begin_of(self, time_s: float) -> float:
        """When the stretch that holds a time began."""
        return next(begin_s for begin_s, end_s in self.spans if begin_s < time_s <= end_s)


def copy_run(run: Path, into: Path) -> Path:
    """Copy a run's record, without its outputs."""
    return Path(shutil.copytree(run, into, ignore=shutil.ignore_patterns(*OUTPUTS)))


def drop(folder: Path, witness: str) -> None:
    """Nothing of the witness was recorded."""
    run = RunFolder(folder)
    source = SOURCES.get(witness, witness)
    write_moments(run, (m for m in run.read_moments() if m.source != source))
    match witness:
        case "camera":
            _write_frames(run, [])
        case "air monitor":
            run.air.unlink()
        case "console":
            run.console.unlink()
        case "pages":
            shutil.rmtree(run.pages)


def cut_short(folder: Path, witness: str) -> None:
    """Nothing of the witness was recorded after the first hundredth of each leg."""
    run = RunFolder(folder)
    source, dead = SOURCES.get(witness, witness), dead_stretches(run)
    write_moments(run, (m for m in run.read_moments() if m.source != source or not dead.hold(m.time_s)))
    if witness == "camera":
        frames = run.read_frames()
        _write_frames(run, [_frame(frames, at) for at, time_s in enumerate(frames.times_s) if not dead.hold(time_s)])


def freeze(folder: Path, witness: str) -> None:
    """From the first hundredth of each leg on, the witness repeats what it showed last, and shows nothing new.

    The camera sends the same picture at new times, the air monitor the same beacons with the same time stamp in them,
    the supply the same state. A witness that tells events alone (access point, probe, pages, console, flasher) has
    nothing to repeat: it falls silent.
    """
    run, repeats = RunFolder(folder), _REPEATS.get(witness)
    if repeats is None:
        cut_short(folder, witness)
        return
    repeats(run, dead_stretches(run))


ALTERATIONS: dict[str, Callable[[Path, str], None]] = {"drop": drop, "freeze": freeze, "cut_short": cut_short}


def _freeze_camera(run: RunFolder, dead: Stretches) -> None:
    frames, shown = run.read_frames(), []
    for at, time_s in enumerate(frames.times_s):
        seen_at = int(np.searchsorted(frames.times_s, dead.begin_of(time_s))) - 1 if dead.hold(time_s) else at
        _, unit, bench = _frame(frames, max(seen_at, 0))
        shown.append((float(time_s), unit, bench))
    _write_frames(run, shown)


def _freeze_air(run: RunFolder, dead: Stretches) -> None:
    """Each beacon heard is the last one of its sender before the stretch; a sender not heard before is not heard."""
    before: dict[tuple[str, str], list[Moment]] = {}
    kept = []
    for moment in sorted(run.read_moments(), key=lambda m: m.time_s):
        sender = (moment.text("bssid"), moment.text("channel"))
        if moment.source != "air" or not dead.hold(moment.time_s):
            kept.append(moment)
            if moment.is_("air", "beacon"):
                before.setdefault(sender, []).append(moment)
        elif moment.kind == "beacon" and sender in before:
            last = _last(before[sender], dead.begin_of(moment.time_s))
            kept += [replace(last, time_s=moment.time_s)] if last else []
    write_moments(run, kept)


def _freeze_power(run: RunFolder, dead: Stretches) -> None:
    """Each reading is the last one before the stretch, and no switching is told."""
    states = [m for m in run.read_moments() if m.is_("power", "state")]
    kept = []
    for moment in run.read_moments():
        if moment.source != "power" or not dead.hold(moment.time_s):
            kept.append(moment)
        elif moment.kind == "state":
            last = _last(states, dead.begin_of(moment.time_s))
            kept += [replace(last, time_s=moment.time_s)] if last else []
    write_moments(run, kept)


_REPEATS: dict[str, Callable[[RunFolder, Stretches], None]] = {
    "camera": _freeze_camera,
    "air monitor": _freeze_air,
    "power": _freeze_power,
}


def dead_stretches(run: RunFolder) -> Stretches:
    """All of each leg but its first hundredth."""
    legs = run.read_info().legs
    return Stretches(tuple((leg.begin_s + WORKS_FOR * (leg.end_s - leg.begin_s), leg.end_s) for leg in legs))


def _last(moments: Sequence[Moment], until_s: float) -> Moment | None:
    at = bisect_right(moments, until_s, key=lambda m: m.time_s)
    return moments[at - 1] if at else None


Frame = tuple[float, Crops, Crops]  # its time, the unit's lamp, the bench's own


def _frame(frames: LampFrames, at: int) -> Frame:
    return float(frames.times_s[at]), frames.unit[at], frames.bench[at]


def _write_frames(run: RunFolder, frames: Iterable[Frame]) -> None:
    shutil.rmtree(run.lamp)
    run.lamp.mkdir()
    writer = FrameWriter(run.lamp)
    for time_s, unit, bench in frames:
        writer.add(time_s, unit, bench)
    writer.close()


def write_moments(run: RunFolder, moments: Iterable[Moment]) -> None:
    lines = [moment.to_line() for moment in moments]
    run.timeline.write_text("".join(line + "\n" for line in lines), encoding="utf-8")


def take_away(folder: Path, leg: str, source: str, kind: str, *, named: str = "", for_s: float = inf) -> None:
    """Moments of a kind were not recorded in a leg: those whose name begins so, for so many seconds from the first on."""
    run = RunFolder(folder)
    window = next(record for record in run.read_info().legs if record.name == leg)

    def meant(moment: Moment) -> bool:
        inside = window.begin_s <= moment.time_s <= window.end_s
        return inside and moment.is_(source, kind) and moment.text("name").startswith(named)

    moments = run.read_moments()
    until_s = min(moment.time_s for moment in moments if meant(moment)) + for_s
    write_moments(run, (m for m in moments if not (meant(m) and m.time_s <= until_s)))


def began_a_day_later(folder: Path) -> None:
    """The run began a day later than it did."""
    run = RunFolder(folder)
    info = run.read_info()
    info.began = (datetime.fromisoformat(info.began) + timedelta(days=1)).isoformat()
    run.write_info(info)


def say(folder: Path, leg: str, text: str) -> None:
    """The console says one line more, in the middle of a leg; nothing held the bench up, which might excuse the unit."""
    run = RunFolder(folder)
    window = next(record for record in run.read_info().legs if record.name == leg)
    said = Moment((window.begin_s + window.end_s) / 2.0, 0.04, "console", "line", {"text": text})
    moments = (moment for moment in run.read_moments() if not moment.is_("bench", "held up"))
    write_moments(run, sorted((*moments, said), key=lambda m: m.time_s))


def tighten(folder: Path, limit: str, upper_s: float) -> None:
    """The product file promises more: another upper limit."""
    file = RunFolder(folder).product_file
    text, count = re.subn(rf"(?m)^({limit} = .*upper = )[\d.]+", rf"\g<1>{upper_s}", file.read_text(encoding="utf-8"))
    assert count == 1, f"{limit} is {count} times in {file}"
    file.write_text(text, encoding="utf-8")
