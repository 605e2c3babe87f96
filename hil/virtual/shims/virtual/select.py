"""MicroPython's `select` with limits in unit milliseconds; comes before the built-in one on the path."""

import uselect
from utime import sleep_us

import tick
from uselect import POLLERR, POLLHUP, POLLIN, POLLOUT


class _Poll:
    """A poll object that waits in unit time."""

    def __init__(self):
        self._real = uselect.poll()
        self.register = self._real.register
        self.unregister = self._real.unregister
        self.modify = self._real.modify

    def poll(self, unit_ms=-1):
        """Wait and return a list of what is ready."""
        return self._real.poll(_real_ms(unit_ms))

    def ipoll(self, unit_ms=-1, flags=0):
        """Wait and return an iterator over what is ready."""
        return self._real.ipoll(_real_ms(unit_ms), flags)


def _real_ms(unit_ms):
    """Return a limit in whole real milliseconds; the part below one is slept here."""
    if unit_ms < 0:
        return -1
    real_us = int(unit_ms * 1000 / tick.RATE)
    if real_us < 1000:
        sleep_us(real_us)
    return real_us // 1000


def poll():
    """Return a new poll object."""
    return _Poll()
