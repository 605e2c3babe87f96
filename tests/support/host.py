"""Whether the host stood still for a moment while a test ran: one that holds a fast clock to times may fail of it alone."""

import threading
import time

LOOK_EVERY_S = 0.005
STOOD_STILL_S = 0.025  # half a second of a clock that goes twenty times as fast as ours


class HostWatch:
    """Wakes every few milliseconds, in a thread of its own, and remembers how late it was."""

    def __init__(self) -> None:
        self._latest_s = 0.0
        self._watches = False

    def begin(self) -> None:
        """From now on count what comes."""
        self._latest_s = 0.0
        if not self._watches:
            self._watches = True
            threading.Thread(target=self._watch, name="host watch", daemon=True).start()

    def stood_still(self) -> bool:
        """Whether the host held us up since `begin`, for long enough that a fast clock would tell."""
        return self._latest_s >= STOOD_STILL_S

    def _watch(self) -> None:
        due_s = time.monotonic()
        while True:
            due_s += LOOK_EVERY_S
            time.sleep(max(0.0, due_s - time.monotonic()))
            now_s = time.monotonic()
            self._latest_s = max(self._latest_s, now_s - due_s)
            due_s = now_s


HOST = HostWatch()
