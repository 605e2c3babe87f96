"""Runs a unit's program under CPython, for machines that have no MicroPython.

    python -u cpython_start.py APP

`APP` is the folder of the program, or its main.py; the shims of the virtual unit
lie beside this file. Unit time comes from an event loop whose clock and waits run at
`HIL_TICK_RATE`, and from MicroPython's clock functions added to `time`.
"""

import asyncio
import asyncio.base_events
import select  # noqa: F401  # CPython's own, before the unit's comes first on the path
import selectors
import sys
import time
from pathlib import Path

SHIMS = Path(__file__).parent / "virtual"


class UnitSelector(selectors.DefaultSelector):
    """A selector whose limits are unit seconds."""

    def __init__(self, rate):
        super().__init__()
        self._rate = rate

    def select(self, timeout=None):
        """Wait for readiness, at most `timeout` unit seconds."""
        return super().select(timeout / self._rate if timeout else timeout)


class UnitLoop(asyncio.SelectorEventLoop):
    """An event loop that lives in unit time."""

    def __init__(self, rate):
        super().__init__(UnitSelector(rate))
        self._rate = rate

    def time(self):
        """Return unit seconds, from an arbitrary start."""
        return time.monotonic() * self._rate


def add_ticks(unit_us, rate):
    """Add what MicroPython's `time` has and CPython's lacks, in unit time."""
    time.ticks_us = unit_us
    time.ticks_ms = lambda: unit_us() // 1000
    time.ticks_diff = lambda end, begin: end - begin
    time.ticks_add = lambda ticks, more: ticks + more
    time.sleep_ms = lambda unit_ms: time.sleep(max(0.0, unit_ms / 1000 / rate))


def drop_cancelled_timers():
    """Have the event loop let go of cancelled timers at once: it would keep a hundred, and free memory would tell of them."""
    asyncio.base_events._MIN_SCHEDULED_TIMER_HANDLES = 0
    asyncio.base_events._MIN_CANCELLED_TIMER_HANDLES_FRACTION = 0.0


def start(app):
    """Run the program in a folder until it ends."""
    drop_cancelled_timers()
    sys.path[:0] = [str(SHIMS), str(app)]
    import tick

    add_ticks(tick.unit_us, tick.RATE)
    import main

    def run(program):
        with asyncio.Runner(loop_factory=lambda: UnitLoop(tick.RATE)) as runner:
            runner.run(program)

    main.run(run)


if __name__ == "__main__":
    sys.stdout.reconfigure(line_buffering=True)
    given = Path(sys.argv[1])
    start(given.parent if given.suffix == ".py" else given)
