"""One clock for a whole run.

All times in moments, limits and readings are *unit seconds* since the run began: the pace of the unit's life. On a desk
a unit second is a second. On the virtual bench `speed` unit seconds pass in a real one; whoever waits or measures with
the host's clock converts here and nowhere else.
"""

import time


class Clock:
    """Tells unit seconds since it was made."""

    def __init__(self, speed: float = 1.0) -> None:
        """Start at zero; `speed` is unit seconds per real second."""
        if speed <= 0.0:
            raise ValueError(f"speed must be above 0, not {speed}")
        self.speed = speed
        self._zero_monotonic_s = time.monotonic()

    def now_s(self) -> float:
        """Unit seconds since the run began."""
        return self.at(time.monotonic())

    def at(self, monotonic_s: float) -> float:
        """Turn a reading of the host's monotonic clock into unit seconds."""
        return (monotonic_s - self._zero_monotonic_s) * self.speed

    def unit_s(self, real_s: float) -> float:
        """How many unit seconds a real duration is: a lag of the bench weighs more at a higher speed."""
        return real_s * self.speed

    def real_s(self, unit_s: float) -> float:
        """How many real seconds to wait for a duration in unit seconds."""
        return unit_s / self.speed

    def pause(self, unit_s: float) -> None:
        """Let a duration pass that is itself the stimulus, a supply off for a second say; never to wait for an event."""
        time.sleep(self.real_s(unit_s))
