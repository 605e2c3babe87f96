"""The lag of a path. Held against the order statistics of a uniform sample: the k-th smallest of n holds the next with
probability k / (n + 1) (S. S. Wilks, Annals of Mathematical Statistics 12, 1941)."""

import numpy as np
import pytest

from hil.core.lag import RECENT, Lag


def test_the_first_bound_stands_until_a_lag_can_hold_the_next() -> None:
    """The greatest of 19 holds the next with 19 / 20; of 18 none does."""
    lag = Lag(5.0)
    for number in range(1, 19):
        lag.measured(number / 100.0)
        assert lag.bound_s == 5.0
    lag.measured(0.01)
    assert lag.bound_s == 0.18


@pytest.mark.parametrize("skewed", [False, True])
def test_the_next_lag_keeps_the_bound_as_often_as_said(skewed: bool) -> None:
    rng = np.random.default_rng(1)
    kept = 0
    for _ in range(2000):
        lags = rng.exponential(0.003, 41) ** (3 if skewed else 1)
        lag = Lag(0.0)
        for one in lags[:-1]:
            lag.measured(float(one))
        kept += lags[-1] <= lag.bound_s
    # k / (n + 1) for n = 40, and four standard deviations of the count
    expected = np.ceil(0.95 * 41) / 41
    assert abs(kept / 2000 - expected) < 4 * np.sqrt(expected * (1 - expected) / 2000)


def test_old_lags_are_forgotten() -> None:
    lag = Lag(0.0)
    for lag_s in [9.0] * RECENT + [0.001] * RECENT:
        lag.measured(lag_s)
    assert lag.bound_s == 0.001
