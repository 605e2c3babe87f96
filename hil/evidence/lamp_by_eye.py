"""What a person saw of the unit's lamp, by the keys they pressed, where a bench has no camera.

They may miss what is shown briefly: a stage that nobody pressed is no proof that it was not shown, but what a unit shows at
the end of a leg it goes on to show.
"""

from functools import cached_property
from itertools import pairwise, product, takewhile
from math import inf

from hil.core.awake import Asleep
from hil.core.moments import Moment
from hil.core.readings import Occurrence
from hil.evidence.lamp import LampView, could_come_no_further
from hil.evidence.power import is_cut
from hil.evidence.seen import Seen, asleep_text
from hil.evidence.window import Record, Window
from hil.lamp import Delay, Span, StageSpan

SOURCE = "lamp by eye"
DARK = "dark"
NEAR_S = 0.01  # a time of the supply's coming is told as the earliest it may have been


def is_by_eye(record: Record) -> bool:
    """Whether a person was to look at the lamp in a run, for want of a camera."""
    return (SOURCE, "keys") in record.by_kind


def lamp_of(window: Window) -> LampView:
    """The unit's lamp over a leg, by the camera or by a person's eye."""
    return ByEye(window) if is_by_eye(window.record) else LampView(window)


class ByEye(LampView):
    """The unit's lamp over a leg, as a person saw it."""

    witness = "eye"
    by_eye = True

    @cached_property
    def _word(self) -> Moment | None:
        """What they said at the end of the leg that this is all or a part of."""
        begin_s, end_s = self._window.begin_s, self._window.end_s
        told = self._window.all(SOURCE, "told")
        return next((m for m in told if m.number("since_s") <= begin_s and m.number("until_s") >= end_s), None)

    @cached_property
    def asleep(self) -> list[Asleep]:
        """All of the leg, where they did not say that they saw all of it."""
        told = self._word
        if told is not None and told.data.get("whole") is True:
            return []
        why = "the person at the lamp did not see all of it" if told else "nobody said that they saw it"
        return [Asleep(self._window.begin_s, self._window.end_s, woke=told is not None, why=why)]

    @cached_property
    def delay(self) -> Delay | None:
        """That of a person is within their doubt."""
        return None

    @cached_property
    def spans(self) -> list[Span]:
        """Nobody counts a flash."""
        return []

    @property
    def trouble(self) -> str:
        """Why they cannot speak; empty where they can."""
        return asleep_text(self.witness, self.asleep[0]) if self.asleep else ""

    @cached_property
    def stages(self) -> list[StageSpan]:
        """What the lamp showed, from each key to the next."""
        begin_s, end_s, told = self._window.begin_s, self._window.end_s, self._word
        watch = told.number("watch") if told is not None else 0.0
        seen = [m for m in self._window.all(SOURCE, "shows") if m.number("watch") == watch]
        ends_s = [then.time_s for _, then in pairwise(seen)] + [max([end_s, *(m.time_s for m in seen[-1:])])]
        return [
            StageSpan(moment.text("look"), moment.time_s, until_s, moment.doubt_s, "")
            for moment, until_s in zip(seen, ends_s, strict=False)
            if until_s + moment.doubt_s >= begin_s and moment.time_s - moment.doubt_s <= end_s
        ]

    def doubt_of(self, span: StageSpan) -> float:
        """The doubt of a stretch's begin."""
        return span.begin_doubt_s

    def begins(self, stage: str, after_s: float) -> Occurrence:
        """When they first saw the lamp look as promised for a stage."""
        if self.asleep:
            return Occurrence.not_before(self._window.begin_s, self.trouble)
        found = next((span for span in self.stages if span.stage == stage and span.end_s > after_s), None)
        if found is None:
            missed = f"{self.witness}: did not see {stage}, which may have been shown too briefly"
            return Occurrence.not_before(after_s, missed)
        if found.begin_s + found.begin_doubt_s < after_s:
            because = f"{self.witness}: the lamp showed {stage} before that"
            return Occurrence(-inf, found.begin_s + found.begin_doubt_s, measured=False, because=because)
        return Occurrence.at(found.begin_s, found.begin_doubt_s)

    def shows_in_order(self, expected: list[str], after_s: float = -inf) -> Seen:
        """Whether they saw these stages, in this order, and nothing else; what is shown briefly may be missed."""
        if self.asleep:
            return Seen.untold(self.trouble)
        accounts = self._accounts(max(after_s, self._window.begin_s))
        text = f"{' → '.join(accounts[0]) or DARK}, by a person’s eye"
        if all(shown == expected for shown in accounts):
            return Seen(True, text)
        gone = next((m for m in self._window.of("leg", "gave up") if m.text("instrument")), None)
        if gone is not None and any(could_come_no_further(shown, expected) for shown in accounts):
            return Seen.untold(f"{gone.text('instrument')}: {gone.text('why')}; the lamp showed {text}")
        if expected in accounts:
            return Seen.untold(f"{self.witness}: saw {text}, but nobody could see whether all of that is of this part")
        if any(shown[-1:] == expected[-1:] and _is_part(shown, expected) for shown in accounts):
            return Seen.untold(f"{self.witness}: saw {text}; the rest may have been shown too briefly")
        return Seen(False, text, self._window.end_s)

    def _accounts(self, after_s: float) -> list[list[str]]:
        """What was shown from a time on, dark stretches aside: the whole account first, then those it may be as well.

        What they saw first may have ended before that time, and what they saw last may have begun after the leg. Where the
        supply comes at that time, the lamp was dark before: what was seen before it went dark was over.
        """
        seen, end_s = self._since_dark(after_s), self._window.end_s
        lit = [span for span in seen if span.stage != DARK and span.end_s + span.begin_doubt_s > after_s]
        before = list(takewhile(lambda span: span.end_s - span.begin_doubt_s <= after_s, lit))
        beyond = list(takewhile(lambda span: span.begin_s + span.begin_doubt_s > end_s, reversed(lit)))
        cuts = product(range(len(before) + 1), range(len(beyond) + 1))
        parts = [lit[first : len(lit) - last] for first, last in cuts if first + last <= len(lit)]
        return [_merged([span.stage for span in part]) for part in parts]

    def _since_dark(self, after_s: float) -> list[StageSpan]:
        """What was seen from the dark stretch on in which the supply came; all of it, where it came at no such time."""
        cut_off = filter(is_cut, self._window.all("power", "on"))  # in reset a lamp may keep its light
        came = any(abs(on.time_s - after_s) <= on.doubt_s + NEAR_S for on in cut_off)
        dark = (at for at, span in enumerate(self.stages) if span.stage == DARK and _may_hold(span, after_s))
        return self.stages[next(dark, 0) if came else 0 :]


def _merged(stages: list[str]) -> list[str]:
    return [stage for at, stage in enumerate(stages) if stages[at - 1 : at] != [stage]]


def _may_hold(span: StageSpan, time_s: float) -> bool:
    """Whether a time may lie within a stretch."""
    return span.begin_s - span.begin_doubt_s <= time_s <= span.end_s + span.begin_doubt_s


def _is_part(shown: list[str], expected: list[str]) -> bool:
    """Whether all that was shown is expected in that order."""
    left = iter(expected)
    return all(stage in left for stage in shown)
