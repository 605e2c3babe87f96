"""A path's own lag: what lies between a happening and its moment, measured again and again while a run lasts."""

import math
import threading
from collections import deque

RECENT = 199  # lags remembered: a machine that grows busy shows soon


class Lag:
    """The bound that the next lag keeps with 95 %, from the lags measured last. Safe for several threads.

    Of n lags of any distribution, the k-th smallest holds the next one with probability k / (n + 1).
    Source: S. S. Wilks, Annals of Mathematical Statistics 12, 1941.
    """

    def __init__(self, at_first_s: float) -> None:
        """Give a bound for as long as too few lags were measured: of too few, none holds the next one that often."""
        self.bound_s = at_first_s
        self._lags_s: deque[float] = deque(maxlen=RECENT)
        self._lock = threading.Lock()

    def measured(self, lag_s: float) -> None:
        """Take one lag more."""
        with self._lock:
            self._lags_s.append(lag_s)
            count = len(self._lags_s)
            rank = math.ceil(0.95 * (count + 1))
            if rank <= count:
                self.bound_s = sorted(self._lags_s)[rank - 1]
