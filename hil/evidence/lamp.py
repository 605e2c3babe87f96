"""What the camera saw of the unit's lamp, derived anew from the crops each time.

The bench's own lamp, in the same picture, gives the camera's delay and proves it awake. The dark reference comes from
frames taken while the supply was off. Both are the whole run's, so they are worked out once for a record.
"""

from dataclasses import dataclass
from functools import cached_property
from math import hypot, inf, isfinite
from weakref import WeakKeyDictionary

import numpy as np

from hil.core.awake import Asleep, asleep, first_within
from hil.core.frames import LampFrames
from hil.core.product import Lamp
from hil.core.readings import Occurrence, Reading
from hil.evidence.seen import Seen, asleep_text
from hil.evidence.window import Record, Window
from hil.lamp import (
    Appearance,
    DarkReference,
    Delay,
    NotTold,
    Span,
    StageSpan,
    bench_lamp_delay,
    bench_lamp_seen,
    colour_spans,
    colour_words,
    dark_reference,
    read_light,
    stages_over_time,
    stamp_scatter,
)
from hil.lamp.stage import SLOWEST_PHASE_S

LONGEST_GAP_S = 1.0
DELAY_OVER_S = 120.0  # the camera's delay is measured over so long up to a leg's end, or over a leg that is longer
BEHIND_REAL_S = 0.35  # the longest delay of a camera that is waited for at the end of a leg, real seconds
DARK_FRAMES = 60
SETTLE_S = 0.8  # so near to a switching of the supply no frame counts as dark; more than any camera's delay
LEAST_TELLING_S = 2.0 * SLOWEST_PHASE_S  # a stage shown for less may not be told; a flash takes two periods
ONE_PHASE = 1.15  # a lit stretch up to so many times a flash's lit phase may be one; as `stages_over_time` allows
FLEETING_S = 0.35  # a stretch shorter than this between two stages is a change, not a stage


@dataclass(frozen=True)
class _Camera:
    """What the run up to a time says of the camera: its delay, the switches it saw, and its reference of the dark lamp."""

    frames: LampFrames | None
    delay: Delay | None
    awake_s: list[float]
    dark: DarkReference | None
    reason: str = ""

    @cached_property
    def stamp_sd_s(self) -> float:
        """How far its time stamps scatter."""
        return stamp_scatter(self.frames.times_s) if self.frames is not None else 0.0


class LampView:
    """The unit's lamp over a leg."""

    witness = "camera"

    def __init__(self, window: Window) -> None:
        """Read from a window."""
        self._window = window

    @cached_property
    def asleep(self) -> list[Asleep]:
        """Stretches in which the bench's own lamp was not seen to change."""
        return asleep(self._camera.awake_s, self._window.begin_s, self._window.end_s, LONGEST_GAP_S)

    @cached_property
    def delay(self) -> Delay | None:
        """The camera's delay, from the bench's own lamp."""
        return self._camera.delay

    @cached_property
    def spans(self) -> list[Span]:
        """Stretches of one colour, on the run's clock; nothing where the camera cannot speak."""
        camera = self._camera
        if camera.delay is None or camera.frames is None or camera.dark is None:
            return []
        times_s = camera.frames.times_s - camera.delay.offset_s
        begin_s, end_s = self._window.begin_s - FLEETING_S, self._window.end_s + FLEETING_S
        inside = (times_s >= begin_s) & (times_s <= end_s)
        for gap in self.asleep:  # a picture that stands still shows no stage
            inside &= (times_s <= gap.begin_s) | (times_s >= gap.end_s)
        light = read_light(camera.frames.unit[inside], camera.dark)
        return colour_spans(
            times_s[inside],
            colour_words(light),
            light.luminance,
            max_gap_s=LONGEST_GAP_S,
            stamp_sd_s=camera.stamp_sd_s,
        )

    @cached_property
    def stages(self) -> list[StageSpan]:
        """What the lamp showed, on the run's clock, by the product's stages."""
        return stages_over_time(self.spans, self._looks)

    @property
    def trouble(self) -> str:
        """Why the camera cannot speak; empty where it can."""
        return "" if self._camera.delay is not None else f"{self.witness}: {self._camera.reason}"

    @cached_property
    def _looks(self) -> dict[str, Appearance]:
        return {name: _appearance(stage.lamp) for name, stage in self._window.record.product.stages.items()}

    def begins(self, stage: str, after_s: float) -> Occurrence:
        """When the lamp first looked as promised for a stage."""
        camera = self._camera
        if camera.delay is None:
            return Occurrence.not_before(self._window.begin_s, f"{self.witness}: {camera.reason}")
        found = next((s for s in self.stages if s.stage == stage and s.end_s > after_s), None)
        until_s = found.begin_s if found else self._window.end_s
        gap = first_within(self.asleep, after_s, until_s)
        early = self._undecided(stage, after_s, until_s)
        because = asleep_text(self.witness, gap) if gap else ""
        if early is not None:
            told = f"what the lamp showed from {early.begin_s:.1f} s was too short to tell"
            because = because or f"{self.witness}: {told}"
        open_s = [gap.begin_s] if gap else []
        open_s += [early.begin_s - self._doubt_s(early)] if early else []
        if found is None:
            return Occurrence.not_before(min(open_s, default=self._window.end_s), because)
        doubt_s = self._doubt_s(found)
        if because or not isfinite(found.begin_doubt_s):
            early_s = min(open_s, default=self._window.begin_s)
            because = because or f"{self.witness}: the lamp already showed {stage} in the first frame"
            return Occurrence(min(early_s, found.begin_s), found.begin_s + doubt_s, measured=False, because=because)
        if found.begin_s + doubt_s < after_s:  # no answer to what happened at that time
            because = f"{self.witness}: the lamp showed {stage} before that"
            return Occurrence(-inf, found.begin_s + doubt_s, measured=False, because=because)
        return Occurrence.at(found.begin_s, doubt_s)

    def _undecided(self, stage: str, after_s: float, until_s: float) -> StageSpan | None:
        """The first stretch between two times that was too short to tell whether it was the stage."""
        look = self._looks[stage]
        telling_s = max(2.0 * sum(phase.length_s for phase in look.cycle), LEAST_TELLING_S)
        colours = {look.colour, *(phase.colour for phase in look.cycle)}
        return next(
            (
                span
                for span in self.stages
                if span.stage == "unrecognised"
                and span.colour in colours
                and span.end_s - span.begin_s < telling_s
                and after_s < span.end_s
                and span.begin_s < until_s
            ),
            None,
        )

    def _doubt_s(self, span: StageSpan) -> float:
        """The doubt of a stretch's begin; of one shown already in the first frame, the stamp's own is all there is."""
        own_s = span.begin_doubt_s if isfinite(span.begin_doubt_s) else 2.0 * self._camera.stamp_sd_s
        return hypot(own_s, self._camera.delay.doubt_s if self._camera.delay else 0.0)

    def shows_in_order(self, expected: list[str], after_s: float = -inf) -> Seen:
        """Whether the lamp showed these stages, in this order, and nothing else; dark and fleeting stretches aside."""
        camera = self._camera
        if camera.delay is None:
            return Seen.untold(f"{self.witness}: {camera.reason}")
        told = [
            s
            for s in self.stages
            if s.stage != "dark" and s.end_s - max(s.begin_s, self._begin_s(after_s)) > FLEETING_S
        ]
        merged: list[str] = []
        for span in told:
            stage = self._named(span, expected[len(merged)] if len(merged) < len(expected) else "")
            merged += [stage] if merged[-1:] != [stage] else []
        text = " → ".join(merged) or "dark"
        if merged == expected and not self.asleep:
            return Seen(True, text)
        if self.asleep:
            return Seen.untold(asleep_text(self.witness, self.asleep[0]))
        gone = next((m for m in self._window.of("leg", "gave up") if m.text("instrument")), None)
        if gone is not None and _could_come_no_further(merged, expected):
            return Seen.untold(f"{gone.text('instrument')}: {gone.text('why')}; the lamp showed {text}")
        odd = next((s for s, want in zip(told, [*expected, ""], strict=False) if s.stage != want), None)
        return Seen(False, text, odd.begin_s if odd else self._window.end_s)

    def _named(self, span: StageSpan, due: str) -> str:
        """The stage that a stretch showed; light too short to time is the stage that is due, if that looks so.

        So a stage that lasts hardly a period (a quick start or join) is no failure; its look is judged where it lasts.
        """
        if span.stage != "unrecognised":
            return span.stage
        look = self._looks.get(due)
        if look is None:
            return f"unrecognised ({span.colour})"
        phase_s = max((phase.length_s for phase in look.cycle if phase.colour == span.colour), default=0.0)
        phase = span.rate is None and span.end_s - span.begin_s <= phase_s * ONE_PHASE + span.begin_doubt_s
        steady = not look.cycle and span.short and span.colour == look.colour
        return due if steady or (phase_s and phase) else f"unrecognised ({span.colour})"

    def _begin_s(self, after_s: float) -> float:
        return max(after_s, self._window.begin_s)

    def rate(self, stage: str) -> Reading | None:
        """The flash rate measured while a stage was shown, in hertz."""
        for span in self.stages:
            if span.stage == stage and span.rate is not None:
                return Reading.of(span.rate.hz, span.rate.doubt_hz, "Hz")
        return None

    @cached_property
    def _camera(self) -> _Camera:
        """Of what was recorded up to this leg's end, so that a stored run is judged on what the live one was."""
        record = self._window.record
        until_s = self._window.end_s + BEHIND_REAL_S * record.speed
        from_s = min(self._window.begin_s - LONGEST_GAP_S, until_s - DELAY_OVER_S)
        read = _cameras.setdefault(record, {})
        if (from_s, until_s) not in read:
            read[from_s, until_s] = _read_camera(record, from_s, until_s)
        return read[from_s, until_s]


def _could_come_no_further(shown: list[str], expected: list[str]) -> bool:
    """Whether a unit showed what it should as far as it came, with an instrument gone that it needs to go on."""
    return shown == expected[: len(shown)] or shown[: len(expected) - 1] == expected[:-1]


_cameras: "WeakKeyDictionary[Record, dict[tuple[float, float], _Camera]]" = WeakKeyDictionary()


def _appearance(lamp: Lamp) -> Appearance:
    word = {"dark": "off"}
    if lamp.sequence:
        return Appearance(sequence=tuple((word.get(p.colour, p.colour), p.for_s) for p in lamp.sequence))
    colour = word.get(lamp.colour or "", lamp.colour or "")
    return Appearance(colour=colour, flash_hz=lamp.flash_hz, duty=lamp.duty)


def _read_camera(record: Record, from_s: float, until_s: float) -> _Camera:
    all_frames = record.frames().within(-inf, until_s)
    frames = all_frames.within(from_s, until_s)
    if len(frames) < 2:
        return _Camera(None, None, [], None, "no frames were recorded")
    switches = [m for m in record.by_kind.get(("bench lamp", "switched"), ()) if from_s <= m.time_s <= until_s]
    rising = [m for at, m in enumerate(switches) if at == 0 or m.time_s > switches[at - 1].time_s]
    if not rising:
        return _Camera(None, None, [], None, "the bench's own lamp was never switched")
    order_times_s = [m.time_s for m in rising]
    first_on = rising[0].data.get("on") is True
    brightness = frames.bench.reshape(len(frames), -1).mean(axis=1).astype(np.float64)
    delay = bench_lamp_delay(order_times_s, frames.times_s, brightness, first_on=first_on)
    if isinstance(delay, NotTold):
        return _Camera(None, None, [], None, f"its delay could not be measured: {delay.reason}")
    seen = bench_lamp_seen(order_times_s, frames.times_s, brightness, delay, first_on=first_on)
    awake_s = [s.ordered_s for s in seen if s.seen_s is not None]
    try:
        dark = dark_reference(_dark_frames(record, all_frames, delay))
    except ValueError as error:  # awake, and yet it cannot tell the lamp's light
        return _Camera(None, None, awake_s, None, f"no dark reference: {error}")
    return _Camera(frames, delay, awake_s, dark)


def _dark_frames(record: Record, frames: LampFrames, delay: Delay) -> "np.ndarray[tuple[int, ...], np.dtype[np.uint8]]":
    """Frames of stretches with the supply off, the first such stretch that gives enough."""
    states = sorted(
        (m for kind in ("on", "off", "state") for m in record.by_kind.get(("power", kind), ())), key=lambda m: m.time_s
    )
    chosen: list[np.ndarray[tuple[int, ...], np.dtype[np.uint8]]] = []
    off_since_s: float | None = None
    for moment in states:
        is_off = moment.kind == "off" or (moment.kind == "state" and moment.data.get("on") is False)
        if is_off:
            off_since_s = moment.time_s if off_since_s is None else off_since_s
            continue
        if off_since_s is not None:
            piece = frames.within(off_since_s + SETTLE_S + delay.offset_s, moment.time_s + delay.offset_s - 0.1)
            chosen.append(piece.unit)
            off_since_s = None
    return np.concatenate(chosen)[:DARK_FRAMES] if chosen else frames.unit[:0]
