"""The bench's own lamp as the camera's control: how late the camera is, and when it was awake.

The bench switches its lamp in an irregular rhythm and knows when it ordered each switch. The same irregular
rhythm in the picture says which seen change belongs to which order, so the lag follows without guessing, and
a switch that was not seen shows a camera that was asleep.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from hil.lamp.colour import OFF
from hil.lamp.doubt import Bools, Floats, NotTold, rising_stamps, student_95
from hil.lamp.spans import Span, colour_spans

# All: common practice, no source.
LONGEST_DELAY_S = 2.0
LEAST_SWITCHES = 4
GAP_S = 1.5  # without frames for so long, as of a camera that was opened again, an order says nothing of the delay
LEAST_SEEN = 0.8  # share of the orders within the frames that must be matched
RIVAL_SHARE = 0.8  # another lag that matches this share of the best one's switches makes the match unsafe
LEAST_CONTRAST = 6.0  # step between lit and dark, over the scatter of either

TOO_REGULAR = "the rhythm of the switches is too regular: more than one lag fits"
"""Where chance had the bench's lamp switch so; the next switches tell."""


@dataclass(frozen=True, slots=True)
class Delay:
    """How much later the camera stamps a change than it was ordered.

    offset_s: mean of seen minus ordered; doubt_s: the mean's half-width at 95 %.
    scatter_s: standard deviation of one switch; used: how many were matched.
    """

    offset_s: float
    doubt_s: float
    scatter_s: float
    used: int


@dataclass(frozen=True, slots=True)
class SwitchSeen:
    """One ordered switch and when the camera stamped it; None: not seen."""

    ordered_s: float
    on: bool
    seen_s: float | None


@dataclass(frozen=True, slots=True)
class _Edges:
    """The changes seen, and the frames they were seen in: the usual interval, and from when to when they came, by stretches."""

    times: Floats
    rises: Bools
    interval_s: float
    stretches: list[tuple[float, float]]

    def cover(self, begin_s: Floats, end_s: Floats) -> Bools:
        """Whether frames came all the while, for each of some stretches of time."""
        covered = np.zeros(begin_s.shape, dtype=np.bool_)
        for first_s, last_s in self.stretches:
            covered |= (begin_s >= first_s) & (end_s <= last_s)
        return covered


def bench_lamp_delay(
    switch_times_s: Sequence[float] | Floats,
    frame_times_s: Sequence[float] | Floats,
    luminance: Sequence[float] | Floats,
    *,
    first_on: bool = True,
    longest_delay_s: float = LONGEST_DELAY_S,
    exposure_s: float | None = None,
) -> Delay | NotTold:
    """Measure the camera's lag from the bench's own lamp.

    Args:
        switch_times_s: shape (m,), when each switch was ordered; on and off by turns.
        frame_times_s: shape (n,), stamps of the frames on the same clock.
        luminance: shape (n,), linear light of the bench's lamp, any scale.
        first_on: whether the first order switched on.
        longest_delay_s: a longer lag is not looked for.
        exposure_s: see `hil.lamp.spans.ChangeRule`: give the same value there.

    The doubt joins the scatter of the switches, which holds the frame interval's rectangular error, by Student's
    t. Where the seen scatter is much smaller than the frame interval makes it, the rhythm keeps step with the
    frames, averaging helps nothing, and the whole rectangular half-width is given.

    Raises ValueError: stamps do not rise, lengths differ.
    """
    orders = rising_stamps(switch_times_s)
    edges = _lamp_edges(frame_times_s, luminance, exposure_s)
    if isinstance(edges, NotTold):
        return edges
    return _delay_of(orders, _order_kinds(len(orders), first_on), edges, longest_delay_s)


def bench_lamp_seen(
    switch_times_s: Sequence[float] | Floats,
    frame_times_s: Sequence[float] | Floats,
    luminance: Sequence[float] | Floats,
    delay: Delay,
    *,
    first_on: bool = True,
    exposure_s: float | None = None,
) -> list[SwitchSeen]:
    """Say for each ordered switch whether the camera saw it where the delay puts it.

    The window is the delay ± one and a half frame intervals, its doubt and three times its scatter.

    Raises ValueError: stamps do not rise, lengths differ.
    """
    orders = rising_stamps(switch_times_s)
    rises = _order_kinds(len(orders), first_on)
    edges = _lamp_edges(frame_times_s, luminance, exposure_s)
    if isinstance(edges, NotTold):
        return [SwitchSeen(float(at), bool(on), None) for at, on in zip(orders, rises, strict=True)]
    return _seen_of(orders, rises, edges, delay)


def bench_lamp_watched(
    switch_times_s: Sequence[float] | Floats,
    frame_times_s: Sequence[float] | Floats,
    luminance: Sequence[float] | Floats,
    *,
    first_on: bool = True,
) -> tuple[Delay, list[SwitchSeen]] | NotTold:
    """Give both, the camera's lag and which switches it saw, for the work of one: see the two above."""
    orders = rising_stamps(switch_times_s)
    rises = _order_kinds(len(orders), first_on)
    edges = _lamp_edges(frame_times_s, luminance, None)
    if isinstance(edges, NotTold):
        return edges
    delay = _delay_of(orders, rises, edges, LONGEST_DELAY_S)
    if isinstance(delay, NotTold):
        return delay
    return delay, _seen_of(orders, rises, edges, delay)


def awake_windows(switches: Sequence[SwitchSeen], *, longest_gap_s: float = 1.0) -> list[tuple[float, float]]:
    """Give the windows, in the orders' clock, in which the camera was shown to be awake.

    It was awake between two switches seen one after the other, no further apart than `longest_gap_s`.
    """
    windows: list[tuple[float, float]] = []
    for one, after in pairwise(switches):
        if one.seen_s is None or after.seen_s is None or after.ordered_s - one.ordered_s > longest_gap_s:
            continue
        if windows and windows[-1][1] == one.ordered_s:
            windows[-1] = (windows[-1][0], after.ordered_s)
        else:
            windows.append((one.ordered_s, after.ordered_s))
    return windows


def _order_kinds(count: int, first_on: bool) -> Bools:
    kinds: Bools = (np.arange(count) % 2 == 0) == first_on
    return kinds


def _lamp_edges(
    frame_times_s: Sequence[float] | Floats, luminance: Sequence[float] | Floats, exposure_s: float | None
) -> _Edges | NotTold:
    times, light = rising_stamps(frame_times_s), np.asarray(luminance, dtype=np.float64)
    if light.shape != times.shape:
        raise ValueError(f"{len(times)} stamps and luminance of shape {light.shape} do not belong together.")
    if len(times) < 4 or not np.isfinite(light).all():
        return NotTold("too few frames, or frames without a luminance")
    low, high, scatter = _levels(light)
    if not high - low > LEAST_CONTRAST * scatter or high == low:
        return NotTold("the bench's lamp does not stand out from its dark state")
    words = ["lit" if value > (low + high) / 2 else OFF for value in light]
    spans = colour_spans(times, words, light, exposure_s=exposure_s)
    changes = [(span.begin_s, span.colour != OFF) for span in spans if _seen_begin(span)]
    if not changes:
        return NotTold("the bench's lamp was not seen to switch")
    begins, kinds = zip(*changes, strict=True)
    interval_s = float(np.median(np.diff(times)))
    ends = [0, *(np.flatnonzero(np.diff(times) > GAP_S) + 1).tolist(), len(times)]
    stretches = [(float(times[first]), float(times[after - 1])) for first, after in pairwise(ends)]
    return _Edges(np.array(begins), np.array(kinds, dtype=bool), interval_s, stretches)


def _seen_begin(span: Span) -> bool:
    return bool(np.isfinite(span.begin_doubt_s))


def _levels(light: Floats) -> tuple[float, float, float]:
    """Part the light into two levels (nearest mean, repeated) and give the wider one's robust scatter."""
    low, high = float(light.min()), float(light.max())
    for _ in range(20):
        upper = light > (low + high) / 2
        if upper.all() or not upper.any():
            break
        low, high = float(np.median(light[~upper])), float(np.median(light[upper]))
    upper = light > (low + high) / 2
    groups = [group for group in (light[upper], light[~upper]) if group.size]
    return low, high, max(1.4826 * float(np.median(np.abs(group - np.median(group)))) for group in groups)


def _delay_of(orders: Floats, rises: Bools, edges: _Edges, longest_s: float) -> Delay | NotTold:
    inside = edges.cover(orders, orders + longest_s)
    if inside.sum() < LEAST_SWITCHES:
        return NotTold(f"{int(inside.sum())} switches within the frames: {LEAST_SWITCHES} are needed")
    orders, rises = orders[inside], rises[inside]
    lag = _best_lag(orders, rises, edges, longest_s)
    if isinstance(lag, NotTold):
        return lag
    seen = _matched(orders + lag, rises, edges, 1.5 * edges.interval_s)
    return _mean_delay((seen - orders)[np.isfinite(seen)], edges.interval_s)


def _seen_of(orders: Floats, rises: Bools, edges: _Edges, delay: Delay) -> list[SwitchSeen]:
    window = 1.5 * edges.interval_s + delay.doubt_s + 3.0 * delay.scatter_s
    seen = _matched(orders + delay.offset_s, rises, edges, window)
    return [
        SwitchSeen(float(at), bool(on), float(when) if np.isfinite(when) else None)
        for at, on, when in zip(orders, rises, seen, strict=True)
    ]


def _best_lag(orders: Floats, rises: Bools, edges: _Edges, longest_s: float) -> float | NotTold:
    """Find the lag that matches most switches; a rival lag that does nearly as well makes it unsafe."""
    lags = np.arange(-edges.interval_s, longest_s + edges.interval_s, edges.interval_s / 4)
    window = 0.9 * edges.interval_s  # half an interval, an eighth for the step between lags, the rest for jitter
    scores = np.isfinite(_matched(orders + lags[:, np.newaxis], rises, edges, window)).sum(axis=1)
    if scores.max() < max(LEAST_SWITCHES, LEAST_SEEN * len(orders)):
        return NotTold(f"{scores.max()} of {len(orders)} switches seen: the camera slept or looks elsewhere")
    best_lag = float(np.median(lags[scores == scores.max()]))
    rivals = lags[scores >= RIVAL_SHARE * scores.max()]
    if (np.abs(rivals - best_lag) > 3.0 * edges.interval_s).any():
        return NotTold(TOO_REGULAR)
    return best_lag + float(np.nanmean(_matched(orders + best_lag, rises, edges, window) - orders - best_lag))


def _matched(expected: Floats, rises: Bools, edges: _Edges, window_s: float) -> Floats:
    """Give for each expected time, shape (..., n), the nearest seen edge of its kind within the window, else not-a-number."""
    found = np.full(expected.shape, np.nan)
    for kind in (True, False):
        times, wanted = edges.times[edges.rises == kind], expected[..., rises == kind]
        if len(times) and wanted.size:
            after = np.searchsorted(times, wanted).clip(1, max(1, len(times) - 1))
            before = times[after - 1]
            after_times = times[np.minimum(after, len(times) - 1)]
            nearest = np.where(wanted - before <= after_times - wanted, before, after_times)
            found[..., rises == kind] = np.where(np.abs(nearest - wanted) <= window_s, nearest, np.nan)
    return found


def _mean_delay(lags: Floats, interval_s: float) -> Delay | NotTold:
    used = len(lags)
    if used < LEAST_SWITCHES:
        return NotTold(f"{used} switches matched: {LEAST_SWITCHES} are needed")
    scatter = float(lags.std(ddof=1))
    rectangular = interval_s / np.sqrt(12.0)
    in_step = scatter < rectangular / 3
    doubt = 0.95 * interval_s / 2 if in_step else student_95(used - 1) * scatter / np.sqrt(used)
    return Delay(float(lags.mean()), float(doubt), scatter, used)
