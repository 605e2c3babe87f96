"""A process that the machine holds up says so: here one that is stopped by a signal for a known time (kill(2), SIGSTOP)."""

import json
import os
import signal
import subprocess
import sys
import time
from queue import SimpleQueue

import pytest

from hil.core.lateness import BEAT_REAL_S, LATE_REAL_S, LateWatch

WATCH = """
import json, sys
from hil.core.lateness import LateWatch
watch = LateWatch(lambda due_s, woke_s: print(json.dumps([due_s, woke_s]), flush=True))
watch.start()
print("ready", flush=True)
sys.stdin.read()
watch.stop()
"""
STOPPED_S = 0.4


def test_a_stretch_without_the_processor_is_told_whole() -> None:
    with subprocess.Popen(
        [sys.executable, "-c", WATCH], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        begin_s = time.monotonic()
        os.kill(process.pid, signal.SIGSTOP)
        time.sleep(STOPPED_S)  # the stimulus itself
        os.kill(process.pid, signal.SIGCONT)
        end_s = time.monotonic()
        due_s, woke_s = _first_over(process, STOPPED_S - 2.0 * BEAT_REAL_S)
        assert process.stdin is not None
        process.stdin.close()
    assert begin_s - LATE_REAL_S < due_s < begin_s + 2.0 * BEAT_REAL_S + LATE_REAL_S
    assert woke_s >= end_s - 0.01


def test_what_else_was_kept_waiting_is_told_too() -> None:
    told: SimpleQueue[tuple[float, float]] = SimpleQueue()
    waits = iter([0.0, LATE_REAL_S / 2.0, 30.0])  # longer than this machine itself may hold the watch up
    watch = LateWatch(lambda *stretch: told.put(stretch), lambda: next(waits, 0.0))
    begin_s = time.monotonic()
    watch.start()
    stretches = [told.get(timeout=20.0)]
    while stretches[-1][1] - stretches[-1][0] < 30.0:
        stretches.append(told.get(timeout=20.0))
    watch.stop()
    due_s, woke_s = stretches[-1]
    assert woke_s - due_s == pytest.approx(30.0 + BEAT_REAL_S)
    assert begin_s < woke_s < time.monotonic()


def _first_over(process: "subprocess.Popen[str]", least_s: float) -> tuple[float, float]:
    """The first stretch told that is long enough: a busy machine may have added others."""
    assert process.stdout is not None
    for line in process.stdout:
        due_s, woke_s = json.loads(line)
        if woke_s - due_s >= least_s:
            return float(due_s), float(woke_s)
    raise AssertionError("no stretch was told")
