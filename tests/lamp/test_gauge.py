"""Gauge studies held against the AIAG manual's example, nested least squares, NIST's certified spreads and drawn studies.

The manual's table is `gauge_rr_aiag.csv`, NIST's are `nist_strd_univariate.csv`; each names its source in its first line.
"""

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from hil.lamp.doubt import Floats, NotTold
from hil.lamp.gauge import POOL_ABOVE, GaugeStudy, crossed_anova, gauge_study

PUBLISHED = Path(__file__).parents[1] / "published"
# NIST Statistical Reference Datasets, univariate summary statistics: certified standard deviations.
CERTIFIED = {
    "lottery": 291.699727470969,
    "lew": 277.332168044316,
    "mavro": 0.000429123454003053,
    "michelson": 0.0790105478190518,
    "numacc1": 1.0,
    "numacc2": 0.1,
    "numacc3": 0.1,
    "numacc4": 0.1,
}
NUMACC_FROM = {"numacc2": 1.0, "numacc3": 1_000_000.0, "numacc4": 10_000_000.0}


def rows(name: str) -> list[list[str]]:
    """The rows of a published table below its source and its heads."""
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))[2:]


@pytest.fixture(scope="module")
def aiag() -> Floats:
    """AIAG, Measurement Systems Analysis, 4th ed. (2010), III-B: shape (10 parts, 3 appraisers, 3 trials)."""
    values = np.full((10, 3, 3), np.nan)
    for appraiser, part, trial, value in rows("gauge_rr_aiag.csv"):
        values[int(part) - 1, "ABC".index(appraiser), int(trial) - 1] = float(value)
    return values


def told(values: Floats, *, tolerance: float | None = None, pool_above: float = POOL_ABOVE) -> GaugeStudy:
    study = gauge_study(values, tolerance=tolerance, pool_above=pool_above)
    assert isinstance(study, GaugeStudy)
    return study


def drawn(seed: int, *, shape: tuple[int, int, int], sds: tuple[float, float, float, float]) -> Floats:
    """A study drawn from known standard deviations of parts, conditions, interaction and repeats."""
    dice, (parts, conditions, trials) = np.random.default_rng(seed), shape
    effects = [(parts, 1, 1), (1, conditions, 1), (parts, conditions, 1), (parts, conditions, trials)]
    return np.asarray(sum(sd * dice.standard_normal(size) for sd, size in zip(sds, effects, strict=True)))


def test_the_manuals_sums_of_squares(aiag: Floats) -> None:
    """AIAG 4th ed., III-B, table of the ANOVA."""
    anova = crossed_anova(aiag)
    found = [anova.conditions, anova.parts, anova.interaction, anova.repeats]
    assert [squares.sum for squares in found] == pytest.approx([3.16726, 88.36193, 0.35898, 2.75893], abs=6e-6)
    assert [squares.freedom for squares in found] == [2, 9, 18, 60]
    assert anova.shape == (10, 3, 3)


def test_the_manuals_ratios_of_mean_squares(aiag: Floats) -> None:
    """AIAG 4th ed., III-B: F against the equipment, and against the interaction."""
    anova = crossed_anova(aiag)
    repeats, interaction = anova.repeats.mean, anova.interaction.mean
    assert [anova.parts.mean / repeats, anova.conditions.mean / repeats] == pytest.approx([213.517, 34.440], abs=6e-4)
    assert [anova.parts.mean / interaction, anova.conditions.mean / interaction] == pytest.approx(
        [492.291, 79.406], abs=6e-4
    )
    assert interaction / repeats == pytest.approx(0.434, abs=6e-4)


def test_the_manuals_figures_with_the_interaction_pooled(aiag: Floats) -> None:
    """AIAG 4th ed., III-B, the ANOVA's report. Its figures are those with the interaction pooled, whose p is 0.974."""
    study = told(aiag)
    assert study.interaction_pooled
    assert study.interaction_p == pytest.approx(0.9741, abs=6e-5)
    sources = [study.repeatability, study.reproducibility, study.gauge, study.parts, study.total]
    assert [source.variance for source in sources] == pytest.approx(
        [0.0399733, 0.0514553, 0.0399733 + 0.0514553, 1.0864466, 1.1778751], abs=1.1e-7
    )
    assert [source.standard_deviation for source in sources] == pytest.approx(
        [0.199933, 0.226838, 0.302372, 1.042327, 1.085300], abs=1.1e-6
    )
    assert [source.percent_of_total for source in sources] == pytest.approx(
        [18.42, 20.90, 27.86, 96.04, 100.0], abs=6e-3
    )
    assert 100.0 * study.gauge.variance / study.total.variance == pytest.approx(7.76, abs=6e-3)
    assert study.distinct_categories == 4  # printed: 4.86, so 4


def test_the_manuals_data_without_pooling(aiag: Floats) -> None:
    """Kept apart, the example's interaction has a negative estimate, told as 0; EV is then the root of 0.045982 (III-B)."""
    study = told(aiag, pool_above=1.0)
    assert not study.interaction_pooled
    assert study.interaction.variance == 0.0
    assert study.repeatability.variance == pytest.approx(0.045982, abs=6e-7)
    assert study.reproducibility == study.conditions


def test_pooling_begins_above_the_bound_given(aiag: Floats) -> None:
    """The example's p is 0.9741 (III-B)."""
    assert told(aiag, pool_above=0.974).interaction_pooled
    assert not told(aiag, pool_above=0.975).interaction_pooled


@pytest.mark.parametrize(("chance", "pooled"), [(0.24, False), (0.26, True)])
def test_pooling_begins_above_a_quarter(chance: float, pooled: bool) -> None:
    """The manual's bound. Interaction ± half the root of F, repeats ± 1: mean squares 2 F and 2, with 1 and 4 degrees."""
    crossed = math.sqrt(stats.f.isf(chance, 1, 4)) / 2.0 * np.array([[1.0, -1.0], [-1.0, 1.0]])
    study = gauge_study(crossed[:, :, None] + np.array([1.0, -1.0]))
    assert isinstance(study, GaugeStudy)
    assert study.interaction_p == pytest.approx(chance)
    assert study.interaction_pooled == pooled


def test_per_cent_of_the_tolerance(aiag: Floats) -> None:
    """By definition, six standard deviations over the tolerance (AIAG 4th ed., III-B): of 0.302372 over 4, 45.36 %."""
    study = told(aiag, tolerance=4.0)
    assert study.gauge.percent_of_tolerance == pytest.approx(45.356, abs=1e-3)
    assert study.parts.percent_of_tolerance == pytest.approx(600.0 * 1.042327 / 4.0, abs=1e-3)
    assert told(aiag).gauge.percent_of_tolerance is None


def nested_sums(values: Floats) -> tuple[list[float], list[int]]:
    """Squares that parts, conditions, both crossed, and nothing explain: of least squares on indicators, and their freedom."""
    indices = np.indices(values.shape).reshape(3, -1)
    part, condition = np.eye(values.shape[0])[indices[0]], np.eye(values.shape[1])[indices[1]]
    crossed = (part[:, :, None] * condition[:, None, :]).reshape(values.size, -1)
    left, ranks = [], []
    for design in (
        np.ones((values.size, 1)),
        part,
        np.hstack([part, condition]),
        np.hstack([part, condition, crossed]),
    ):
        fitted, _, rank, _ = np.linalg.lstsq(design, values.ravel(), rcond=None)
        left.append(float(((values.ravel() - design @ fitted) ** 2).sum()))
        ranks.append(int(rank))
    return [*(-np.diff(left)), left[-1]], [*np.diff(ranks), values.size - ranks[-1]]


@pytest.mark.parametrize(
    ("shape", "sds"),
    [
        ((10, 3, 3), (1.0, 0.3, 0.4, 0.2)),
        ((5, 4, 2), (2.0, 1.0, 0.0, 0.5)),
        ((2, 2, 2), (1.0, 1.0, 1.0, 1.0)),
        ((3, 7, 5), (0.1, 3.0, 1.0, 0.3)),
    ],
)
@pytest.mark.parametrize("pool_above", [0.25, 1.0])
def test_nested_least_squares_give_the_same(
    shape: tuple[int, int, int], sds: tuple[float, float, float, float], pool_above: float
) -> None:
    """numpy's least squares split the squares, scipy's F gives the chance, and the expected mean squares are solved."""
    values = 50.0 + drawn(3, shape=shape, sds=sds)
    sums, freedoms = nested_sums(values)
    anova, study = crossed_anova(values), told(values, pool_above=pool_above)
    found = [anova.parts, anova.conditions, anova.interaction, anova.repeats]
    assert [squares.sum for squares in found] == pytest.approx(sums, rel=1e-9)
    assert [squares.freedom for squares in found] == freedoms

    means = np.array(sums) / freedoms
    chance = stats.f.sf(means[2] / means[3], freedoms[2], freedoms[3])
    assert study.interaction_p == pytest.approx(chance, rel=1e-9)
    assert study.interaction_pooled == (chance > pool_above)
    if chance > pool_above:
        means[2:] = sum(sums[2:]) / sum(freedoms[2:])
    # Expected mean squares, one row a mean square: of parts, conditions, interaction, repeats.
    parts, conditions, trials = shape
    expected = [[conditions * trials, 0, trials, 1], [0, parts * trials, trials, 1], [0, 0, trials, 1], [0, 0, 0, 1]]
    variances = np.maximum(np.linalg.solve(np.array(expected, dtype=float), means), 0.0)
    got = [study.parts, study.conditions, study.interaction, study.repeatability]
    assert [source.variance for source in got] == pytest.approx(list(variances), rel=1e-9, abs=1e-12)
    assert study.reproducibility.variance == pytest.approx(variances[1] + variances[2], rel=1e-9, abs=1e-12)
    assert study.total.variance == pytest.approx(variances.sum(), rel=1e-9)


def test_the_cases_above_take_both_ways() -> None:
    """Else the pooled way, or the other, would not have been held against anything."""
    assert not told(drawn(3, shape=(10, 3, 3), sds=(1.0, 0.3, 0.4, 0.2))).interaction_pooled
    assert told(drawn(3, shape=(5, 4, 2), sds=(2.0, 1.0, 0.0, 0.5))).interaction_pooled


def test_drawn_studies_give_what_they_were_drawn_from() -> None:
    """Mean of 200 studies drawn with a seed, large enough that hardly any estimate is cut at 0; within three errors."""
    sds = (1.0, 0.5, 0.4, 0.3)
    studies = [told(drawn(seed, shape=(12, 12, 2), sds=sds), pool_above=1.0) for seed in range(200)]
    sources = [[s.parts, s.conditions, s.interaction, s.repeatability] for s in studies]
    found = np.array([[source.variance for source in study] for study in sources])
    assert (np.abs(found.mean(axis=0) - np.square(sds)) < 3.0 * found.std(axis=0) / math.sqrt(200)).all()


@pytest.mark.parametrize("name", CERTIFIED)
def test_repeatability_is_the_certified_standard_deviation(name: str) -> None:
    """NIST StRD: a certified set as the trials of every cell. numpy itself strays by 6e-10 in the hardest set, NumAcc4."""
    if name in NUMACC_FROM:  # their published rule: x.2, then 500 pairs of x.1 and x.3
        trials = NUMACC_FROM[name] + np.array([0.2, *[0.1, 0.3] * 500])
    else:
        trials = np.array([float(value) for dataset, _, value in rows("nist_strd_univariate.csv") if dataset == name])
    study = told(np.broadcast_to(trials, (2, 2, len(trials))), pool_above=1.0)
    assert study.repeatability.standard_deviation == pytest.approx(
        CERTIFIED[name], rel=1e-12 if trials[0] < 1e5 else 1e-8
    )
    assert study.parts.variance == study.reproducibility.variance == 0.0
    assert study.distinct_categories == 0


def test_readings_that_do_not_vary_are_said_to() -> None:
    study = gauge_study(np.full((3, 3, 3), 0.1))
    assert study == NotTold("all 27 readings are the same: there is no variation to divide")


def test_a_spread_of_rounding_is_none() -> None:
    """0.1 + 0.2 is not 0.3 to a computer; no instrument tells them apart."""
    values = np.full((3, 3, 3), 0.3)
    values[1, 1, 1] = 0.1 + 0.2
    assert values[1, 1, 1] != 0.3
    assert isinstance(gauge_study(values), NotTold)


@pytest.mark.parametrize("offset", [0.0, 0.1, 1e6])
def test_an_instrument_without_a_spread_of_its_own(offset: float) -> None:
    """All variation is the parts': nothing limits the categories, and there is no interaction to have a chance."""
    study = told(np.broadcast_to(offset + np.array([1.1, 2.3, 3.7])[:, None, None], (3, 4, 2)))
    assert study.gauge.variance == 0.0
    assert study.parts.percent_of_total == 100.0
    assert study.parts.variance == pytest.approx(np.var([1.1, 2.3, 3.7], ddof=1))
    assert (study.distinct_categories, study.interaction_p, study.interaction_pooled) == (None, None, False)


def test_an_interaction_beside_no_repeatability_is_certain() -> None:
    values = np.broadcast_to(np.array([[1.0, 2.0], [2.0, 1.0]])[:, :, None], (2, 2, 3))
    study = told(values)
    assert (study.interaction_p, study.interaction_pooled) == (0.0, False)
    assert study.interaction.percent_of_total == 100.0


def test_an_additive_study_shows_no_interaction() -> None:
    """Parts and conditions that only add up, in numbers that are no binary fractions: what is left is rounding."""
    values = np.array([0.1, 0.7, 1.3])[:, None, None] + np.array([0.2, 0.3])[None, :, None] + np.zeros(2)
    assert told(values).gauge.variance == pytest.approx(0.005)  # variance of 0.2 and 0.3
    assert told(values).interaction_p is None


def test_the_order_of_parts_conditions_and_trials_does_not_count(aiag: Floats) -> None:
    turned = told(aiag[::-1, [2, 0, 1], ::-1] + 7.0)
    assert turned.gauge.variance == pytest.approx(told(aiag).gauge.variance, rel=1e-12)
    assert turned.parts.variance == pytest.approx(told(aiag).parts.variance, rel=1e-12)


def test_far_from_zero_no_digits_are_lost(aiag: Floats) -> None:
    """Readings in steps of 1/64, which a computer holds exactly at 1e9 as at 0."""
    near = np.round(aiag * 64.0) / 64.0
    assert told(near + 1e9).parts.variance == pytest.approx(told(near).parts.variance, rel=1e-12)
    assert told(near + 1e9).interaction_p == pytest.approx(told(near).interaction_p, rel=1e-9)


@pytest.mark.parametrize(
    ("values", "message"),
    [
        (np.zeros((1, 2, 2)), "parts number 1"),
        (np.zeros((2, 1, 2)), "conditions number 1"),
        (np.zeros((2, 2, 1)), "trials number 1"),
        (np.zeros((0, 2, 2)), "parts number 0"),
        (np.zeros((4, 4)), r"shape \(4, 4\)"),
        ([[[1.0, 2.0], [1.0]], [[1.0, 2.0], [1.0, 2.0]]], "gaps"),
        ([[[0.0, 0.0], [0.0, 0.0]], [[0.0, math.nan], [0.0, 0.0]]], "holds nan.*part 1, condition 0, trial 1"),
        ([[[0.0, math.inf], [0.0, 0.0]], [[0.0, 0.0], [0.0, 0.0]]], "holds inf.*part 0, condition 0, trial 1"),
    ],
)
def test_a_study_that_is_none_is_refused(values: Floats, message: str) -> None:
    for function in (gauge_study, crossed_anova):
        with pytest.raises(ValueError, match=message):
            function(values)


@pytest.mark.parametrize("tolerance", [0.0, -1.0, math.nan, math.inf])
def test_a_tolerance_that_is_none_is_refused(tolerance: float) -> None:
    with pytest.raises(ValueError, match="tolerance"):
        gauge_study(np.zeros((2, 2, 2)), tolerance=tolerance)


@pytest.mark.parametrize("pool_above", [-0.1, 1.1, math.nan])
def test_a_chance_that_is_none_is_refused(pool_above: float) -> None:
    with pytest.raises(ValueError, match="pool_above"):
        gauge_study(np.zeros((2, 2, 2)), pool_above=pool_above)
