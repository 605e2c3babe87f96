"""What the camera saw of the unit's lamp, derived anew from the crops each time."""

from dataclasses import replace
from functools import cached_property
from math import hypot, inf, isfinite

import numpy as np

from hil.core.awake import Asleep, asleep, first_within
from hil.core.product import Lamp
from hil.core.readings import Occurrence, Reading
from hil.evidence.camera import Camera, camera_of
from hil.evidence.seen import Seen, asleep_text
from hil.evidence.window import Window
from hil.lamp import (
    OFF,
    Appearance,
    Delay,
    LampLight,
    Span,
    StageSpan,
    breathing,
    colour_spans,
    colour_words,
    passes_through,
    read_light,
    stages_over_time,
    with_breathing,
    with_unsteady,
)
from hil.lamp.doubt import Floats
from hil.lamp.pattern import length_doubt_s
from hil.lamp.spans import LOST
from hil.lamp.stage import SLOWEST_PHASE_S

LONGEST_GAP_S = 1.0
DELAY_OVER_S = 120.0  # the camera's delay is measured over so long up to a leg's end, or over a leg that is longer
BEHIND_REAL_S = 0.35  # the longest delay of a camera that is waited for at the end of a leg, real seconds
LEAST_TELLING_S = 2.0 * SLOWEST_PHASE_S  # a stage shown for less may not be told; a flash takes two periods
ONE_PHASE = 1.15  # a lit stretch up to so many times a flash's lit phase may be one; as `stages_over_time` allows
STARTING = "starting"
BRIEF_PERIODS = 3.0  # of a sequence: shown for longer it must be told by its period
SEVERAL_LOST, FEWEST_FRAMES = 2.5, 10  # times the usual interval: two frames were lost, or more; of enough to have one
FLEETING_S = 0.35  # a stretch shorter than this between two stages is a change, not a stage


class LampView:
    """The unit's lamp over a leg."""

    witness = "camera"
    by_eye = False  # then it tells times to a second or two, and may miss what is shown for less

    def __init__(self, window: Window) -> None:
        """Read from a window."""
        self._window = window

    @cached_property
    def asleep(self) -> list[Asleep]:
        """Stretches in which the bench's own lamp was not seen to change, or the unit's was not where it should be."""
        begin_s, end_s, camera = self._window.begin_s, self._window.end_s, self._camera
        late_s = camera.delay.offset_s if camera.delay is not None else 0.0
        clipped = (
            replace(gap, begin_s=max(gap.begin_s - late_s, begin_s), end_s=min(gap.end_s - late_s, end_s))
            for gap in camera.away
        )
        away = [gap for gap in clipped if gap.begin_s < gap.end_s]
        gaps = asleep(camera.awake_s, begin_s, end_s, LONGEST_GAP_S)
        alone = [gap for gap in away if first_within(gaps, gap.begin_s, gap.end_s) is None]
        return sorted([*alone, *(_with_reason(gap, away) for gap in gaps)], key=lambda gap: gap.begin_s)

    @cached_property
    def delay(self) -> Delay | None:
        """The camera's delay, from the bench's own lamp."""
        return self._camera.delay

    @cached_property
    def _read(self) -> tuple[Floats, list[str], LampLight | None]:
        """Stamps on the run's clock, colour words and light of frames; none where the camera cannot speak."""
        camera = self._camera
        if camera.delay is None or camera.frames is None or camera.dark is None:
            return np.zeros(0), [], None
        times_s = camera.frames.times_s - camera.delay.offset_s
        begin_s, end_s = self._window.begin_s - FLEETING_S, self._window.end_s + FLEETING_S
        inside = (times_s >= begin_s) & (times_s <= end_s)
        for gap in self.asleep:  # a picture that stands still shows no stage
            inside &= (times_s <= gap.begin_s) | (times_s >= gap.end_s)
        light = read_light(camera.frames.unit[inside], camera.dark)
        return times_s[inside], colour_words(light, self._window.record.learnt), light

    @cached_property
    def spans(self) -> list[Span]:
        """Stretches of one colour, on the run's clock; nothing where the camera cannot speak."""
        times_s, words, light = self._read
        if light is None:
            return []
        return colour_spans(times_s, words, light.channels, max_gap_s=LONGEST_GAP_S, stamp_sd_s=self._camera.stamp_sd_s)

    @cached_property
    def stages(self) -> list[StageSpan]:
        """What the lamp showed, on the run's clock, by the product's stages."""
        times_s, words, light = self._read
        luminance = light.luminance if light is not None else np.zeros(0)
        found = breathing(times_s, words, luminance, sharp_frames=self._camera.switch_frames)
        stages = with_breathing(stages_over_time(self.spans, self._looks), found)
        flashes = [name for name, look in self._looks.items() if look.flash_hz is not None]
        return with_unsteady(stages, times_s, luminance, flashes)

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
        open_s += [early.begin_s - self.doubt_of(early)] if early else []
        if found is None:
            return Occurrence.not_before(min(open_s, default=self._window.end_s), because)
        doubt_s = self.doubt_of(found)
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

    def doubt_of(self, span: StageSpan) -> float:
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
            due, then = [*expected[len(merged) :], "", ""][:2]
            if self._is_steady_then_flash(span, due, then):
                merged += [due, then]
                continue
            stage = merged[-1] if self._is_held(span, merged, due) else self._named(span, due)
            merged += [stage] if merged[-1:] != [stage] else []
        text = " → ".join(merged) or "dark"
        if merged == expected and not self.asleep:
            return Seen(True, text)
        if self.asleep:
            return Seen.untold(asleep_text(self.witness, self.asleep[0]))
        gone = next((m for m in self._window.of("leg", "gave up") if m.text("instrument")), None)
        if gone is not None and could_come_no_further(merged, expected):
            return Seen.untold(f"{gone.text('instrument')}: {gone.text('why')}; the lamp showed {text}")
        odd = next((s for s, want in zip(told, [*expected, ""], strict=False) if s.stage != want), None)
        blind = self._blind(odd, expected) if odd is not None else None
        if odd is not None and blind is not None:
            return Seen.untold(f"{asleep_text(self.witness, blind)}, {self._lost_in(odd)}")
        return Seen(False, text, odd.begin_s if odd else self._window.end_s)

    def _blind(self, stretch: StageSpan, expected: list[str]) -> Asleep | None:
        """Where frames are missing: within light that nobody could tell, where a stage began, or in a flash that was due.

        What was shown just before a stage, and for not much longer, may be lost there, or be taken for a part of the stage. Of
        a flash, a frame that is lost may have been the only one to show a phase: then a period to either side reads otherwise.
        """
        frames = self._camera.frames
        if frames is None or self._camera.delay is None or len(frames) < FEWEST_FRAMES:
            return None
        times_s = frames.times_s - self._camera.delay.offset_s
        apart_s = np.diff(times_s)
        usual_s = float(np.median(apart_s))
        flashes = [look.cycle for look in map(self._looks.get, expected) if look and _lights(look, stretch.colour)]
        phase_s = min((phase.length_s for cycle in flashes for phase in cycle), default=inf)
        period_s = max((sum(phase.length_s for phase in cycle) for cycle in flashes), default=0.0)
        hides_s = max(phase_s - 2.0 * self._camera.stamp_sd_s, LOST * usual_s)
        gaps = np.flatnonzero(apart_s > min(SEVERAL_LOST * usual_s, hides_s))
        found = [Asleep(float(times_s[at]), float(times_s[at + 1])) for at in gaps]
        told = stretch.stage == "unrecognised" or flashes
        end_s = stretch.end_s if told else stretch.begin_s + usual_s
        return first_within(found, stretch.begin_s - max(period_s, usual_s), end_s + period_s)

    @staticmethod
    def _lost_in(stretch: StageSpan) -> str:
        if stretch.stage == "unrecognised":
            return "in the midst of light that nobody could tell"
        return f"where {stretch.stage} seemed to begin"

    def _named(self, span: StageSpan, due: str) -> str:
        """The stage that a stretch showed; light too short to time is the stage that is due, if that looks so.

        So a stage that lasts hardly a period (a quick start or join) is no failure; its look is judged where it lasts. Of
        light that is still on at the end nobody knows how long it would have been.
        """
        if span.stage != "unrecognised":
            return span.stage
        look = self._looks.get(due)
        unrecognised = f"unrecognised ({span.colour})" + (f", {span.manner}" if span.manner else "")
        if look is None:
            return unrecognised
        phase_s = max((phase.length_s for phase in look.cycle if phase.colour == span.colour), default=0.0)
        phase = span.rate is None and span.end_s - span.begin_s <= phase_s * ONE_PHASE + self._room_s(span)
        steady = not look.cycle and span.short and span.colour == look.colour and span is not self.stages[-1]
        alike = steady or (phase_s and phase) or self._is_brief_sequence(span, look)
        return due if alike else unrecognised

    def _is_steady_then_flash(self, stretch: StageSpan, due: str, then: str) -> bool:
        """Whether a stretch that nobody could tell is a stage of steady light and a flash of the same colour after it.

        Both may be too short to time, and look like one odd flash; but a light that lasted longer than the flash's own is
        no part of it, and what follows it must be.
        """
        steady, flash = self._looks.get(due), self._looks.get(then)
        if stretch.stage != "unrecognised" or steady is None or flash is None or steady.cycle or not flash.cycle:
            return False
        first, *rest = self._spans_within(stretch)
        lit_s = max((phase.length_s for phase in flash.cycle if phase.colour == steady.colour), default=0.0)
        outlasts = first.length_s - length_doubt_s(first) > lit_s * ONE_PHASE > 0.0
        lights = first.colour == steady.colour and any(span.colour == steady.colour for span in rest)
        return outlasts and lights and passes_through(rest, flash.cycle, ONE_PHASE - 1.0)

    def _spans_within(self, stretch: StageSpan) -> list[Span]:
        """The spans of a stretch, cut off where it begins and ends."""
        from_s, to_s = stretch.begin_s, stretch.end_s
        inside = [span for span in self.spans if span.begin_s < to_s and span.end_s > from_s]
        return [replace(span, begin_s=max(span.begin_s, from_s), end_s=min(span.end_s, to_s)) for span in inside]

    def _is_held(self, span: StageSpan, shown: list[str], due: str) -> bool:
        """Whether a lamp kept the last colour of a flash or sequence over a restart, as it may until it is lit anew."""
        look = self._looks.get(shown[-1]) if shown else None
        if due != STARTING or look is None or span.stage != "unrecognised":
            return False
        lit_anew = self._window.record.product.limits.lamp_on_s
        if lit_anew is None or not lit_anew.upper:
            return False
        phase_s = max((phase.length_s for phase in look.cycle if phase.colour == span.colour), default=0.0)
        longest_s = phase_s * ONE_PHASE + lit_anew.upper + self._room_s(span)
        return phase_s > 0.0 and span.end_s - span.begin_s <= longest_s

    def _is_brief_sequence(self, stretch: StageSpan, look: Appearance) -> bool:
        """Whether a stretch is a part, too short to time, of a sequence of colours."""
        period_s = sum(phase.length_s for phase in look.cycle)
        if OFF in {phase.colour for phase in look.cycle} or stretch.end_s - stretch.begin_s > BRIEF_PERIODS * period_s:
            return False
        return passes_through(self._spans_within(stretch), look.cycle, ONE_PHASE - 1.0)

    def _room_s(self, stretch: StageSpan) -> float:
        """By how much a stretch may be shorter than it looks: the doubts of its ends.

        Where nobody saw an end it lasted longer, if anything.
        """
        ends = [span.end_doubt_s for span in self.spans if span.end_s == stretch.end_s]
        return sum(doubt_s for doubt_s in (stretch.begin_doubt_s, *ends) if isfinite(doubt_s))

    def _begin_s(self, after_s: float) -> float:
        return max(after_s, self._window.begin_s)

    def rate(self, stage: str) -> Reading | None:
        """The flash rate measured while a stage was shown, in hertz."""
        for span in self.stages:
            if span.stage == stage and span.rate is not None:
                return Reading.of(span.rate.hz, span.rate.doubt_hz, "Hz")
        return None

    @cached_property
    def _camera(self) -> Camera:
        """Of what was recorded up to this leg's end, so that a stored run is judged on what the live one was."""
        until_s = self._window.end_s + BEHIND_REAL_S * self._window.record.speed
        from_s = min(self._window.begin_s - LONGEST_GAP_S, until_s - DELAY_OVER_S)
        return camera_of(self._window.record, from_s, until_s)


def _with_reason(gap: Asleep, away: list[Asleep]) -> Asleep:
    """The stretch, with why the camera was away in it, and as long as it was."""
    known = first_within(away, gap.begin_s, gap.end_s)
    if known is None:
        return gap
    begin_s, end_s = min(gap.begin_s, known.begin_s), max(gap.end_s, known.end_s)
    return Asleep(begin_s, end_s, gap.woke and known.woke, known.why)


def could_come_no_further(shown: list[str], expected: list[str]) -> bool:
    """Whether a unit showed what it should as far as it came, with an instrument gone that it needs to go on."""
    return shown == expected[: len(shown)] or shown[: len(expected) - 1] == expected[:-1]


def _lights(look: Appearance, colour: str) -> bool:
    """Whether a flash or sequence has phases of a colour."""
    return any(phase.colour == colour for phase in look.cycle)


def _appearance(lamp: Lamp) -> Appearance:
    word = {"dark": "off"}
    if lamp.sequence:
        return Appearance(sequence=tuple((word.get(p.colour, p.colour), p.for_s) for p in lamp.sequence))
    colour = word.get(lamp.colour or "", lamp.colour or "")
    return Appearance(colour=colour, flash_hz=lamp.flash_hz, duty=lamp.duty)
