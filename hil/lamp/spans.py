"""From a colour word a frame to spans of one colour, with the time of each change and its doubt.

A change lies somewhere between the last frame of the old colour and the first of the new. Stamps are taken as the
middle of the exposure (whatever constant lag they have is measured with the bench's own lamp by the same
rule, and so drops out). A frame during whose exposure the lamp changed shows a mixture; it makes no span of
its own but places the change inside its exposure. The mixture's share places it further, as far as the light is steady: what
else blinks in the picture, or a lamp that is dimmed by fast switching, scatters the light of all frames, and so their shares.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from hil.lamp.colour import OFF, UNRECOGNISED
from hil.lamp.doubt import Floats, half_width_95, rising_stamps

# Measured on drawn desks: a camera's light follows the lamp's within this share of the step (95 %).
SHARE_DOUBT = 0.15
# All: common practice, no source.
FEWEST_FOR_SCATTER, FEWEST_FOR_LEVEL = 20, 6  # frames, for a 95th percentile; for a middle that they scatter about
LOST = 1.5  # times the usual interval: further apart, two frames had another between them
LEAST_STEP = 0.2  # two colours whose luminance differs by less than this share cannot place a mixture

# What two of our colours give when mixed, where that is a colour of its own.
_MIXTURES = {frozenset({"red", "green"}): "amber", frozenset({"amber", "blue"}): "white"}


@dataclass(frozen=True, slots=True)
class Span:
    """A run of frames of one colour.

    A begin or end that was not seen (first or last frame, or a gap in the frames) has infinite doubt; its time
    is then that of the first or last frame. Other doubts are half-widths at 95 %.
    """

    begin_s: float
    end_s: float
    colour: str
    begin_doubt_s: float
    end_doubt_s: float
    frames: int

    @property
    def length_s(self) -> float:
        """Time from begin to end."""
        return self.end_s - self.begin_s

    @property
    def complete(self) -> bool:
        """Say whether begin and end were both seen."""
        return math.isfinite(self.begin_doubt_s) and math.isfinite(self.end_doubt_s)


@dataclass(frozen=True, slots=True)
class Change:
    """A change of the lamp: its time and the half-width at 95 %."""

    time_s: float
    doubt_s: float


@dataclass(frozen=True, slots=True)
class ChangeRule:
    """How a change is placed between frames.

    exposure_s: how long a frame's exposure takes; None: unknown, anything up to the usual frame interval.
    stamp_sd_s: standard deviation of the stamps about the true times (less their constant lag).
    """

    interval_s: float
    exposure_s: float | None = None
    stamp_sd_s: float = 0.0

    def between(self, before_s: float, after_s: float, share_doubt: float = SHARE_DOUBT) -> Change:
        """Place a change between two frames that show no mixture, or one too small to be told: less than the share's doubt.

        Stamps may lie nearer than the frames did, which are an interval apart at least. The middle of two stamps
        scatters less than one.
        """
        clear = max(0.0, 1.0 - 2.0 * share_doubt) * (self.exposure_s or 0.0)
        apart = max(after_s - before_s, self.interval_s) if self.stamp_sd_s else after_s - before_s
        half = max(apart - clear, SHARE_DOUBT * self.interval_s) / 2
        return Change((before_s + after_s) / 2, half_width_95(half, self.stamp_sd_s / math.sqrt(2.0)))

    def within(self, frame_s: float, new_share: float | None, share_doubt: float = SHARE_DOUBT) -> Change:
        """Place a change in the exposure of one frame, from the share of the new colour where it is known."""
        longest = self.interval_s if self.exposure_s is None else min(self.exposure_s, self.interval_s)
        if new_share is None:
            return Change(frame_s, half_width_95(longest / 2, self.stamp_sd_s))
        shortest = 0.0 if self.exposure_s is None else longest
        off_middle = 0.5 - min(1.0, max(0.0, new_share))
        half = abs(off_middle) * (longest - shortest) / 2 + share_doubt * longest
        return Change(frame_s + off_middle * (shortest + longest) / 2, half_width_95(half, self.stamp_sd_s))


@dataclass(slots=True)
class _Run:
    word: str
    first: int
    last: int
    level: float = math.nan
    scatter: float = 0.0  # half-width at 95 % of the light of frames of this colour about their level


def change_rule(times: Floats, exposure_s: float | None, stamp_sd_s: float) -> ChangeRule:
    """Make the rule for a record of frames; the usual frame interval is the median one."""
    if exposure_s is not None and not exposure_s > 0.0:
        raise ValueError(f"an exposure of {exposure_s} s: give a positive time, or None where it is unknown.")
    if not stamp_sd_s >= 0.0:
        raise ValueError(f"a standard deviation of {stamp_sd_s} s: give zero or more.")
    return ChangeRule(float(np.median(np.diff(times))) if len(times) > 1 else 0.0, exposure_s, stamp_sd_s)


def colour_spans(
    times_s: Sequence[float] | Floats,
    words: Sequence[str],
    luminance: Sequence[float] | Floats,
    *,
    max_gap_s: float = 0.5,
    exposure_s: float | None = None,
    stamp_sd_s: float = 0.0,
) -> list[Span]:
    """Find the spans of one colour.

    Args:
        times_s: shape (n,), stamps of the frames, strictly rising.
        words: n colour words.
        luminance: shape (n,), linear light, any scale.
        max_gap_s: no span bridges a longer gap between frames.
        exposure_s: see `ChangeRule`; a known exposure makes the doubts smaller.
        stamp_sd_s: see `ChangeRule`.

    The 95 % half-width of a change between two frames is 0.95 of half their distance (the change is equally
    likely anywhere between), jointly with the normal scatter of the stamps.

    Raises ValueError: lengths differ, stamps do not rise.
    """
    times, light = rising_stamps(times_s), np.asarray(luminance, dtype=np.float64)
    if light.shape != times.shape or len(words) != len(times):
        raise ValueError(f"{len(times)} stamps, {len(words)} words and luminance {light.shape} do not belong together.")
    if not len(times):
        return []
    rule = change_rule(times, exposure_s, stamp_sd_s)
    starts = [0, *(np.flatnonzero(np.diff(times) > max_gap_s) + 1).tolist(), len(times)]
    pieces = [_runs(words, light, first, end) for first, end in pairwise(starts)]
    _set_levels([run for piece in pieces for run in piece], light)
    return [span for piece in pieces for span in _piece_spans(times, light, piece, rule)]


def _runs(words: Sequence[str], light: Floats, first: int, end: int) -> list[_Run]:
    runs: list[_Run] = []
    for at in range(first, end):
        if runs and runs[-1].word == words[at]:
            runs[-1].last = at
        else:
            runs.append(_Run(words[at], at, at))
    return _without_mixtures(runs, light)


def _without_mixtures(runs: list[_Run], light: Floats) -> list[_Run]:
    kept = list(runs[:1])
    for at in range(1, len(runs)):
        if at + 1 < len(runs) and kept[-1] is runs[at - 1] and _is_mixture(runs[at - 1], runs[at], runs[at + 1], light):
            continue
        kept.append(runs[at])
    return kept


def _is_mixture(before: _Run, run: _Run, after: _Run, light: Floats) -> bool:
    """Say whether a run is one frame that shows the change from one neighbour to the other."""
    pair = frozenset({before.word, after.word})
    if run.first != run.last or len(pair) == 1 or UNRECOGNISED in pair:
        return False
    if run.word not in (UNRECOGNISED, _MIXTURES.get(pair)):
        return False
    if not np.isfinite(light[run.first]):
        return False
    ends = sorted((float(light[before.last]), float(light[after.first])))
    slack = 0.1 * abs(ends[1])
    return ends[0] - slack <= float(light[run.first]) <= ends[1] + slack


def _set_levels(runs: list[_Run], light: Floats) -> None:
    """Set each run's own luminance: of its inner frames, else of its colour's elsewhere; and how far its colour's scatters."""
    inner: dict[str, list[float]] = {}
    frames: dict[str, list[Floats]] = {}
    for run in runs:
        inside = light[run.first + 1 : run.last]
        if inside.size:
            run.level = _median(inside.tolist())
            inner.setdefault(run.word, []).append(run.level)
            frames.setdefault(run.word, []).append(inside)
    scatter = {word: _scatter(parts) for word, parts in frames.items()}
    for run in runs:
        run.scatter = scatter.get(run.word, 0.0)
        if math.isnan(run.level):
            elsewhere = inner.get(run.word)
            whole = light[run.first : run.last + 1]
            run.level = _median(elsewhere) if elsewhere else float(whole.min() if run.word == OFF else whole.max())


def _scatter(parts: list[Floats]) -> float:
    """By how much the light of frames is off its level, 95 % of them: that of their run, or of all runs where each is short."""
    usual = float(np.nanmedian(np.concatenate(parts)))
    off = [np.abs(part - (np.median(part) if part.size >= FEWEST_FOR_LEVEL else usual)) for part in parts]
    known = np.concatenate(off)
    return float(np.nanpercentile(known, 95.0)) if known.size >= FEWEST_FOR_SCATTER else 0.0


def _median(values: list[float]) -> float:
    """The middle of a few values; numpy's own takes many times as long for so few."""
    if any(map(math.isnan, values)):
        return math.nan
    ordered, middle = sorted(values), len(values) // 2
    return ordered[middle] if len(values) % 2 else (ordered[middle - 1] + ordered[middle]) / 2.0


def _piece_spans(times: Floats, light: Floats, runs: list[_Run], rule: ChangeRule) -> list[Span]:
    changes = [Change(float(times[runs[0].first]), math.inf)]
    changes += [_change(times, light, before, after, rule) for before, after in pairwise(runs)]
    changes.append(Change(float(times[runs[-1].last]), math.inf))
    return [
        Span(begin.time_s, end.time_s, run.word, begin.doubt_s, end.doubt_s, run.last - run.first + 1)
        for run, begin, end in zip(runs, changes[:-1], changes[1:], strict=True)
    ]


def _change(times: Floats, light: Floats, before: _Run, after: _Run, rule: ChangeRule) -> Change:
    last, first, doubt = before.last, after.first, _share_doubt(before, after)
    if first - last == 2:  # one frame of mixture was taken out between them
        return rule.within(float(times[last + 1]), _new_share(light[last + 1], before.level, after.level), doubt)
    if (
        times[first] - times[last] > LOST * rule.interval_s
    ):  # a frame is missing: between the two there may have been more
        return rule.between(float(times[last]), float(times[first]), doubt)
    shares = [_new_share(light[at], before.level, after.level) for at in (last, first)]
    mixed = [
        (at, share)
        for at, share, whole, run in ((last, shares[0], 0.0, before), (first, shares[1], 1.0, after))
        if share is not None and abs(share - whole) > doubt and run.last > run.first
    ]
    if len(mixed) == 1:
        return rule.within(float(times[mixed[0][0]]), mixed[0][1], doubt)
    return rule.between(float(times[last]), float(times[first]), doubt)


def _share_doubt(before: _Run, after: _Run) -> float:
    """The 95 % half-width of a mixture's share: how far the camera is from linear, and how far the light scatters."""
    step = abs(after.level - before.level)
    scatter = max(before.scatter, after.scatter)
    return math.hypot(SHARE_DOUBT, scatter / step) if step > scatter else 1.0


def _new_share(light: float, before: float, after: float) -> float | None:
    step = after - before
    if not abs(step) > LEAST_STEP * max(abs(before), abs(after)):
        return None
    return float((light - before) / step)
