"""Measures judging stored runs: anew from pixels and frames, and from kept readings, beside the simple way.

    ci/measure judging [RUN]       a recorded release run; without one, one is driven first (some 5 min)

Each figure is the wall time of the command itself, its start and its outputs included, as a person waits for it; the median
and the range of several goes, and the processor time of all its threads. The simple way to judge many runs under other
limits is to judge each by its evidence. Nothing is kept between the goes but what the run's folder holds.
"""

import os
import re
import statistics
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from support.alterations import copy_run
from support.runs import hil

from hil.core.run_folder import RunFolder

GOES = 5
RUNS = 200  # as many as are judged from readings in one go: copies of one, each read for itself
LIMIT_S = 1800.0


@dataclass(frozen=True)
class Took:
    """Wall time of each go, and the processor time of one, in seconds."""

    wall_s: list[float]
    processor_s: float

    @property
    def median_s(self) -> float:
        """The usual wall time."""
        return statistics.median(self.wall_s)

    def __str__(self) -> str:
        """In words."""
        low, high = min(self.wall_s), max(self.wall_s)
        spread = f"{low:.2f} to {high:.2f} s in {len(self.wall_s)} goes"
        return f"{self.median_s:.2f} s ({spread}; processor {self.processor_s:.2f} s)"


def timed(*arguments: str, cwd: Path, goes: int = GOES) -> Took:
    """Run a command of ours several times; whatever the verdict, it must come to one."""
    wall_s, before = [], _children_s()
    for _ in range(goes):
        begun_s = time.monotonic()
        ended = hil(*arguments, cwd=cwd, limit_s=LIMIT_S)
        wall_s.append(time.monotonic() - begun_s)
        if ended.code not in (0, 1, 3) or "Traceback" in ended.err:
            sys.exit(f"hil {' '.join(arguments[:2])} did not come to a verdict:\n{ended.out}{ended.err}")
    return Took(wall_s, (_children_s() - before) / goes)


def _children_s() -> float:
    spent = os.times()
    return spent.children_user + spent.children_system


def release_run(given: str | None, folder: Path) -> Path:
    """The run named, or one driven now."""
    if given is not None:
        return Path(given).resolve()
    ended = hil("accept", "--profile", "release", cwd=folder, limit_s=LIMIT_S)
    print(ended.out.strip().splitlines()[-1], file=sys.stderr)
    return ended.folder


def tighter(product: Path, file: Path) -> Path:
    """A product file that promises everything a tenth sooner."""
    text = re.sub(r"upper = ([\d.]+)", lambda m: f"upper = {0.9 * float(m[1]):g}", product.read_text(encoding="utf-8"))
    file.write_text(text, encoding="utf-8")
    return file


def main(given: str | None) -> int:
    """Judge, print."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        run = copy_run(release_run(given, folder), folder / "run")
        info = RunFolder(run).read_info()
        unit_s = info.legs[-1].end_s - info.legs[0].begin_s
        print(f"run {info.sheet_number}: {len(info.legs)} legs, {unit_s:.0f} s of unit time; {os.cpu_count()} cores")
        anew = timed("judge", str(run), cwd=folder)
        print(f"anew from pixels and frames, sheet as HTML and PDF included: {anew}")
        product = tighter(RunFolder(run).product_file, folder / "tighter.toml")
        readings = timed("judge", *[str(run)] * RUNS, "--from-readings", "--product", str(product), cwd=folder)
        print(f"{RUNS} runs from kept readings, every upper limit a tenth lower, in one process: {readings}")
        rate, simple = RUNS / readings.median_s, 1.0 / anew.median_s
        print(
            f"    {rate:.1f} runs a second, start included; each by its evidence: {simple:.2f}, {rate / simple:.0f} times fewer"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1] if len(sys.argv) > 1 else None))
