"""Slopes by least squares, held against the certified values of NIST's Statistical Reference Datasets and against scipy.

The certified values are slopes and their standard deviations, to fifteen digits: of Norris from NIST's file as scipy brings
it, of Longley from memory (where the data come from says the table itself).
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from hil.evidence.slopes import Slopes, fit_slopes

DATA = Path(__file__).parents[1] / "published" / "nist_strd_linear.csv"
NORRIS = ((1.00211681802045,), (0.429796848199937e-03,))
LONGLEY = (
    (15.0618722713733, -0.358191792925910e-01, -2.02022980381683, -1.03322686717359, -0.511041056535807e-01, 1829.15146461355),
    (84.9149257747669, 0.334910077722432e-01, 0.488399681651699, 0.214274163161675, 0.226073200069370, 455.478499142212),
)  # fmt: skip


def readings(name: str) -> tuple[list[list[float]], list[float]]:
    """The counts and the readings of a set."""
    with DATA.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.reader(file) if row[0] == name]
    return [[float(x) for x in row[2:]] for row in rows], [float(row[1]) for row in rows]


@pytest.mark.parametrize(("name", "certified"), [("norris", NORRIS), ("longley", LONGLEY)])
def test_the_certified_slopes_and_their_standard_deviations(
    name: str, certified: tuple[tuple[float, ...], tuple[float, ...]]
) -> None:
    fitted = fit_slopes(*readings(name))
    assert fitted is not None
    assert fitted.values == pytest.approx(certified[0], rel=1e-8)
    assert fitted.standard_errors == pytest.approx(certified[1], rel=1e-8)


def test_degrees_of_freedom_are_those_certified() -> None:
    """Norris: 34; Longley: 9."""
    found = [fit_slopes(*readings(name)) for name in ("norris", "longley")]
    assert [fitted.freedom for fitted in found if fitted] == [34, 9]


def test_the_doubt_is_scipy_s_confidence_interval() -> None:
    """Of readings whose neighbours do not stray alike: Student's t of 97.5 % times the standard error."""
    slopes = Slopes((1.0,), (0.25,), freedom=12, alike=-0.1)
    assert slopes.doubts == pytest.approx((stats.t.ppf(0.975, 12) * 0.25,))


@pytest.mark.parametrize("alike", [0.0, 0.5])
def test_the_doubt_holds_the_truth_nineteen_times_in_twenty(alike: float) -> None:
    """Drawn with a seed: independent strays, and such as follow their neighbours (a series of first order).

    Of 400 sets 380 are expected; 365 to 395 is more than three standard deviations either way. Where neighbours stray
    alike the correlation is guessed from the set itself, so up to one in eight may miss (common practice, no source).
    """
    dice, events, held = np.random.default_rng(20), np.arange(40.0)[:, None], 0
    for _ in range(400):
        strays = [dice.normal()]
        for _ in range(39):
            strays.append(alike * strays[-1] + dice.normal())
        fitted = fit_slopes(events.tolist(), (3.0 - 2.0 * events[:, 0] + np.array(strays)).tolist())
        assert fitted is not None
        held += abs(fitted.values[0] + 2.0) <= fitted.doubts[0]
    assert (365 <= held <= 395) if alike == 0.0 else held >= 350


def test_readings_that_never_change_have_the_doubt_of_their_step() -> None:
    """JCGM 100:2008, F.2.2.1: a step of width w scatters like a rectangle, w / sqrt(12)."""
    counts = [[float(at)] for at in range(12)]
    fitted = fit_slopes(counts, [5.0] * 12, resolution=1.0)
    assert fitted is not None
    spread = float(np.linalg.norm(np.arange(12.0) - 5.5))
    assert fitted.values == pytest.approx((0.0,), abs=1e-12)
    assert fitted.standard_errors == pytest.approx((1.0 / np.sqrt(12.0) / spread,))


def test_too_few_readings_or_counts_that_go_along_tell_nothing() -> None:
    steps = [[float(at)] for at in range(8)]
    assert fit_slopes(steps[:3], [1.0, 2.0, 3.0]) is None
    assert fit_slopes([[x, 2.0 * x] for (x,) in steps], [float(at**2) for at in range(8)]) is None
    assert fit_slopes([[1.0] for _ in steps], [0.0] * 8) is None
    assert fit_slopes([], []) is None
