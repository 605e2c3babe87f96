"""From a colour word a frame to spans of one colour, with the time of each change and its doubt.

A change lies somewhere between the last frame of the old colour and the first of the new. Stamps are taken as the
middle of the exposure (whatever constant lag they have is measured with the bench's own lamp by the same
rule, and so drops out). A frame during whose exposure the lamp changed shows a mixture; it makes no span of
its own but places the change inside its exposure. The mixture's share places it further, as far as the light is steady: what
else blinks in the picture, or a lamp that is dimmed by fast switching, scatters the light of all frames, and so their shares.
Where that is known to be little, a small share counts too: without it such a change would be sought in the gap beside.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from hil.lamp.colour import OFF, UNRECOGNISED
from hil.lamp.doubt import Floats, half_width_95, rising_stamps

# Measured on drawn desks: a camera's light follows the lamp's within this share of the step (95 %). That is half way: where the
# light is all old or all new, no curve is off, since the step itself was seen through it.
SHARE_DOUBT = 0.17
# All: common practice, no source.
FEWEST_FOR_SCATTER, FEWEST_FOR_LEVEL = 20, 6  # frames, for a 95th percentile; for a middle that they scatter about
LOST = 1.5  # times the usual interval: further apart, two frames had another between them
LEAST_STEP = 0.2  # two colours whose light differs by less than this share cannot place a mixture
LEAST_SHARE = 0.03  # of a step: less is no mixture, however steady the light
CLEARLY = 1.5  # times the half-width at 95 %, three standard deviations: by so much a frame is off its level where it is mixed

# What two of our colours give when mixed, where that is a colour of its own.
_MIXTURES = {frozenset({"red", "green"}): "amber", frozenset({"amber", "blue"}): "white"}


Light = tuple[float, ...]  # of one frame, linear, by channel


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

    def between(self, before_s: float, after_s: float, untold: float = SHARE_DOUBT) -> Change:
        """Place a change between two frames that show no mixture, or one too small to be told: a share less than `untold`.

        Stamps may lie nearer than the frames did, which are an interval apart at least. The middle of two stamps
        scatters less than one.
        """
        clear = max(0.0, 1.0 - 2.0 * untold) * (self.exposure_s or 0.0)
        apart = max(after_s - before_s, self.interval_s) if self.stamp_sd_s else after_s - before_s
        half = max(apart - clear, SHARE_DOUBT * self.interval_s) / 2
        return Change((before_s + after_s) / 2, half_width_95(half, self.stamp_sd_s / math.sqrt(2.0)))

    def within(self, frame_s: float, new_share: float | None, scatter: float | None = None) -> Change:
        """Place a change in the exposure of one frame, from the share of the new colour and its scatter, where they are known."""
        longest = self.interval_s if self.exposure_s is None else min(self.exposure_s, self.interval_s)
        if new_share is None:
            return Change(frame_s, half_width_95(longest / 2, self.stamp_sd_s))
        shortest = 0.0 if self.exposure_s is None else longest
        off_middle = 0.5 - min(1.0, max(0.0, new_share))
        share_doubt = SHARE_DOUBT
        if scatter is not None:
            share_doubt = math.hypot(SHARE_DOUBT * (1.0 - 4.0 * off_middle**2), max(LEAST_SHARE, scatter))
        half = abs(off_middle) * (longest - shortest) / 2 + share_doubt * longest
        return Change(frame_s + off_middle * (shortest + longest) / 2, half_width_95(half, self.stamp_sd_s))


@dataclass(slots=True)
class _Run:
    word: str
    first: int
    last: int
    level: Light = ()


class _Steps:
    """What parts the light of two colours, over all their frames, and how far frames scatter along it."""

    def __init__(self, frames: dict[str, list[Floats]]) -> None:
        """Take the light of each run's inner frames, shape (n, channels), by colour words."""
        self._mean: dict[str, Light] = {
            word: tuple(np.concatenate(parts).mean(axis=0).tolist()) for word, parts in frames.items()
        }
        self._off = {word: _off_level(parts) for word, parts in frames.items()}
        self._along: dict[tuple[str, str], Light] = {}
        self._scatter: dict[tuple[str, str], float] = {}

    def share(self, light: Light, before: _Run, after: _Run) -> float | None:
        """The share of the new colour in a frame; None where the step between the two is too small to tell."""
        along = self._direction(before, after)
        step = _dot(_minus(after.level, before.level), along)
        if not abs(step) > LEAST_STEP * max(_length(before.level), _length(after.level)):
            return None
        return _dot(_minus(light, before.level), along) / step

    def scatter(self, before: _Run, after: _Run) -> float | None:
        """The half-width at 95 % by which frames of both are off, as a share of the step between them; None: unknown."""
        pair, along = (before.word, after.word), self._direction(before, after)
        if pair not in self._scatter:
            self._scatter[pair] = max(self._off_by(word, along) for word in pair)
        step = abs(_dot(_minus(after.level, before.level), along))
        return min(1.0, self._scatter[pair] / step) if step and self._scatter[pair] < math.inf else None

    def _direction(self, before: _Run, after: _Run) -> Light:
        """From one colour to another, of length 1, as all their frames have it: what blinks beside the lamp moves a run's own."""
        pair = before.word, after.word
        if pair not in self._along:
            old, new = (self._mean.get(run.word, run.level) for run in (before, after))
            length = _length(_minus(new, old))
            self._along[pair] = tuple(channel / length if length else 0.0 for channel in _minus(new, old))
        return self._along[pair]

    def _off_by(self, word: str, along: Light) -> float:
        off = self._off.get(word)
        if off is None or len(off) < FEWEST_FOR_SCATTER:
            return math.inf
        return float(np.nanpercentile(np.abs(off @ np.array(along)), 95.0))


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
    light: Sequence[float] | Floats,
    *,
    max_gap_s: float = 0.5,
    exposure_s: float | None = None,
    stamp_sd_s: float = 0.0,
) -> list[Span]:
    """Find the spans of one colour.

    Args:
        times_s: shape (n,), stamps of the frames, strictly rising.
        words: n colour words.
        light: linear light, any scale: shape (n,), or by channel (n, channels). Channels place changes better: of what else
            blinks in the picture little has the lamp's own colour.
        max_gap_s: no span bridges a longer gap between frames.
        exposure_s: see `ChangeRule`; a known exposure makes the doubts smaller.
        stamp_sd_s: see `ChangeRule`.

    The 95 % half-width of a change between two frames is 0.95 of half their distance (the change is equally
    likely anywhere between), jointly with the normal scatter of the stamps.

    Raises ValueError: lengths differ, stamps do not rise.
    """
    times, channels = rising_stamps(times_s), np.asarray(light, dtype=np.float64)
    if channels.shape[:1] != times.shape or channels.ndim > 2 or len(words) != len(times):
        raise ValueError(f"{len(times)} stamps, {len(words)} words and light {channels.shape} do not belong together.")
    if not len(times):
        return []
    channels = channels.reshape(len(times), -1)
    frames: list[Light] = [tuple(frame) for frame in channels.tolist()]
    rule = change_rule(times, exposure_s, stamp_sd_s)
    starts = [0, *(np.flatnonzero(np.diff(times) > max_gap_s) + 1).tolist(), len(times)]
    pieces = [_runs(words, frames, first, end) for first, end in pairwise(starts)]
    steps = _set_levels([run for piece in pieces for run in piece], channels)
    return [span for piece in pieces for span in _piece_spans(times, frames, piece, rule, steps)]


def _runs(words: Sequence[str], light: list[Light], first: int, end: int) -> list[_Run]:
    runs: list[_Run] = []
    for at in range(first, end):
        if runs and runs[-1].word == words[at]:
            runs[-1].last = at
        else:
            runs.append(_Run(words[at], at, at))
    return _without_mixtures(runs, light)


def _without_mixtures(runs: list[_Run], light: list[Light]) -> list[_Run]:
    kept = list(runs[:1])
    for at in range(1, len(runs)):
        if at + 1 < len(runs) and kept[-1] is runs[at - 1] and _is_mixture(runs[at - 1], runs[at], runs[at + 1], light):
            continue
        kept.append(runs[at])
    return kept


def _is_mixture(before: _Run, run: _Run, after: _Run, light: list[Light]) -> bool:
    """Say whether a run is one frame that shows the change from one neighbour to the other."""
    pair = frozenset({before.word, after.word})
    if run.first != run.last or len(pair) == 1 or UNRECOGNISED in pair:
        return False
    if run.word not in (UNRECOGNISED, _MIXTURES.get(pair)):
        return False
    old, new, seen = light[before.last], light[after.first], light[run.first]
    step, slack = _minus(new, old), 0.1 * max(_length(old), _length(new))
    along = _dot(_minus(seen, old), step) / _length(step) if _length(step) else _length(_minus(seen, old))
    return -slack <= along <= _length(step) + slack


def _set_levels(runs: list[_Run], light: Floats) -> _Steps:
    """Set each run's own light: of its inner frames, else of its colour's elsewhere; and tell what parts the colours."""
    inner: dict[str, list[Light]] = {}
    frames: dict[str, list[Floats]] = {}
    for run in runs:
        inside = light[run.first + 1 : run.last]
        if inside.size:
            run.level = _median(inside.tolist())
            inner.setdefault(run.word, []).append(run.level)
            frames.setdefault(run.word, []).append(inside)
    for run in runs:
        if not run.level:
            elsewhere = inner.get(run.word)
            whole = light[run.first : run.last + 1].tolist()
            run.level = _median(elsewhere) if elsewhere else tuple((min if run.word == OFF else max)(whole, key=sum))
    return _Steps(frames)


def _off_level(parts: list[Floats]) -> Floats:
    """How far frames are off their level, shape (n, channels): that of their run, or of all runs where each is short."""
    usual = np.nanmedian(np.concatenate(parts), axis=0)
    off = [part - (np.median(part, axis=0) if len(part) >= FEWEST_FOR_LEVEL else usual) for part in parts]
    return np.concatenate(off)


def _median(values: Sequence[Sequence[float]]) -> Light:
    """The middle of a few values, by channel; numpy's own takes many times as long for so few."""
    middle = len(values) // 2
    ordered = [sorted(channel) for channel in zip(*values, strict=True)]
    if any(map(math.isnan, (value for channel in ordered for value in channel))):
        return (math.nan,) * len(ordered)
    return tuple(one[middle] if len(values) % 2 else (one[middle - 1] + one[middle]) / 2.0 for one in ordered)


def _minus(one: Light, other: Light) -> Light:
    return tuple(a - b for a, b in zip(one, other, strict=True))


def _dot(one: Light, other: Light) -> float:
    return sum(a * b for a, b in zip(one, other, strict=True))


def _length(light: Light) -> float:
    return math.hypot(*light)


def _piece_spans(times: Floats, light: list[Light], runs: list[_Run], rule: ChangeRule, steps: _Steps) -> list[Span]:
    changes = [Change(float(times[runs[0].first]), math.inf)]
    changes += [_change(times, light, before, after, rule, steps) for before, after in pairwise(runs)]
    changes.append(Change(float(times[runs[-1].last]), math.inf))
    return [
        Span(begin.time_s, end.time_s, run.word, begin.doubt_s, end.doubt_s, run.last - run.first + 1)
        for run, begin, end in zip(runs, changes[:-1], changes[1:], strict=True)
    ]


def _change(times: Floats, light: list[Light], before: _Run, after: _Run, rule: ChangeRule, steps: _Steps) -> Change:
    last, first, scatter = before.last, after.first, steps.scatter(before, after)
    untold = SHARE_DOUBT if scatter is None else max(LEAST_SHARE, CLEARLY * scatter)
    if first - last == 2:  # one frame of mixture was taken out between them
        return rule.within(float(times[last + 1]), steps.share(light[last + 1], before, after), scatter)
    if (
        times[first] - times[last] > LOST * rule.interval_s
    ):  # a frame is missing: between the two there may have been more
        return rule.between(float(times[last]), float(times[first]), untold)
    shares = [steps.share(light[at], before, after) for at in (last, first)]
    mixed = [
        (at, share)
        for at, share, whole, run in ((last, shares[0], 0.0, before), (first, shares[1], 1.0, after))
        if share is not None and abs(share - whole) > untold and run.last > run.first
    ]
    if len(mixed) == 1:
        return rule.within(float(times[mixed[0][0]]), mixed[0][1], scatter)
    return rule.between(float(times[last]), float(times[first]), untold)
