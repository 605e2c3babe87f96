"""A person at the bench: told on the screen what to do, answers with Enter at the terminal.

What was asked for happened between the question and the answer, and no more is known of when: a moment that comes of it has half
of that time as its doubt.
"""

import os
import select
import termios
from abc import ABC, abstractmethod
from pathlib import Path

from hil.core.errors import InputError, InstrumentGone
from hil.core.timeline import Timeline

TERMINAL = Path("/dev/tty")
LONGEST = 4096


class Answers(ABC):
    """Where answers come from."""

    @abstractmethod
    def next(self, limit_s: float) -> bool:
        """Wait for one that comes from now on; whether it came within so many real seconds."""

    @abstractmethod
    def close(self) -> None:
        """Take no more."""


class EnterKey(Answers):
    """Enter at the terminal that this process belongs to."""

    def __init__(self) -> None:
        """Open it.

        Raises:
            InputError: there is none.
        """
        try:
            self._terminal = os.open(TERMINAL, os.O_RDONLY | os.O_NOCTTY)
        except OSError as error:
            remedy = "Run it at a terminal, or name another way to switch the supply."
            raise InputError(
                "bench file: power.operator", f"there is no terminal to ask at: {error}.", remedy
            ) from error

    def next(self, limit_s: float) -> bool:
        """Wait for Enter; what was typed before does not count."""
        termios.tcflush(self._terminal, termios.TCIFLUSH)
        ready, _, _ = select.select([self._terminal], [], [], limit_s)
        return bool(ready) and bool(os.read(self._terminal, LONGEST))

    def close(self) -> None:
        """Let go of the terminal."""
        os.close(self._terminal)


class Operator:
    """The person, by whatever answers."""

    def __init__(self, timeline: Timeline, answers: Answers, limit_s: float) -> None:
        """Give them so long for each thing, real seconds."""
        self._timeline, self._answers, self._limit_s = timeline, answers, limit_s

    def do(self, what: str) -> None:
        """Ask for something to be done, and wait until it is.

        Raises:
            InstrumentGone: nobody said so in time.
        """
        clock = self._timeline.clock
        self._timeline.add("operator", "asked", what=what, limit_s=self._limit_s)
        with self._timeline.busy_with(f"you: {what}, then press Enter", clock.unit_s(self._limit_s)):
            done = self._answers.next(self._limit_s)
        if not done:
            raise InstrumentGone("operator", f"nobody said within {self._limit_s:g} s that it was done: {what}.")
        self._timeline.add("operator", "did", what=what)

    def close(self) -> None:
        """Ask no more."""
        self._answers.close()
