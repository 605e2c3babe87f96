"""MicroPython's `time` at the unit's rate; comes before the built-in one on the path."""

from utime import gmtime, localtime, mktime, ticks_add, ticks_diff
from utime import sleep_us as _real_sleep_us

import tick

# Tasks made ready at once are stamped by the interpreter with its own, slower clock: unit
# time runs an hour ahead so that these stamps are never in the future.
_AHEAD_MS = 3600000 + tick.STARTED_US // 1000


def ticks_us():
    """Return unit microseconds, from an arbitrary start."""
    return ticks_add(0, tick.unit_us() + _AHEAD_MS * 1000)


def ticks_ms():
    """Return unit milliseconds, from an arbitrary start."""
    return ticks_add(0, tick.unit_us() // 1000 + _AHEAD_MS)


def sleep_us(unit_us):
    """Sleep unit microseconds."""
    _real_sleep_us(max(0, int(unit_us / tick.RATE)))


def sleep_ms(unit_ms):
    """Sleep unit milliseconds."""
    sleep_us(unit_ms * 1000)


def sleep(unit_s):
    """Sleep unit seconds."""
    sleep_us(unit_s * 1000000)


def time():
    """Return unit seconds since the chip started: it has no calendar."""
    return tick.unit_us() // 1000000
