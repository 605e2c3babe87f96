"""Half-widths held against numerical integration and Student's t of SciPy."""

import numpy as np
import pytest
from scipy import integrate, stats

from hil.lamp.doubt import NotTold, difference_95, half_width_95, rising_stamps, stamp_scatter, student_95


@pytest.mark.parametrize(("half", "sd"), [(1.0, 0.05), (1.0, 0.3), (1.0, 1.0), (0.2, 1.0), (0.02, 0.004)])
def test_half_width_covers_95_percent_of_the_joint_error(half: float, sd: float) -> None:
    limit = half_width_95(half, sd)
    covered, _ = integrate.quad(
        lambda shift: (stats.norm.cdf((limit - shift) / sd) - stats.norm.cdf((-limit - shift) / sd)) / (2 * half),
        -half,
        half,
        limit=200,
    )
    assert covered == pytest.approx(0.95, abs=1e-6)


def test_half_width_of_one_part_alone() -> None:
    assert half_width_95(2.0) == pytest.approx(1.9)  # 0.95 of a rectangular half
    assert half_width_95(0.0, 1.0) == pytest.approx(stats.norm.ppf(0.975), abs=1e-6)
    assert half_width_95(0.0) == 0.0


def test_difference_of_two_rectangular_errors_is_covered_and_not_padded() -> None:
    # |difference| of two rectangular errors of half h is below 2h(1 - sqrt(0.05)) in 95 % (triangular distribution).
    exact = 2.0 * (1.0 - np.sqrt(0.05))
    assert exact <= difference_95(0.95, 0.95) <= 1.05 * exact


@pytest.mark.parametrize("degrees", [3, 4, 5, 8, 15, 40, 200])
def test_student_agrees_with_scipy(degrees: int) -> None:
    assert student_95(degrees) == pytest.approx(stats.t.ppf(0.975, degrees), rel=5e-3)


def test_student_refuses_too_few() -> None:
    with pytest.raises(ValueError, match="from 3"):
        student_95(2)


@pytest.mark.parametrize(
    ("stamps", "message"),
    [([0.0, 1.0, 0.5], "do not rise"), ([0.0, 0.0], "do not rise"), ([0.0, np.nan], "not finite"), ([[0.0]], "shape")],
)
def test_stamps_that_do_not_rise_are_refused(stamps: list[float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        rising_stamps(stamps)


def test_what_is_not_told_is_no_result() -> None:
    assert not NotTold("too few frames")


@pytest.mark.parametrize("dropped", [0.0, 0.1])
@pytest.mark.parametrize("scatter_s", [0.0, 0.001, 0.004])
def test_scatter_of_stamps_is_found_beside_dropped_frames(scatter_s: float, dropped: float) -> None:
    """Drawn: 30 frames/s, normal errors; the estimate's own scatter is some percent for 1500 frames."""
    rng = np.random.default_rng(11)
    frames = np.flatnonzero(rng.random(1500) >= dropped)
    times = 5.0 + frames / 30.0 + rng.normal(0.0, 1.0, len(frames)) * scatter_s
    assert stamp_scatter(times) == pytest.approx(scatter_s, rel=0.1, abs=1e-9)


def test_scatter_of_too_few_stamps_is_none() -> None:
    assert stamp_scatter([0.0, 0.03, 0.07]) == 0.0
