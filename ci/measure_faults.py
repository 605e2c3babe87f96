"""Kills whole runs on the virtual bench at random moments, and looks at what each leaves.

    ci/measure faults [KILLS]      30 kills by default, about 20 s each

Prints a line a kill: when it came and in which leg, how many processes were alive 5 s later, whether the record could be
read, and how judging it ended. Ends with 1 when a process was left, a record could not be read, or a killed run passed.
"""

import random
import signal
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from support.live_run import LiveRun, lines_of
from support.runs import hil

KILLS = 30
SEED = 1
FIRST_S, LAST_S = 1.0, 31.0  # real seconds after the command was started; a whole run takes about 31 s
GONE_S = 5.0
FAILED, UNJUDGED = 1, 3
HEAD = f"{'kill':>4} {'after':>7}  {'in':24} {'left':>4}  {'record':8} {'judged':8}"


@dataclass(frozen=True)
class Killed:
    """What one kill left. `judged` is the exit code of judging the record; None where the run had not begun."""

    after_s: float
    leg: str
    left: tuple[str, ...]
    readable: bool
    judged: int | None

    @property
    def harmless(self) -> bool:
        """Whether all is as promised."""
        return not self.left and self.readable and self.judged in (None, FAILED, UNJUDGED)

    def __str__(self) -> str:
        """As a line of the table."""
        record = "none yet" if self.judged is None else "readable" if self.readable else "BROKEN"
        words = {None: "-", 0: "PASS", FAILED: "fail", UNJUDGED: "unjudged"}
        judged = words.get(self.judged, f"code {self.judged}")
        return f"{self.after_s:5.1f} s  {self.leg:24} {len(self.left):4d}  {record:8} {judged:8}"


def kill_once(folder: Path, after_s: float) -> Killed:
    """Start a run, kill its runner after a while, and look."""
    run = LiveRun(folder)
    try:
        if run.wait_end(after_s):
            return Killed(after_s, "after its end", (), readable=True, judged=None)
        run.process.send_signal(signal.SIGKILL)
        run.end()
        left = tuple(run.wait_gone(GONE_S))
    finally:
        run.close()
    record = next(iter(folder.glob("reports/*/run.json")), None)
    if record is None:
        return Killed(after_s, "before the run", left, readable=True, judged=None)
    again = hil("judge", str(record.parent), cwd=folder)
    readable = "Traceback" not in again.out + again.err and (record.parent / "judged" / "sheet.html").exists()
    return Killed(after_s, _last_leg(record.parent / "timeline.jsonl"), left, readable, again.code)


def _last_leg(timeline: Path) -> str:
    """The leg the run was in, by its own timeline."""
    told = "the bench being opened"
    for line in lines_of(timeline):
        if line["source"] == "leg" and line["kind"] in ("begins", "ends"):
            told = str(line["name"]) if line["kind"] == "begins" else f"after {line['name']}"
    return told


def main(kills: int) -> int:
    """Kill, look, print."""
    chance = random.Random(SEED)
    print(f"{kills} kills at random moments, seed {SEED}\n{HEAD}", flush=True)
    all_killed = []
    for number in range(1, kills + 1):
        with tempfile.TemporaryDirectory() as folder:
            killed = kill_once(Path(folder), chance.uniform(FIRST_S, LAST_S))
        all_killed.append(killed)
        print(f"{number:4d} {killed}", *killed.left, flush=True)
    harmful = sum(not killed.harmless for killed in all_killed)
    passed = sum(killed.judged == 0 for killed in all_killed)
    print(f"{kills - harmful} of {kills} left no process and a readable record; {passed} passed.")
    return 1 if harmful else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else KILLS))
