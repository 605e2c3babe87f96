"""The keys of the terminal that this process belongs to, each as it is pressed."""

import atexit
import os
import select
import termios
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from hil.core.errors import InputError
from hil.instruments.operator import Answers

TERMINAL = Path("/dev/tty")
LONGEST = 4096
HEEDS_S = 0.3


class Keyboard(Answers):
    """Opened, it takes key by key what is typed, and shows none of it; closed, the terminal is as it was."""

    def __init__(self) -> None:
        """Open it.

        Raises:
            InputError: there is none.
        """
        try:
            self._terminal = os.open(TERMINAL, os.O_RDWR | os.O_NOCTTY)
        except OSError as error:
            remedy = "Run it at a terminal, or name an instrument in place of the person."
            raise InputError("bench file: operator", f"there is no terminal to ask at: {error}.", remedy) from error
        self._answered = threading.Condition()
        self._awaited, self._answer = "", ""
        self._wakes, self._wake = os.pipe()
        self._as_it_was = termios.tcgetattr(self._terminal)
        self._set(one_by_one=True)
        atexit.register(self.close)
        self._thread = threading.Thread(target=self._read, name="keyboard", daemon=True)
        self._thread.start()

    def _set(self, *, one_by_one: bool) -> None:
        modes = list(self._as_it_was)
        if one_by_one:
            modes[3] &= ~(termios.ICANON | termios.ECHO)
        with suppress(termios.error):  # a terminal that is gone
            termios.tcsetattr(self._terminal, termios.TCSANOW, modes)

    def _read(self) -> None:
        while True:
            ready, _, _ = select.select([self._terminal, self._wakes], [], [])
            if self._wakes in ready:
                return
            try:
                typed = os.read(self._terminal, LONGEST)
            except OSError:  # the terminal is gone
                return
            if not typed:
                return
            for key in typed.decode(errors="replace"):
                self._take(key, time.monotonic())

    def _take(self, key: str, real_s: float) -> None:
        with self._answered:
            if key in self._awaited:
                self._awaited, self._answer = "", key
                self._answered.notify_all()
                return
        if self.on_key is not None:
            self.on_key(key, real_s)

    def next(self, keys: str, limit_s: float, heed: Callable[[], None]) -> str:
        """Wait for one of some keys; what was typed before does not count."""
        until_s = time.monotonic() + limit_s
        with self._answered:
            self._awaited, self._answer = keys, ""
            try:
                while not self._answer and self._thread.is_alive() and (left_s := until_s - time.monotonic()) > 0.0:
                    self._answered.wait(min(left_s, HEEDS_S))
                    heed()
            finally:
                self._awaited = ""
            return self._answer

    def close(self) -> None:
        """Leave the terminal as it was."""
        if self._wake < 0:
            return
        atexit.unregister(self.close)
        os.write(self._wake, b"\n")
        self._thread.join()
        self._set(one_by_one=False)
        for end in (self._terminal, self._wakes, self._wake):
            os.close(end)
        self._wake = -1
