"""The timeline: all moments of a run, in order of arrival, from all instruments, on one clock.

Append-only and safe for many threads. Each moment is on disk before `add` returns, so that a killed run keeps what it
saw. Waits are on events: they have a limit, and on expiry say what was awaited and what was seen instead. A disk that
refuses a moment does not stop the instruments: the moment stays in memory, `trouble` says why, and the run loop ends the
run as the bench's failure.
"""

import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from hil.core.clock import Clock
from hil.core.moments import Json, Moment

Match = Callable[[Moment], bool]
Listener = Callable[[Moment], None]

SEEN_KEPT = 5  # moments that an expired wait shows as "seen instead"


@dataclass(frozen=True, slots=True)
class Expired:
    """A wait that ran out: a result that says why it is none."""

    awaited: str
    limit_s: float
    seen: tuple[Moment, ...]

    def __bool__(self) -> bool:
        """Never true, so that `if seen := wait(…)` reads right."""
        return False

    def __str__(self) -> str:
        """Say what was awaited, for how long, and what was seen instead."""
        seen = ", ".join(f"{m.source} {m.kind} at {m.time_s:.2f} s" for m in self.seen) or "nothing"
        return f"waited {self.limit_s:.1f} s for {self.awaited}; saw instead: {seen}"


@dataclass(frozen=True, slots=True)
class Awaiting:
    """What a wait in progress waits for, and when it gives up; for those who watch the run."""

    what: str
    until_s: float


class Timeline:
    """Moments in order of arrival."""

    def __init__(self, clock: Clock, file: Path | None = None) -> None:
        """Keep moments in memory and, where `file` is given, on disk as they happen."""
        self.clock = clock
        self.trouble: str | None = None
        self.awaiting: Awaiting | None = None
        self._moments: list[Moment] = []
        self._changed = threading.Condition()
        self._end_asked = False
        self._listeners: list[Listener] = []
        self._file = file.open("a", encoding="utf-8", buffering=1) if file else None

    def add(
        self,
        source: str,
        kind: str,
        *,
        time_s: float | None = None,
        doubt_s: float = 0.0,
        details: Mapping[str, Json] | None = None,
        **data: Json,
    ) -> Moment:
        """Record what `source` saw, now unless `time_s` says when; `details` and keywords are its data."""
        when_s = self.clock.now_s() if time_s is None else time_s
        moment = Moment(when_s, doubt_s, source, kind, {**(details or {}), **data})
        with self._changed:
            self._moments.append(moment)
            self._write(moment)
            self._changed.notify_all()
        for listener in tuple(self._listeners):
            listener(moment)
        return moment

    def held_up(self, due_s: float, woke_s: float) -> None:
        """Record that the machine held a part of the bench up, between two readings of its monotonic clock."""
        begin_s, end_s = self.clock.at(due_s), self.clock.at(woke_s)
        self.add("bench", "held up", time_s=begin_s, for_s=round(end_s - begin_s, 4))

    def _write(self, moment: Moment) -> None:
        if self._file is None or self.trouble:
            return
        try:
            self._file.write(moment.to_line() + "\n")
        except (OSError, ValueError) as error:
            self.trouble = f"the run folder takes no more: {error}"

    def listen(self, listener: Listener) -> None:
        """Call `listener` with each moment from now on, in the thread that adds it."""
        self._listeners.append(listener)

    def mark(self) -> int:
        """Where the timeline ends now; hand it to `since` or `wait`."""
        with self._changed:
            return len(self._moments)

    def since(self, mark: int = 0) -> tuple[Moment, ...]:
        """All moments from a mark on."""
        with self._changed:
            return tuple(self._moments[mark:])

    def ask_end(self, asked: bool = True) -> None:
        """Have every wait raise KeyboardInterrupt from now on, or no longer. May be called by a signal's handler."""
        self._end_asked = asked

    def heed_end(self) -> None:
        """Raise KeyboardInterrupt where the end of the run was asked for."""
        if self._end_asked:
            raise KeyboardInterrupt

    def wait(self, match: Match, *, limit_s: float, awaited: str, since: int | None = None) -> Moment | Expired:
        """Wait for a moment that matches: from now on, or from a mark on.

        Returns:
            The first such moment, or `Expired` after `limit_s` unit seconds.

        Raises:
            KeyboardInterrupt: the end of the run was asked for.
        """
        start = self.mark() if since is None else since
        deadline_s = self.clock.now_s() + limit_s
        self.awaiting = Awaiting(awaited, deadline_s)
        at = start
        with self._changed:
            while True:
                self.heed_end()
                for moment in self._moments[at:]:
                    if match(moment):
                        self.awaiting = None
                        return moment
                at = len(self._moments)
                left_s = deadline_s - self.clock.now_s()
                if left_s <= 0.0:
                    self.awaiting = None
                    return Expired(awaited, limit_s, tuple(self._moments[start:][-SEEN_KEPT:]))
                self._changed.wait(self.clock.real_s(left_s))

    @contextmanager
    def busy_with(self, what: str, limit_s: float) -> Iterator[None]:
        """Tell those who watch what keeps the run busy, where it is no wait on the timeline."""
        self.awaiting = Awaiting(what, self.clock.now_s() + limit_s)
        try:
            yield
        finally:
            self.awaiting = None

    def close(self) -> None:
        """Close the file; moments stay readable in memory."""
        with self._changed:
            if self._file is not None:
                with suppress(OSError):  # what a full disk did not take is told by `trouble`
                    self._file.close()
                self._file = None
