"""What the run says of the lamp camera itself: its delay, when it was awake, and how the dark lamp looks to it.

The bench's own lamp, in the same picture, gives the camera's delay and proves it awake. The dark reference comes from
frames taken while the supply was off. All of it is the whole run's, so it is worked out once for a record and a stretch.
Frames count only while the camera saw its lamp where the run saw it first: others show another part of the board.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import inf
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from hil.core.awake import Asleep
from hil.core.frames import Crops, LampFrames
from hil.core.moments import Moment
from hil.evidence.power import is_cut
from hil.evidence.window import Record, Window
from hil.lamp import (
    DarkReference,
    Delay,
    NotTold,
    bench_lamp_watched,
    dark_reference,
    frames_within_changes,
    stamp_scatter,
)
from hil.lamp.light import SRGB_DECODE

DARK_FRAMES = 60
AIM_ANEW = "aim it anew (hil bench aim)"
SETTLE_S = 0.8  # so near to a switching of the supply no frame counts as dark; more than any camera's delay


@dataclass(frozen=True)
class Camera:
    """What a stretch of the run says of it: its delay, the switches it saw, and its reference of the dark lamp.

    `switch_frames`: how many frames it takes to show its bench's lamp switched; `away` are the stretches, by the stamps of
    frames, in which it may not have seen its lamp where it should be.
    """

    frames: LampFrames | None
    delay: Delay | None
    awake_s: list[float]
    dark: DarkReference | None
    reason: str = ""
    away: tuple[Asleep, ...] = ()
    switch_frames: int = 1

    @cached_property
    def stamp_sd_s(self) -> float:
        """How far its time stamps scatter."""
        return stamp_scatter(self.frames.times_s) if self.frames is not None else 0.0


@dataclass(frozen=True)
class _Seen:
    """All frames of a record, how bright the bench's own lamp is in each, and what was worked out of stretches of it.

    `off_s` are the stretches in which the supply was off; `trouble`: why none of the frames counts.
    """

    frames: LampFrames
    bench_light: NDArray[np.float64]
    off_s: tuple[tuple[float, float], ...]
    away: tuple[Asleep, ...]
    trouble: str
    cameras: dict[tuple[float, float], Camera] = field(default_factory=dict)


_seen: "WeakKeyDictionary[Record, _Seen]" = WeakKeyDictionary()


def camera_of(record: Record, from_s: float, until_s: float) -> Camera:
    """What was recorded between two times says of the camera; the dark lamp may have been seen before."""
    if record not in _seen:
        _seen[record] = _all_seen(record)
    seen = _seen[record]
    if (from_s, until_s) not in seen.cameras:
        seen.cameras[from_s, until_s] = _read(record, seen, from_s, until_s)
    return seen.cameras[from_s, until_s]


def _all_seen(record: Record) -> _Seen:
    frames, away = record.frames(), (*_away(record), *_not_taken(record))
    back = np.flatnonzero(np.diff(frames.times_s) <= 0.0)
    trouble = f"the stamps of its frames go back at frame {back[0] + 1}" if len(back) else ""
    keep = np.ones(len(frames), dtype=bool)
    for stretch in away:
        keep &= (frames.times_s <= stretch.begin_s) | (frames.times_s >= stretch.end_s)
    if not keep.all():
        frames = LampFrames(frames.times_s[keep], frames.unit[keep], frames.bench[keep])
    light = frames.bench.mean(axis=(1, 2, 3), dtype=np.float64)
    return _Seen(frames, light, tuple(_off_stretches(record)), away, trouble)


def _away(record: Record) -> Iterator[Asleep]:
    """From when to when the camera may not have seen its lamp where the run saw it first, by the stamps of frames."""
    kinds = ("moved", "hidden", "in place")
    told = sorted((m for kind in kinds for m in record.by_kind.get(("camera", kind), ())), key=lambda m: m.time_s)
    since_s, why = inf, ""
    for moment in told:
        if moment.kind == "in place":
            yield Asleep(since_s, moment.time_s, why=why)
            since_s = inf
        else:
            since_aim = moment.data.get("since_aim") is True
            since_s = -inf if since_aim else min(since_s, moment.number("since_s", moment.time_s))
            moved = f"it or the board was moved by {moment.number('by_px'):.0f} pixels"
            moved += f" since it was aimed: {AIM_ANEW}" if since_aim else ""
            why = moved if moment.kind == "moved" else moment.text("why")
    if since_s < inf:
        yield Asleep(since_s, inf, woke=False, why=why)


def _not_taken(record: Record) -> Iterator[Asleep]:
    """From when to when a camera that had gone was there again, and not taken as it was."""
    gone = [m for kind in ("stopped", "stalled") for m in record.by_kind.get(("camera", kind), ())]
    started_s = sorted(moment.time_s for moment in record.by_kind.get(("camera", "started"), ()))
    for moment in record.by_kind.get(("camera", "not taken"), ()):
        since_s = max((m.time_s for m in gone if m.time_s <= moment.time_s), default=moment.time_s)
        again_s = next((time_s for time_s in started_s if time_s > moment.time_s), inf)
        yield Asleep(since_s, again_s, woke=again_s < inf, why=moment.text("why"))


def _read(record: Record, seen: _Seen, from_s: float, until_s: float) -> Camera:
    if seen.trouble:
        return Camera(None, None, [], None, seen.trouble)
    away = tuple(stretch for stretch in seen.away if stretch.meets(from_s, until_s))
    for_good = [stretch for stretch in away if not stretch.woke]
    camera = _read_in_place(record, seen, from_s, min([until_s, *(stretch.begin_s for stretch in for_good)]))
    reason = for_good[0].why if for_good and camera.reason else camera.reason
    return replace(camera, away=away, reason=reason)


def _read_in_place(record: Record, seen: _Seen, from_s: float, until_s: float) -> Camera:
    first, last = np.searchsorted(seen.frames.times_s, [from_s, until_s])
    if last - first < 2:
        return Camera(None, None, [], None, "no frames were recorded")
    frames = seen.frames.within(from_s, until_s)
    switches = Window("", from_s, until_s, record).of("bench lamp", "switched")
    rising = [m for at, m in enumerate(switches) if at == 0 or m.time_s > switches[at - 1].time_s]
    if not rising:
        return Camera(None, None, [], None, "the bench's own lamp was never switched")
    order_times_s = [m.time_s for m in rising]
    first_on = rising[0].data.get("on") is True
    watched = bench_lamp_watched(order_times_s, frames.times_s, seen.bench_light[first:last], first_on=first_on)
    if isinstance(watched, NotTold):
        return Camera(None, None, [], None, f"its delay could not be measured: {watched.reason}")
    delay, switches_seen = watched
    awake_s = [s.ordered_s for s in switches_seen if s.seen_s is not None]
    try:
        dark = dark_reference(_dark_frames(seen, until_s, delay), curve_of(record.by_kind.get(("camera", "curve"), ())))
    except ValueError as error:  # awake, and yet it cannot tell the lamp's light
        return Camera(None, None, awake_s, None, f"no dark reference: {error}")
    switch_frames = frames_within_changes(frames.times_s, seen.bench_light[first:last])
    return Camera(frames, delay, awake_s, dark, switch_frames=switch_frames)


def _dark_frames(seen: _Seen, until_s: float, delay: Delay) -> Crops:
    """The first frames taken with the supply off, as many as are needed, up to a time."""
    frames = seen.frames.within(-inf, until_s)
    chosen, count = [frames.unit[:0]], 0
    for off_s, on_s in seen.off_s:
        piece = frames.within(off_s + SETTLE_S + delay.offset_s, on_s + delay.offset_s - 0.1).unit
        chosen.append(piece[: DARK_FRAMES - count])
        count += len(chosen[-1])
        if count == DARK_FRAMES:
            break
    return np.concatenate(chosen)


def curve_of(moments: Sequence[Moment]) -> NDArray[np.float32]:
    """How the camera's codes follow the light, as the run's bench had it measured; that of sRGB where it had not."""
    booked = [moment for moment in moments if moment.is_("camera", "curve")]
    return np.asarray(booked[-1].data["linear"], dtype=np.float32) if booked else SRGB_DECODE


def _off_stretches(record: Record) -> Iterator[tuple[float, float]]:
    """From when to when the supply was off, by its switchings and by what was read back."""
    kinds = ("on", "off", "state")
    states: list[Moment] = [m for kind in kinds for m in record.by_kind.get(("power", kind), ())]
    off_since_s: float | None = None
    for moment in sorted(filter(is_cut, states), key=lambda m: m.time_s):  # in reset a lamp may keep its light
        is_off = moment.kind == "off" or (moment.kind == "state" and moment.data.get("on") is False)
        if is_off:
            off_since_s = moment.time_s if off_since_s is None else off_since_s
        elif off_since_s is not None:
            yield off_since_s, moment.time_s
            off_since_s = None
