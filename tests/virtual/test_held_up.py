"""A part of the virtual world that the machine holds up tells the bench, on the run's own clock."""

import os
import signal
import time
from pathlib import Path

import pytest

from hil.core.clock import Clock
from hil.core.moments import Moment
from hil.core.timeline import Timeline
from hil.virtual.world import WorldProcess

STOPPED_S, TRIES = 0.4, 3


@pytest.mark.parametrize("name", ["air", "scene"])
def test_it_is_on_the_timeline(name: str, tmp_path: Path) -> None:
    timeline = Timeline(Clock(speed=4.0))
    mark = timeline.mark()
    process = WorldProcess(name, {"truth_file": str(tmp_path / "truth.jsonl")}, on_late=timeline.held_up)
    try:
        for _ in range(TRIES):  # the first may come before the process begins to watch
            begin_s = timeline.clock.now_s()
            os.kill(process._process.pid, signal.SIGSTOP)
            time.sleep(STOPPED_S)  # the stimulus itself
            os.kill(process._process.pid, signal.SIGCONT)
            seen = timeline.wait(
                lambda m: m.is_("bench", "held up") and m.number("for_s") > 4.0 * (STOPPED_S - 0.1),
                awaited="the process to say that it was held up",
                since=mark,
                limit_s=8.0,
            )
            if seen:
                break
        assert isinstance(seen, Moment), str(seen)
        assert begin_s - 0.4 < seen.time_s < begin_s + 1.0
    finally:
        process.stop()
