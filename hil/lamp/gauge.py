"""How much of the spread of readings is the instrument's own: repeatability and reproducibility of a crossed study.

Several parts are read under several conditions, several times each; every part under every condition. What the manual calls
appraisers are here conditions: aimed anew, another exposure, another light in the room.
Source of all formulas, where none is named: AIAG, Measurement Systems Analysis, 4th ed. (2010), chapter III-B and appendix A,
the ANOVA method for parts and conditions that are drawn at random from many.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hil.lamp.doubt import Floats, NotTold

POOL_ABOVE = 0.25  # the manual's: an interaction that chance explains better than this is taken as repeatability
SIGMAS_IN_TOLERANCE = 6.0  # the manual's 4th edition: 99.73 % of normal readings; the 2nd had 5.15
CATEGORIES_FACTOR = 1.41  # the manual's, for the square root of 2
ROUNDING_STEPS = 16.0  # of the largest value's last binary digit: a spread below is the computer's own


@dataclass(frozen=True, slots=True)
class Squares:
    """A sum of squared deviations, in the readings' unit squared, and its degrees of freedom."""

    sum: float
    freedom: int

    @property
    def mean(self) -> float:
        """The mean square, in the readings' unit squared."""
        return self.sum / self.freedom


@dataclass(frozen=True, slots=True)
class CrossedAnova:
    """The analysis of variance of a crossed study; `shape` is its count of parts, conditions and trials."""

    shape: tuple[int, int, int]
    parts: Squares
    conditions: Squares
    interaction: Squares
    repeats: Squares


@dataclass(frozen=True, slots=True)
class Variation:
    """The part of the variation that one source makes.

    `variance` is in the readings' unit squared, `standard_deviation` in their unit. Per cents are of standard deviations,
    so those of several sources do not add up to 100. `percent_of_tolerance` is None where no tolerance was given.
    """

    variance: float
    standard_deviation: float
    percent_of_total: float
    percent_of_tolerance: float | None


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """What a crossed study tells of an instrument.

    In the manual's letters: `repeatability` is EV, `reproducibility` AV, which is `conditions` and `interaction` together,
    `gauge` GRR, which is EV and AV together, `parts` PV, and `total` TV. The variance of a source comes out at 0 where its
    estimate is negative.
    `distinct_categories` is None where the instrument shows no variation of its own, so that nothing limits them.
    `interaction_p` is the chance of so large an interaction where there is none; None where neither an interaction nor
    any repeatability shows.
    """

    repeatability: Variation
    conditions: Variation
    interaction: Variation
    reproducibility: Variation
    gauge: Variation
    parts: Variation
    total: Variation
    distinct_categories: int | None
    interaction_pooled: bool
    interaction_p: float | None


def gauge_study(
    values: Sequence[Sequence[Sequence[float]]] | Floats,
    *,
    tolerance: float | None = None,
    pool_above: float = POOL_ABOVE,
) -> GaugeStudy | NotTold:
    """Tell an instrument's repeatability and reproducibility from a crossed study.

    Args:
        values: shape (parts, conditions, trials), each at least 2; any one unit.
        tolerance: upper less lower limit of what is measured, same unit.
        pool_above: an interaction whose p value is above this is pooled with the repeatability; 1 never pools.

    Categories are `floor(1.41 PV / GRR)`, 0 included. Readings that do not vary at all are `NotTold`: nothing then says
    whether the instrument would follow a change.

    Raises ValueError: shape too small or not of three axes, a value that is not finite, a tolerance that is not positive,
    `pool_above` outside 0 to 1.
    """
    if tolerance is not None and not (math.isfinite(tolerance) and tolerance > 0):
        raise ValueError(f"the tolerance is {tolerance}: give upper less lower limit, positive and finite.")
    if not 0.0 <= pool_above <= 1.0:
        raise ValueError(f"pool_above is {pool_above}: a p value lies from 0 to 1.")
    anova = crossed_anova(values)
    if not any(squares.sum for squares in (anova.parts, anova.conditions, anova.interaction, anova.repeats)):
        return NotTold(f"all {math.prod(anova.shape)} readings are the same: there is no variation to divide")
    chance = _chance_of_interaction(anova)
    pooled = chance is not None and chance > pool_above
    repeatability, conditions, interaction, parts = _components(anova, pooled=pooled)
    gauge = repeatability + conditions + interaction
    total = gauge + parts

    def told(variance: float) -> Variation:
        return _variation(variance, total, tolerance)

    return GaugeStudy(
        repeatability=told(repeatability),
        conditions=told(conditions),
        interaction=told(interaction),
        reproducibility=told(conditions + interaction),
        gauge=told(gauge),
        parts=told(parts),
        total=told(total),
        distinct_categories=math.floor(CATEGORIES_FACTOR * math.sqrt(parts / gauge)) if gauge else None,
        interaction_pooled=pooled,
        interaction_p=chance,
    )


def crossed_anova(values: Sequence[Sequence[Sequence[float]]] | Floats) -> CrossedAnova:
    """Split the squared deviations of a crossed study, shape (parts, conditions, trials), by their source.

    A sum that rounding alone explains is 0, so that a spread of nothing is not divided by another.

    Raises ValueError: shape too small or not of three axes, a value that is not finite.
    """
    readings = _readings(values)
    parts, conditions, trials = readings.shape
    shifted = readings - readings[0, 0, 0]  # small numbers lose less when they are averaged
    # Once more within each cell: equal trials then leave exactly nothing.
    within = shifted - shifted[:, :, :1]
    cells = shifted[:, :, 0] + within.mean(axis=2)
    by_part, by_condition, grand = cells.mean(axis=1), cells.mean(axis=0), cells.mean()
    between = cells - by_part[:, None] - by_condition[None, :] + grand
    least = readings.size * (ROUNDING_STEPS * np.finfo(np.float64).eps * float(np.abs(readings).max())) ** 2

    def squares(deviations: Floats, times: int, freedom: int) -> Squares:
        found = times * float((deviations**2).sum())
        return Squares(found if found > least else 0.0, freedom)

    return CrossedAnova(
        shape=(parts, conditions, trials),
        parts=squares(by_part - grand, conditions * trials, parts - 1),
        conditions=squares(by_condition - grand, parts * trials, conditions - 1),
        interaction=squares(between, trials, (parts - 1) * (conditions - 1)),
        repeats=squares(within - within.mean(axis=2, keepdims=True), 1, parts * conditions * (trials - 1)),
    )


def _readings(values: Sequence[Sequence[Sequence[float]]] | Floats) -> Floats:
    try:
        readings = np.asarray(values, dtype=np.float64)
    except ValueError as error:  # lists of different lengths, or words
        raise ValueError(
            "the study has gaps: give every part as many trials under every condition, all numbers."
        ) from error
    if readings.ndim != 3:
        raise ValueError(f"the study has shape {readings.shape}: give (parts, conditions, trials).")
    for name, count in zip(("parts", "conditions", "trials"), readings.shape, strict=True):
        if count < 2:
            raise ValueError(f"the study's {name} number {count}: a spread needs at least 2.")
    if not np.isfinite(readings).all():
        part, condition, trial = (int(at) for at in np.argwhere(~np.isfinite(readings))[0])
        where = f"part {part}, condition {condition}, trial {trial}, counted from 0"
        raise ValueError(f"the study holds {readings[part, condition, trial]}, which is not finite ({where}).")
    return readings


def _chance_of_interaction(anova: CrossedAnova) -> float | None:
    """The upper tail of Fisher's F of the interaction against the repeats."""
    if not anova.repeats.sum:
        return 0.0 if anova.interaction.sum else None
    from scipy.special import fdtrc  # noqa: PLC0415 - takes a quarter of a second, and only an instrument's study needs it

    ratio = anova.interaction.mean / anova.repeats.mean
    return float(fdtrc(anova.interaction.freedom, anova.repeats.freedom, ratio))


def _components(anova: CrossedAnova, *, pooled: bool) -> tuple[float, float, float, float]:
    """Variances of repeatability, conditions, interaction and parts: the mean squares' expected values, solved for them."""
    parts, conditions, trials = anova.shape
    error, against = anova.repeats.mean, anova.interaction.mean
    if pooled:
        freedom = anova.repeats.freedom + anova.interaction.freedom
        error = against = (anova.repeats.sum + anova.interaction.sum) / freedom
    return (
        error,
        max(0.0, (anova.conditions.mean - against) / (parts * trials)),
        max(0.0, (against - error) / trials),
        max(0.0, (anova.parts.mean - against) / (conditions * trials)),
    )


def _variation(variance: float, total: float, tolerance: float | None) -> Variation:
    sd = math.sqrt(variance)
    return Variation(
        variance=variance,
        standard_deviation=sd,
        percent_of_total=100.0 * math.sqrt(variance / total),
        percent_of_tolerance=None if tolerance is None else 100.0 * SIGMAS_IN_TOLERANCE * sd / tolerance,
    )
