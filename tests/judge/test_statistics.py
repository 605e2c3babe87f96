"""Counts of failures and spreads of times, held against scipy's own interval, published tables, and definitions."""

import numpy as np
import pytest
from scipy.stats import binomtest

from hil.core.readings import Reading
from hil.judge.statistics import (
    highest_rate,
    percentile_over_median,
    rate_between,
    rate_statement,
    spread_of,
    spread_statement,
)


@pytest.mark.parametrize("tried", [1, 2, 8, 20, 31, 200])
def test_the_bound_is_scipys_exact_one(tried: int) -> None:
    """`binomtest(...).proportion_ci(method="exact")` is an implementation of Clopper and Pearson's of its own."""
    for failed in range(0, tried + 1, max(1, tried // 7)):
        exact = binomtest(failed, tried, alternative="less").proportion_ci(0.95, method="exact").high
        assert highest_rate(failed, tried) == pytest.approx(exact, abs=1e-9)


@pytest.mark.parametrize(
    ("failed", "tried", "upper"),
    [(81, 263, 0.3676), (15, 148, 0.1617), (0, 20, 0.1684), (1, 29, 0.1776)],
)
def test_newcombes_cases(failed: int, tried: int, upper: float) -> None:
    """R. G. Newcombe, Statistics in Medicine 17 (1998) 857, Table I: upper ends of the two-sided exact intervals at 95 %."""
    assert highest_rate(failed, tried, confidence=0.975) == pytest.approx(upper, abs=5e-5)


@pytest.mark.parametrize("tried", [30, 50, 100, 300, 1000])
def test_rule_of_three(tried: int) -> None:
    """J. A. Hanley and A. Lippman-Hand, JAMA 249 (1983) 1743: after no failure in n, at most 3/n; near it from 30 on."""
    bound = highest_rate(0, tried)
    assert bound == pytest.approx(1.0 - 0.05 ** (1.0 / tried), rel=1e-9)
    assert 0.94 * 3.0 / tried < bound < 3.0 / tried


def test_the_bound_covers_as_promised() -> None:
    """At any true rate the bound lies below it in at most 5 of 100 sets of tries: what an exact bound is."""
    tries = 20
    for rate in np.linspace(0.02, 0.98, 25):
        missed = [k for k in range(tries + 1) if highest_rate(k, tries) < rate]
        chance = sum(_chance(k, tries, rate) for k in missed)
        assert chance <= 0.05 + 1e-12


def _chance(failed: int, tried: int, rate: float) -> float:
    """Of so many failures, by the binomial formula."""
    ways = 1.0
    for at in range(failed):
        ways *= (tried - at) / (at + 1)
    return float(ways * rate**failed * (1.0 - rate) ** (tried - failed))


def test_what_cannot_be_counted() -> None:
    for failed, tried in ((-1, 3), (4, 3)):
        with pytest.raises(ValueError, match="no counts"):
            highest_rate(failed, tried)


def test_in_words() -> None:
    assert rate_statement(0, 20) == "0 of 20 failed: true rate below 14.0 % (95 %, Clopper–Pearson)"  # 13.911 %
    assert rate_statement(3, 3) == "3 of 3 failed"
    assert rate_statement(0, 0) == "none tried"


@pytest.mark.parametrize("tried", range(1, 400, 13))
def test_the_words_never_promise_more_than_the_figure(tried: int) -> None:
    said = float(rate_statement(0, tried).split("below ")[1].split(" %")[0])
    assert highest_rate(0, tried) * 100.0 <= said < highest_rate(0, tried) * 100.0 + 0.11


def test_the_figures_of_a_set() -> None:
    """By hand: 1 to 21 in any order; the 95th percentile is the 20th, with nothing to interpolate."""
    values = [float(v) for v in (*range(21, 10, -1), *range(1, 11))]
    spread = spread_of(values)
    assert spread is not None
    assert (spread.count, spread.lowest, spread.median, spread.highest) == (21, 1.0, 11.0, 21.0)
    assert spread.percentile_95 == pytest.approx(20.0)
    assert spread_of([]) is None


NEVER = Reading(18.0, float("inf"), "s")


def timed(*values: float) -> list[Reading]:
    return [Reading.of(value, 0.02, "s") for value in values]


def test_times_in_words() -> None:
    assert spread_statement(timed(3.9, 4.0, 4.1)) == "of 3: median 4.00 s, 95th percentile 4.10 s, 3.90 to 4.10 s"
    assert spread_statement([]) == ""
    assert spread_statement([*timed(3.9), NEVER]).startswith("of 1: ")


def test_one_slow_kind_shows_in_the_ratio() -> None:
    """Sixteen starts of 4 s and four of 8 s: the 95th percentile is 8 s, twice the median."""
    ratio = percentile_over_median(timed(*[4.0] * 16, *[8.0] * 4))
    assert ratio is not None
    assert ratio.value == pytest.approx(2.0)
    assert ratio.doubt == pytest.approx(2.0 * np.hypot(0.02 / 8.0, 0.02 / 4.0))


@pytest.mark.parametrize(("never", "above"), [(1, False), (2, True)])
def test_starts_that_never_ended(never: int, above: bool) -> None:
    """One in twenty is beyond the 95th percentile, two are not; then nobody knows how large it is."""
    ratio = percentile_over_median([*timed(*[4.0] * (20 - never)), *[NEVER] * never])
    assert ratio is not None
    assert (ratio.low > 1.5, ratio.value is None) == (above, above)


def test_nothing_timed_has_no_ratio() -> None:
    assert percentile_over_median([]) is None
    assert percentile_over_median([NEVER]) is None


@pytest.mark.parametrize(
    ("failed", "tried", "low", "high"),
    [(81, 263, 0.2527, 0.3676), (15, 148, 0.0578, 0.1617), (0, 20, 0.0, 0.1684), (1, 29, 0.0009, 0.1776)],
)
def test_newcombes_cases_two_sided(failed: int, tried: int, low: float, high: float) -> None:
    """R. G. Newcombe, Statistics in Medicine 17 (1998) 857, Table I: the exact intervals of Clopper and Pearson at 95 %."""
    assert rate_between(failed, tried) == pytest.approx((low, high), abs=5e-5)
