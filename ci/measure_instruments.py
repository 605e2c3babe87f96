"""Measures the instruments: sixteen consoles at once beside pexpect, and what a run costs.

    ci/measure instruments              both, some two minutes
    ci/measure instruments --seconds 5  the consoles for less long

Sixteen raw pseudo-terminals are written to at 92,160 octets a second each, the most that 921,600 baud carry with a start and a
stop bit, by a process of its own; every line bears when it was written. They are read for so long by sixteen `Console`s in one
process, then by sixteen `pexpect` readers, one thread each. Of each the octets lost, how late lines were stamped (99 of 100),
and the processor's share of one core. Then one run of the quick profile on the virtual bench: the runner's own memory at its
most, and its own processor time over the run, the virtual world's processes left out.
"""

import json
import os
import resource
import subprocess
import sys
import tempfile
import threading
import time
import tty
from argparse import ArgumentParser
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pexpect
from pexpect import fdpexpect

from hil.core.clock import Clock
from hil.core.timeline import Timeline
from hil.instruments.console import Console

CONSOLES, OCTETS_A_SECOND, LINE_OCTETS = 16, 92_160, 512
SECONDS, PATIENCE_S = 10.0, 30.0
LAST = "the end"
SLOWER, PI_CORES = 5.0, 4
LINE = b"[^\\n]*\\n"
WRITER = """
import json, os, sys, time
ends, seconds, octets, rate = json.loads(sys.argv[1])
lines = int(seconds * rate / octets)
begun = time.monotonic()
for number in range(lines):
    due = begun + number * octets / rate
    time.sleep(max(0.0, due - time.monotonic()))
    for end in ends:
        head = b"%d %d " % (number, time.monotonic_ns())
        line = head + b"." * (octets - 2 - len(head)) + b"\\r\\n"
        while line:
            line = line[os.write(end, line):]
for end in ends:
    os.write(end, b"the end\\r\\n")
print(lines * octets + 9)
"""
MEASURED_RUN = """
import atexit, json, resource, sys, time
begun, told = time.monotonic(), sys.argv.pop()
def tell():
    used = resource.getrusage(resource.RUSAGE_SELF)
    figures = {"memory_mb": used.ru_maxrss / 1024, "cpu_s": used.ru_utime + used.ru_stime, "took_s": time.monotonic() - begun}
    with open(told, "w") as file:
        json.dump(figures, file)
atexit.register(tell)
sys.argv.append("accept")
from hil.cli.main import main
main()
"""


@dataclass(frozen=True, slots=True)
class Reader:
    """What one way of reading came to: octets lost, how late each line was stamped in seconds, share of one core."""

    name: str
    lost: int
    late_s: Sequence[float]
    core: float

    def __str__(self) -> str:
        late_ms = 1000.0 * np.percentile(self.late_s, 99)
        return f"{self.name:9} {self.lost} octets lost, 99 % of lines stamped within {late_ms:.2f} ms, {self.core:.2f} of a core"


class Terminals:
    """So many raw pseudo-terminals, and what writes to them."""

    def __init__(self) -> None:
        """Open them."""
        pairs = [os.openpty() for _ in range(CONSOLES)]
        self.ours, self.theirs = [pair[0] for pair in pairs], [pair[1] for pair in pairs]
        for end in self.theirs:
            tty.setraw(end)

    def write(self, seconds: float) -> int:
        """Write for so long; returns how many octets went to each."""
        told = json.dumps([self.ours, seconds, LINE_OCTETS, OCTETS_A_SECOND])
        words = [sys.executable, "-c", WRITER, told]
        done = subprocess.run(words, pass_fds=self.ours, capture_output=True, text=True, check=True)
        return int(done.stdout)

    def close(self) -> None:
        """Close them."""
        for end in (*self.ours, *self.theirs):
            os.close(end)


def late_of(text: str, stamped_s: float) -> float:
    """How late a line was stamped, by what it bears."""
    return stamped_s - int(text.split(" ", 2)[1]) * 1e-9


def busy(read: Callable[[], int]) -> tuple[int, float]:
    """What `read` gives, and the share of a core that this process took for it."""
    before, begun_s = resource.getrusage(resource.RUSAGE_SELF), time.monotonic()
    sent = read()
    after, took_s = resource.getrusage(resource.RUSAGE_SELF), time.monotonic() - begun_s
    return sent, (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime) / took_s


def by_consoles(seconds: float, folder: Path) -> Reader:
    """Read by the project's own."""
    terminals, clock = Terminals(), Clock()
    timelines = [Timeline(clock) for _ in range(CONSOLES)]
    raw = [folder / f"console-{number}.raw" for number in range(CONSOLES)]
    consoles = [
        Console(os.ttyname(end), t, file) for end, t, file in zip(terminals.theirs, timelines, raw, strict=True)
    ]
    for console in consoles:
        console.open()

    def read() -> int:
        sent = terminals.write(seconds)
        for timeline in timelines:
            timeline.wait(lambda m: m.text("text") == LAST, limit_s=PATIENCE_S, awaited=LAST, since=0)
        return sent

    sent, core = busy(read)
    for console in consoles:
        console.close()
    terminals.close()
    zero_s = clock.at(0.0)
    lines = [m for timeline in timelines for m in timeline.since() if m.kind == "line" and m.text("text") != LAST]
    late_s = [late_of(m.text("text"), m.time_s - zero_s) for m in lines]
    return Reader("Console", sum(abs(sent - file.stat().st_size) for file in raw), late_s, core)


def by_pexpect(seconds: float) -> Reader:
    """Read by pexpect."""
    terminals, late_s, octets = Terminals(), list[float](), [0] * CONSOLES

    def follow(number: int) -> None:
        reader = fdpexpect.fdspawn(terminals.theirs[number], timeout=PATIENCE_S)
        while True:
            reader.expect(LINE)
            stamped_s, line = time.monotonic(), reader.after
            octets[number] += len(line)
            if line.startswith(LAST.encode()):
                return
            late_s.append(late_of(line.decode(), stamped_s))

    threads = [threading.Thread(target=follow, args=(number,)) for number in range(CONSOLES)]
    for thread in threads:
        thread.start()

    def read() -> int:
        sent = terminals.write(seconds)
        for thread in threads:
            thread.join(PATIENCE_S)
        return sent

    sent, core = busy(read)
    terminals.close()
    return Reader(f"pexpect {pexpect.__version__}", sum(abs(sent - each) for each in octets), late_s, core)


def run_costs(folder: Path) -> str:
    """One quick run: the runner's memory and processor time."""
    told = folder / "used.json"
    words = [sys.executable, "-c", MEASURED_RUN, str(told)]
    done = subprocess.run(words, cwd=folder, capture_output=True, text=True, check=False)
    if done.returncode:
        return f"a quick run ended with {done.returncode}: no figure\n{done.stdout}{done.stderr}"
    used = json.loads(told.read_text(encoding="utf-8"))
    share = used["cpu_s"] / used["took_s"]
    return (
        f"a quick run: {used['memory_mb']:.0f} MB at its most, {used['cpu_s']:.1f} s of processor time in {used['took_s']:.1f} s "
        f"({share:.2f} of a core), at four times the unit's time; the sheet is made in it\n"
        f"on a Raspberry Pi 4, its cores {SLOWER:g} times as slow as these (from memory, no source): "
        f"{share * SLOWER / PI_CORES:.0%} of its four at that speed, and less in the unit's own time"
    )


def main() -> None:
    """Measure and print."""
    asked = ArgumentParser(prog="ci/measure instruments")
    asked.add_argument("--seconds", type=float, default=SECONDS, help="how long consoles are written to")
    seconds = asked.parse_args().seconds
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        print(f"{CONSOLES} consoles, {OCTETS_A_SECOND} octets/s each, {seconds:g} s:")
        print(by_consoles(seconds, folder))
        print(by_pexpect(seconds))
        print(run_costs(folder))


if __name__ == "__main__":
    main()
