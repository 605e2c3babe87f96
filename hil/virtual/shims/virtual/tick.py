"""The unit's clock rate, and the real clock beneath it.

`RATE` is unit seconds per real second. Only this module reads the real clock:
everything else in the unit lives in unit time.
"""

import os

try:
    from utime import ticks_us as real_us  # MicroPython's own clock, whatever `time` is put before it
except ImportError:
    from time import monotonic_ns

    def real_us():
        """Return real microseconds on the monotonic clock."""
        return monotonic_ns() // 1000


RATE = float(os.getenv("HIL_TICK_RATE") or 1)

# when the chip started, which is before this interpreter did
STARTED_US = int(float(os.getenv("HIL_STARTED") or 0) * 1e6) or real_us()


def unit_us():
    """Return unit microseconds since the chip started."""
    return int((real_us() - STARTED_US) * RATE)
