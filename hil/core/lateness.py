"""Notices when the machine held this process up: a thread that should have run, and did not, for a noticeable time.

What was stamped, or should have been done, in such a stretch came late by the bench's own fault.
"""

import threading
import time
from collections.abc import Callable

BEAT_REAL_S = 0.02
LATE_REAL_S = 0.06  # less than this is common on a machine that is not idle, and within every doubt

OnLate = Callable[[float, float], None]


class LateWatch:
    """A thread that wakes again and again, and tells each stretch in which it was not let to, by the monotonic clock."""

    def __init__(self, on_late: OnLate, kept_waiting_s: Callable[[], float] = lambda: 0.0) -> None:
        """Name who is told, from the watch's own thread: when it should have gone on, and when it did.

        `kept_waiting_s` says for how long something else was kept waiting since it was asked last, again in that thread.
        """
        self._on_late, self._kept_waiting_s = on_late, kept_waiting_s
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._watch, name="lateness", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End, and wait for it."""
        self._stop.set()
        self._thread.join()

    def _watch(self) -> None:
        due_s = time.monotonic() + BEAT_REAL_S
        while not self._stop.is_set():
            # A sleep is what is measured, and waiting for an event costs several times as much.
            time.sleep(max(0.0, due_s - time.monotonic()))
            woke_s = time.monotonic()
            if woke_s - due_s > LATE_REAL_S:
                self._on_late(due_s, woke_s)
            if (waited_s := self._kept_waiting_s()) > LATE_REAL_S:
                self._on_late(woke_s - waited_s - BEAT_REAL_S, woke_s)
            due_s = woke_s + BEAT_REAL_S
