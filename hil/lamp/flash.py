"""Flash rate from the light of frames.

Rate: mean period between edges of one kind, rising or falling; common practice, no source. The stamps may be
irregular. A flash faster than half the frame rate looks slower than it is and cannot be told from the frames: who
sets the bench up must refuse a product whose fastest flash the camera cannot follow. What can be seen here
is refused: a rate near half the frame rate, and periods that differ more than the frames explain.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hil.lamp.doubt import Bools, Floats, NotTold, difference_95, half_width_95, rising_stamps

# All: common practice, no source.
HIGHEST_SHARE = 0.4  # of the frame rate: above it a flash has too few frames a period
TOO_FAST = "faster than these frames can tell"
ENDS = (2.0, 98.0)  # percentiles: between them lies half the way from dark to lit
PERIOD_SCATTER = 0.25  # periods may differ by this share, beyond what the edges' doubts explain


@dataclass(frozen=True, slots=True)
class FlashRate:
    """A flash: hertz, lit share of the period, and half-widths at 95 %; edges: how many changes were used."""

    hz: float
    doubt_hz: float
    duty: float
    doubt_duty: float
    edges: int


def in_words(rate: FlashRate) -> str:
    """The rate with its doubt, as people read it."""
    return f"{rate.hz:.2f} Hz ± {rate.doubt_hz:.2f} Hz"


def flash_rate(
    times_s: Sequence[float] | Floats,
    lit: Sequence[bool] | Bools,
    light: Floats | None = None,
    *,
    least_periods: int = 2,
) -> FlashRate | NotTold:
    """Read how often the lamp flashes.

    Args:
        times_s: shape (n,), seconds, strictly rising; the intervals may differ.
        lit: shape (n,).
        light: by channel, any scale, shape (n, channels); with it a frame that holds a change counts as what it has more of.
        least_periods: how many whole periods must have been seen.

    The duty's doubt is that of one period: edges of a flash in step with the frames err alike in all periods.

    Raises ValueError: lengths differ, stamps do not rise.
    """
    times, on = rising_stamps(times_s), np.asarray(lit)
    if on.shape != times.shape or (light is not None and light.shape[:-1] != times.shape):
        shapes = f"lit flags of shape {on.shape}" + (f" and light of {light.shape}" if light is not None else "")
        raise ValueError(f"{len(times)} stamps and {shapes} do not belong together.")
    if len(times) and on.dtype != np.bool_:
        raise ValueError(f"lit flags are {on.dtype}: give True or False a frame.")
    if light is not None:
        on = _more_lit_than_dark(on, light)
    after = np.flatnonzero(on[1:] != on[:-1]) + 1 if len(times) else np.zeros(0, dtype=np.intp)
    if not len(after):
        return NotTold("the lamp did not change")
    edges = (times[after] + times[after - 1]) / 2
    doubts = [half_width_95(half) for half in (times[after] - times[after - 1]) / 2]
    return rate_of_edges(
        edges,
        np.array(doubts),
        first_rises=bool(on[after[0]]),
        interval_s=float(np.median(np.diff(times))),
        least_periods=least_periods,
    )


def _more_lit_than_dark(lit: Bools, light: Floats) -> Bools:
    """Say of each frame whether its light is nearer that of lit frames than that of the others; of the step between alone.

    So little of what else blinks counts, as that has another colour, or another time.
    """
    if lit.all() or not lit.any():
        return lit
    along = light @ (np.median(light[lit], axis=0) - np.median(light[~lit], axis=0))
    return np.asarray(along > np.percentile(along, ENDS).mean(), dtype=np.bool_)


def rate_of_edges(
    edges_s: Floats, doubts_s: Floats, *, first_rises: bool, interval_s: float, least_periods: int
) -> FlashRate | NotTold:
    """Read a flash from its edges, rising and falling by turns, each with its 95 % half-width."""
    if len(edges_s) < 2 * least_periods + 1:
        return NotTold(f"{len(edges_s)} changes seen: {2 * least_periods + 1} make {least_periods} whole periods")
    period, doubt = mean_period(edges_s, doubts_s, phases=2)
    if interval_s / period > HIGHEST_SHARE:
        near = f"{1 / period:.2f} Hz is too near half the frame rate ({1 / interval_s:.2f} frames/s)"
        return NotTold(f"{near}: {TOO_FAST}")
    problem = uneven(edges_s, doubts_s, period, phases=2)
    if problem:
        return NotTold(problem)
    steps = np.diff(edges_s)
    lit_s = float(np.mean(steps[0 if first_rises else 1 :: 2]))
    typical = float(np.sqrt(np.mean(doubts_s**2)))
    duty = min(1.0, max(0.0, lit_s / period))
    return FlashRate(
        hz=1.0 / period,
        doubt_hz=doubt / period**2,
        duty=duty,
        doubt_duty=(difference_95(typical, typical) + duty * doubt) / period,
        edges=len(edges_s),
    )


def mean_period(edges_s: Floats, doubts_s: Floats, *, phases: int) -> tuple[float, float]:
    """Give the mean period of a cycle of so many phases, and its 95 % half-width.

    Each kind of edge gives (last - first) / periods; they are averaged. Their errors may be alike (a
    cycle in step with the frames), so averaging is not counted on.
    """
    periods = (len(edges_s) - 1) // phases
    kinds = range(len(edges_s) - phases * periods)
    span = phases * periods
    period = float(np.mean([edges_s[kind + span] - edges_s[kind] for kind in kinds])) / periods
    doubt = max(difference_95(float(doubts_s[kind]), float(doubts_s[kind + span])) for kind in kinds) / periods
    return period, doubt


def uneven(edges_s: Floats, doubts_s: Floats, period_s: float, *, phases: int) -> str:
    """Say why the edges are no steady cycle, or nothing: a period off the mean by more than frames explain."""
    periods = edges_s[phases:] - edges_s[:-phases]
    allowed = PERIOD_SCATTER * period_s + doubts_s[phases:] + doubts_s[:-phases]
    if (np.abs(periods - period_s) <= allowed).all():
        return ""
    return f"periods from {periods.min():.3f} s to {periods.max():.3f} s: no steady rate"
