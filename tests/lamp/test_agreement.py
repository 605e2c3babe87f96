"""Kappa held against worked examples of manuals and textbooks, and a numerical derivative.

Examples marked "from memory" are so in data and result alike: that the one leads to the other shows that neither was
misremembered.
"""

import math

import numpy as np
import pytest
from scipy import stats

from hil.lamp.agreement import CohenKappa, cohen_kappa
from hil.lamp.doubt import Floats, NotTold

Table = list[list[int]]

# Psychiatrists, Fleiss, Levin and Paik, Statistical Methods for Rates and Proportions, 3rd ed., table 18.1; from memory.
PSYCHIATRISTS = [[75, 1, 4], [5, 4, 1], [0, 0, 10]]
# `SexualFun` of the R package vcd, after Agresti; from memory.
COUPLES = [[7, 7, 2, 3], [2, 8, 3, 7], [1, 5, 4, 9], [2, 8, 9, 14]]
# `SkinCondition`, example of kappa in the manual of SAS' procedure FREQ; from memory.
SKINS = [[10, 4, 1, 0], [5, 10, 12, 2], [2, 4, 12, 5], [0, 2, 6, 13]]


def words_of(table: Table) -> tuple[list[str], list[str]]:
    """Two raters' words whose counts are the table's, the first rater's word by row."""
    pairs = [(i, j) for i, row in enumerate(table) for j, count in enumerate(row) for _ in range(count)]
    return [f"word {i}" for i, _ in pairs], [f"word {j}" for _, j in pairs]


def cohen(table: Table) -> CohenKappa:
    found = cohen_kappa(*words_of(table))
    assert isinstance(found, CohenKappa)
    return found


@pytest.mark.parametrize(
    ("table", "kappa"),
    [
        # AIAG, Measurement Systems Analysis, 4th ed., III-C: appraisers among each other; printed .86 .79 .78.
        ([[44, 6], [3, 97]], 0.8629),
        ([[42, 5], [9, 94]], 0.7880),
        ([[43, 7], [8, 92]], 0.7761),
        # The same, against the reference; printed .88 .92 .77.
        ([[45, 5], [3, 97]], 0.8788),
        ([[45, 2], [3, 100]], 0.9230),
        ([[42, 9], [6, 93]], 0.7740),
        # Wikipedia's "Cohen's kappa".
        ([[20, 5], [10, 15]], 0.4000),
        ([[45, 15], [25, 15]], 0.1304),
        ([[25, 35], [5, 35]], 0.2593),
    ],
)
def test_the_manuals_and_textbooks_kappas(table: Table, kappa: float) -> None:
    assert cohen(table).kappa == pytest.approx(kappa, abs=6e-5)


@pytest.mark.parametrize(
    ("table", "kappa", "error", "digits"),
    [(PSYCHIATRISTS, 0.676, 0.088, 3), (COUPLES, 0.1293, 0.0686, 4), (SKINS, 0.3449, 0.0724, 4)],
)
def test_printed_standard_errors(table: Table, kappa: float, error: float, digits: int) -> None:
    """Sources stand at the tables."""
    found = cohen(table)
    assert found.kappa == pytest.approx(kappa, abs=0.6 * 10**-digits)
    assert found.standard_error == pytest.approx(error, abs=0.6 * 10**-digits)


def test_a_printed_interval_and_shares() -> None:
    """SAS prints 0.2030 to 0.4868 at 95 %; Fleiss, Levin and Paik .89 and .66 for the psychiatrists. Both from memory."""
    assert cohen(SKINS).interval_95 == pytest.approx((0.2030, 0.4868), abs=6e-5)
    found = cohen(PSYCHIATRISTS)
    assert (found.agreed, found.agreed_by_chance) == pytest.approx((0.89, 0.66))
    assert found.items == 100


def kappa_of_shares(shares: Floats) -> float:
    """Cohen's definition, of a table of shares."""
    chance = float(shares.sum(axis=1) @ shares.sum(axis=0))
    return (float(np.trace(shares)) - chance) / (1.0 - chance)


@pytest.mark.parametrize("table", [PSYCHIATRISTS, COUPLES, SKINS, [[44, 6], [3, 97]], [[0, 5], [7, 1]]])
def test_the_standard_error_is_that_of_a_numerical_derivative(table: Table) -> None:
    """The delta method without its formula: central differences of the definition, covariance of a multinomial."""
    count = np.array(table).sum()
    shares, step = np.array(table) / count, 1e-6
    slopes = np.zeros(shares.size)
    for at in range(shares.size):
        moved = np.zeros(shares.size)
        moved[at] = step
        moved = moved.reshape(shares.shape)
        # Shares that no longer add up to 1 are put right, so that the derivative is along true tables.
        up, down = ((shares + sign * moved) / (shares + sign * moved).sum() for sign in (1.0, -1.0))
        slopes[at] = (kappa_of_shares(up) - kappa_of_shares(down)) / (2.0 * step)
    flat = shares.ravel()
    variance = slopes @ (np.diag(flat) - np.outer(flat, flat)) @ slopes / count
    assert cohen(table).standard_error == pytest.approx(math.sqrt(variance), rel=1e-6)


@pytest.mark.parametrize(("table", "end"), [([[9, 1], [0, 10]], 1.0), ([[0, 3], [4, 0]], -1.0)])
def test_the_interval_is_cut_where_kappa_ends(table: Table, end: float) -> None:
    """By definition kappa lies from -1 to 1; to the other side the interval is 1.96 standard errors, as scipy has them."""
    found = cohen(table)
    assert found.standard_error is not None
    assert found.interval_95 is not None
    half = stats.norm.ppf(0.975) * found.standard_error
    assert abs(found.kappa + end * half) > 1.0
    assert end in found.interval_95
    assert found.interval_95[0 if end > 0 else 1] == pytest.approx(found.kappa - end * half, abs=1e-6)


def test_who_is_held_against_whom_does_not_count() -> None:
    one, other = words_of(SKINS)
    found, turned = cohen_kappa(one, other), cohen_kappa(other, one)
    assert isinstance(found, CohenKappa)
    assert isinstance(turned, CohenKappa)
    assert (turned.kappa, turned.standard_error) == pytest.approx((found.kappa, found.standard_error))


@pytest.mark.parametrize(
    ("table", "kappa"),
    [([[12, 0], [0, 8]], 1.0), ([[0, 7], [7, 0]], -1.0), ([[9, 3], [0, 0]], 0.0), ([[5, 4, 2], [0] * 3, [0] * 3], 0.0)],
)
def test_where_the_formula_gives_no_spread_none_is_claimed(table: Table, kappa: float) -> None:
    """All agree, none agrees, one of the two always gives the same word: kappa by its definition."""
    found = cohen(table)
    assert found.kappa == pytest.approx(kappa, abs=1e-12)
    assert (found.standard_error, found.interval_95) == (None, None)


def test_one_word_alone_is_said_to_tell_nothing() -> None:
    said = NotTold("'green' is the only word given: agreement beyond chance is not defined")
    assert cohen_kappa(["green"] * 9, ["green"] * 9) == said


@pytest.mark.parametrize(
    ("words", "against", "message"),
    [
        ([], [], "0 items"),
        (["red"], ["red"], "1 items"),
        (["red", "off"], ["red"], "2 words against 1"),
        (["red", ""], ["red", "off"], "empty word"),
        (["red", "off"], ["red", ""], "empty word"),
        ("red", ["red", "off", "off"], "one text"),
        (["red", "off", "off"], "red", "one text"),
    ],
)
def test_two_that_cannot_be_compared_are_refused(words: list[str], against: list[str], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        cohen_kappa(words, against)
