"""A person at the bench: told on the screen what to do, answers by a key of the terminal.

What was asked for happened between the question and the answer, and no more is known of when: a moment that comes of it has half
of that time as its doubt.
"""

from abc import ABC, abstractmethod
from collections.abc import Callable

from hil.core.errors import InstrumentGone
from hil.core.timeline import Timeline

ENTER = "\n"
OnKey = Callable[[str, float], None]


class Answers(ABC):
    """Where answers come from; keys that are none go to `on_key`, with when they came by the machine's monotonic clock."""

    on_key: OnKey | None = None

    @abstractmethod
    def next(self, keys: str, limit_s: float, heed: Callable[[], None]) -> str:
        """Wait for one of some keys, from now on; which it was, or nothing where none came within so many real seconds.

        `heed` is called now and then: what it raises ends the wait.
        """

    @abstractmethod
    def close(self) -> None:
        """Take no more."""


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
        self._ask(f"{what}, then press Enter", ENTER)
        self._timeline.add("operator", "did", what=what)

    def choose(self, what: str, keys: str) -> str:
        """Ask for one of some keys, and wait for it.

        Raises:
            InstrumentGone: none came in time.
        """
        return self._ask(what, keys)

    def is_so(self, what: str) -> bool:
        """Ask whether something is so, to be answered by y or n.

        Raises:
            InstrumentGone: nobody said so in time.
        """
        key = self._ask(f"{what}? Press y or n", "ynYN")
        self._timeline.add("operator", "said", what=what, is_so=key in "yY")
        return key in "yY"

    def _ask(self, what: str, keys: str) -> str:
        limit_s = self._limit_s
        self._timeline.add("operator", "asked", what=what, limit_s=limit_s)
        with self._timeline.busy_with(f"you: {what}", self._timeline.clock.unit_s(limit_s)):
            key = self._answers.next(keys, limit_s, self._timeline.heed_end)
        if not key:
            raise InstrumentGone("operator", f"nobody answered within {limit_s:g} s: {what}.")
        return key

    def close(self) -> None:
        """Ask no more."""
        self._answers.close()
