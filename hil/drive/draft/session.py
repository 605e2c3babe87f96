"""One draft from opening the bench to the file's text. What was recorded on the way is not kept."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory

from hil.core.bench_file import BenchFile
from hil.core.build import Build
from hil.core.run_folder import RunFolder
from hil.core.trial import draw
from hil.drive.draft.draft import Draft, driven_as
from hil.drive.draft.figures import tell_figures
from hil.drive.draft.watch import Tell, Watch
from hil.drive.draft.write import write_draft
from hil.drive.load_bench import open_bench
from hil.evidence.window import Facts
from hil.instruments.bench import Bench, Purpose


@dataclass(frozen=True)
class Drafted:
    """What came of a watch: the file's text where there is one, its questions, why the unit came no further."""

    text: str
    questions: tuple[str, ...]
    stopped: str


def draft_product(
    bench_file: BenchFile, build: Build | None, tell: Callable[[float, str], None], *, flash: bool, by_hand: bool
) -> Drafted:
    """Watch the unit on a bench and draft its product file; `tell` gets unit seconds and a line.

    Raises:
        InputError: the bench file names something that cannot be.
        BenchError: an instrument is missing, asleep or broken.
    """
    unknown = driven_as(Draft())
    with TemporaryDirectory(prefix="hil-draft-") as place:
        folder = RunFolder(Path(place)).make()
        opened = open_bench(bench_file, Purpose(unknown, draw(unknown), folder, build))
        bench, clock = opened.bench, opened.bench.clock

        def told(line: str) -> None:
            tell(clock.now_s(), line)

        try:
            return _drafted(bench, bench_file, folder, told, flash=flash, by_hand=by_hand)
        finally:
            opened.close()


def _drafted(
    bench: Bench, bench_file: BenchFile, folder: RunFolder, tell: Tell, *, flash: bool, by_hand: bool
) -> Drafted:
    watch = Watch(bench, folder, _facts(bench, bench_file), tell, by_hand=by_hand)
    watched = watch.run(flash=flash)
    draft = watched.draft
    if draft.hotspot is None:
        return Drafted("", (), draft.stopped)
    tell_figures(watched, watch.typed, bench.build.version)
    if not flash:
        draft.ask("limits.first_hotspot_s", "the unit was not erased before: this is no first start, unless it was new")
    day = datetime.now().astimezone().date().isoformat()
    label = bench.label
    draft.seen_on = f"Drafted on {day} from unit {label.serial_number}, {label.address}, build {bench.build.version}."
    text, questions = write_draft(draft)
    return Drafted(text, tuple(questions), draft.stopped)


def _facts(bench: Bench, bench_file: BenchFile) -> Facts:
    return {
        "unit": {"serial number": bench.label.serial_number, "radio address": bench.label.address},
        "build": {"version": bench.build.version},
        "bench": {"speed": bench.clock.speed},
        "trial": {
            "network": bench.trial.network,
            "control_network": bench.trial.control_network,
            "control_channels": list(bench_file.air_monitor.channels),
        },
    }
