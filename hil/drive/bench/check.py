"""Whether a bench is ready: each instrument tried by itself, with no unit judged.

The unit in the slot is switched on and off; nothing is written to it, and it is left without supply.
"""

from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from itertools import pairwise
from math import inf
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from hil.core.bench_file import BenchFile
from hil.core.errors import BenchError, InputError
from hil.core.frames import LampFrames
from hil.core.moments import Moment
from hil.core.run_folder import RunFolder
from hil.core.timeline import Expired
from hil.core.trial import draw
from hil.drive.draft.draft import Draft, driven_as
from hil.drive.load_bench import open_bench
from hil.evidence.camera import camera_of
from hil.evidence.window import Record
from hil.instruments.bench import Bench, Purpose
from hil.instruments.camera_settings import in_words
from hil.instruments.lamp_by_eye import BY_EYE

DARK_S, SHORT_S, HEARD_S, SPEAKS_S, SEEN_S, LIT_S = 2.0, 0.5, 2.0, 3.0, 4.0, 3.0
JUST_BEFORE_S, SETTLE_S = 1.0, 0.8
LEAST_BRIGHTER, TIMES_NOISE = 1.0, 5.0  # of 255, over the whole region; standard deviations: common practice, no source
IN_AIR_S, JOIN_S = 5.0, 30.0
OPENINGS = 5
OPENED_S = 1.0  # within which a chip that was reset says its first line
ALONE_S = 3.0
CONTROL_GAP_S = 0.5  # the longest that evidence allows between two beacons of the control network
BY = "bench check"


@dataclass(frozen=True, slots=True)
class Tried:
    """One instrument: what it showed, or what is wrong and what to do; `ready` is None where it was not looked at."""

    instrument: str
    ready: bool | None
    told: str
    remedy: str = ""


def check_bench(bench_file: BenchFile) -> Iterator[Tried]:
    """Try one instrument after another; a bench that does not open is told by what failed first.

    Raises:
        InputError: the bench file names something that is not there.
    """
    unknown = driven_as(Draft())
    with TemporaryDirectory(prefix="hil-check-") as place:
        folder = RunFolder(Path(place)).make()
        try:
            opened = open_bench(bench_file, Purpose(unknown, draw(unknown), folder))
        except BenchError as error:
            yield Tried(error.instrument, False, error.problem, error.remedy)
            yield from (Tried(name, None, "not looked at") for name, _ in TRIALS)
            return
        try:
            bench = opened.bench
            for name, trial in TRIALS:
                yield _try(name, trial, bench)
            if bench.camera is None:
                yield Tried("lamp camera", True, BY_EYE)
            else:
                yield _try("lamp camera", lambda bench: _camera(bench, folder), bench)
        finally:
            with suppress(BenchError):
                opened.bench.power.off(asked_by=BY)
            opened.close()


def _try(name: str, trial: Callable[[Bench], str], bench: Bench) -> Tried:
    try:
        return Tried(name, True, trial(bench))
    except BenchError as error:
        return Tried(name, False, f"{error.instrument}: {error.problem}", error.remedy)
    except InputError as error:
        return Tried(name, False, f"{error.where}: {error.problem}", error.remedy)


def _supply(bench: Bench) -> str:
    bench.power.off(asked_by=BY)
    bench.clock.pause(DARK_S)
    if bench.power.read_back():
        raise BenchError("supply", "reads back as on after it was switched off.")
    bench.power.on(asked_by=BY)
    if not bench.power.read_back():
        raise BenchError("supply", "reads back as off after it was switched on.")
    state = next(m for m in reversed(bench.timeline.since()) if m.is_("power", "state"))
    current_ma = state.data.get("current_ma")
    return "switches, and reads back so" + (f"; the unit draws {current_ma:.0f} mA" if current_ma is not None else "")


def _console(bench: Bench) -> str:
    """Whether opening the port restarts the unit: whether the first line after power on comes again."""
    bench.power.off(asked_by=BY)
    bench.clock.pause(SHORT_S)
    mark = bench.timeline.mark()
    bench.power.on(asked_by=BY)
    first = _line(bench, mark, SPEAKS_S)
    if not first:
        return f"opens; the unit said nothing within {SPEAKS_S:g} s of power on"
    if _line(bench, bench.timeline.mark(), ALONE_S, first):
        return "opens; the unit restarts by itself, so that nobody can tell what opening the port does to it"
    restarts = 0
    for _ in range(OPENINGS):
        bench.console.close()
        mark = bench.timeline.mark()
        bench.console.open()
        restarts += _line(bench, mark, OPENED_S, first) != ""
    told = f"restarted the unit {restarts} times, which is booked" if restarts else "none restarted the unit"
    return f"{OPENINGS} openings, {told}"


def _line(bench: Bench, since: int, limit_s: float, text: str = "") -> str:
    """The first line that the unit says from a mark on, or this very one; nothing where none comes."""
    seen = bench.timeline.wait(
        lambda m: m.is_("console", "line") and bool(m.text("text").strip()) and text in ("", m.text("text")),
        limit_s=limit_s,
        awaited="a line of the unit's",
        since=since,
    )
    return "" if isinstance(seen, Expired) else seen.text("text")


def _air_monitor(bench: Bench) -> str:
    begin_s = bench.clock.now_s()
    bench.clock.pause(HEARD_S)
    name = bench.trial.control_network
    told = []
    for channel in bench.channels:
        heard_s = [m.time_s for m in bench.timeline.since() if _is_beacon(m, name, channel) and m.time_s >= begin_s]
        edges = [begin_s, *heard_s, begin_s + HEARD_S]
        gap_s = max((after - before for before, after in pairwise(edges)), default=inf)
        if gap_s > CONTROL_GAP_S:
            problem = f"hears the control network on channel {channel} with gaps of {gap_s:.1f} s."
            raise BenchError("air monitor", problem, "Move its adapter nearer, or name a channel less used.")
        told.append(f"{len(heard_s)} on channel {channel}")
    return f"beacons of the control network in {HEARD_S:g} s: {', '.join(told)}"


def _is_beacon(moment: Moment, name: str, channel: int) -> bool:
    return moment.is_("air", "beacon") and moment.text("name") == name and moment.data.get("channel") == channel


def _access_point(bench: Bench) -> str:
    bench.access_point.up(bench.network)
    bench.access_point.ask_status()
    if isinstance(bench.air.watch(bench.network.name, IN_AIR_S), Expired):
        raise BenchError("access point", "answers, but nothing of its network is heard.", "Is its adapter plugged in?")
    return f"its network is on the air, on channel {bench.network.channel}"


def _probe(bench: Bench) -> str:
    begun_s = bench.clock.now_s()
    lease = bench.probe.join(bench.network.name, bench.network.passphrase, JOIN_S)
    if lease is None:
        failed = next((m for m in reversed(bench.timeline.since()) if m.is_("probe", "join failed")), None)
        why = failed.text("why") if failed else "unknown why"
        raise BenchError("probe", f"does not come into the bench's own network: {why}.", "Are both adapters near?")
    took_s = bench.clock.now_s() - begun_s
    bench.probe.leave()
    bench.access_point.down()
    return f"joined the bench's own network in {took_s:.1f} s, and was given {lease.address}"


def _flasher(bench: Bench) -> str:
    bench.console.close()
    try:
        identity = bench.flasher.identity()
    finally:
        bench.console.open()
    if identity is None:
        return "another program, which is not tried: it might change what is on the unit"
    address, label = identity.address.hex(":"), bench.label.address.lower()
    if address != label:
        problem = f"the chip's address is {address}, by the bench file it is {label}."
        raise BenchError("flasher", problem, "Correct [unit] in the bench file, or put that unit in the slot.")
    return f"{identity.chip}, {address}"


def _camera(bench: Bench, folder: RunFolder) -> str:
    bench.power.on(asked_by=BY)
    bench.clock.pause(LIT_S)
    off_s = bench.power.off(asked_by=BY).time_s
    bench.clock.pause(SEEN_S)
    bench.its_camera.stop()
    record = Record(
        product=driven_as(Draft()),
        facts={},
        moments=bench.timeline.since(),
        frames=folder.read_frames,
        page=folder.read_page,
        console=folder.read_console,
    )
    camera = camera_of(record, 0.0, bench.clock.now_s())
    if camera.frames is None or camera.delay is None:
        remedy = "See lamp_camera in the bench file: are both regions on their lamps, and is its exposure locked?"
        raise BenchError("camera", f"{camera.reason}.", remedy)
    times_s = camera.frames.times_s
    rate = bench.clock.unit_s((len(times_s) - 1) / (times_s[-1] - times_s[0]))
    late_s, doubt_s = (bench.clock.real_s(s) for s in (camera.delay.offset_s, camera.delay.doubt_s))
    settings = [in_words(moment.data) for moment in bench.timeline.since() if moment.is_("camera", "settings")]
    seen = "; ".join(["the bench's own lamp is seen", *settings[-1:]])
    told = f"{rate:.1f} frames/s, {late_s:.3f} ± {doubt_s:.3f} s late; {seen}"
    if goes_out(camera.frames, off_s, camera.delay.offset_s + SETTLE_S):
        return f"{told}; the unit's lamp goes out with its supply"
    return f"{told}; the unit's lamp looks alike with its supply and without: was it lit, and does the supply switch?"


def goes_out(frames: LampFrames, off_s: float, settled_s: float) -> bool:
    """Whether the unit's lamp was brighter just before a time than from so long after it on, by more than frames differ."""
    brightness = frames.unit.mean(axis=(1, 2, 3), dtype=np.float64)
    before = brightness[(frames.times_s > off_s - JUST_BEFORE_S) & (frames.times_s <= off_s)]
    after = brightness[frames.times_s > off_s + settled_s]
    if not len(before) or not len(after):
        return False
    least = max(LEAST_BRIGHTER, TIMES_NOISE * float(after.std()))
    return bool(np.median(before) - np.median(after) > least)


TRIALS = (
    ("supply", _supply),
    ("console", _console),
    ("air monitor", _air_monitor),
    ("access point", _access_point),
    ("probe", _probe),
    ("flasher", _flasher),
)
