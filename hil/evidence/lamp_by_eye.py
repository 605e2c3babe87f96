"""What a person saw of the unit's lamp, by the keys they pressed, where a bench has no camera.

They may miss what is shown briefly: a stage that nobody pressed is no proof that it was not shown, but what a unit shows at
the end of a leg it goes on to show.
"""

from functools import cached_property
from itertools import pairwise, product, takewhile
from math import inf, isfinite

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
BRIEF_S = 1.0  # what is shown for less may be missed (common practice, no source)
AT_ONCE_S = 0.5  # from the first key to the leg
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
    def _keys(self) -> list[Moment]:
        """The keys of the watch that this is all or a part of."""
        watch = self._word.number("watch") if self._word is not None else 0.0
        return [moment for moment in self._window.all(SOURCE, "shows") if moment.number("watch") == watch]

    @cached_property
    def _doubt_s(self) -> float:
        return max((moment.doubt_s for moment in self._keys), default=0.0)

    @cached_property
    def asleep(self) -> list[Asleep]:
        """All of the leg, where they did not say that they saw all of it, or not what the lamp showed at its begin."""
        told, begin_s = self._word, self._window.begin_s
        whole = told is not None and told.data.get("whole") is True
        if whole and self._keys and self._keys[0].time_s <= begin_s:
            return []
        why = "nobody said that they saw it"
        if told is not None:
            missed = "what it showed at first" if whole else "all of it"
            why = f"the person at the lamp did not {'tell' if whole else 'see'} {missed}"
        return [Asleep(begin_s, self._window.end_s, woke=told is not None, why=why)]

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
        """What the lamp showed, from each key to the next; since when it showed what the first one tells nobody knows."""
        keys, end_s = self._keys, self._window.end_s
        ends_s = [then.time_s for _, then in pairwise(keys)] + [max([end_s, *(key.time_s for key in keys[-1:])])]
        doubts_s = [inf] + [key.doubt_s for key in keys[1:]]
        return [
            StageSpan(key.text("look"), key.time_s, until_s, doubt_s, "")
            for key, until_s, doubt_s in zip(keys, ends_s, doubts_s, strict=False)
            if until_s + self._doubt_s >= self._window.begin_s and key.time_s - key.doubt_s <= end_s
        ]

    def doubt_of(self, span: StageSpan) -> float:
        """The doubt of a stretch's begin; of the first, that of the key."""
        return min(span.begin_doubt_s, self._doubt_s)

    def begins(self, stage: str, after_s: float) -> Occurrence:
        """When they first saw the lamp look as promised for a stage."""
        if self.asleep:
            return Occurrence.not_before(self._window.begin_s, self.trouble)
        found = next((span for span in self.stages if span.stage == stage and span.end_s > after_s), None)
        if found is None:
            missed = f"{self.witness}: did not see {stage}, which may have been shown too briefly"
            return Occurrence.not_before(after_s, missed)
        doubt_s = self.doubt_of(found)
        if found.begin_s + doubt_s < after_s or not isfinite(found.begin_doubt_s):
            because = f"{self.witness}: the lamp showed {stage} before that"
            return Occurrence(-inf, found.begin_s + doubt_s, measured=False, because=because)
        return Occurrence.at(found.begin_s, doubt_s)

    def shows_in_order(self, expected: list[str], after_s: float = -inf) -> Seen:
        """Whether they saw these stages, in this order, and nothing else; what is shown briefly may be missed."""
        if self.asleep:
            return Seen.untold(self.trouble)
        accounts = self._accounts(max(after_s, self._window.begin_s))
        seen = " → ".join(accounts[0]) or DARK
        text = f"{seen}, by a person’s eye, which may miss what is brief"
        if all(shown == expected for shown in accounts):
            return Seen(True, text)
        gone = next((m for m in self._window.of("leg", "gave up") if m.text("instrument")), None)
        if gone is not None and any(could_come_no_further(shown, expected) for shown in accounts):
            return Seen.untold(f"{gone.text('instrument')}: {gone.text('why')}; the lamp showed {seen}")
        if expected in accounts:
            return Seen.untold(f"{self.witness}: saw {seen}; whether all of it was in this part nobody could see")
        if any(shown[-1:] == expected[-1:] and _is_part(shown, expected) for shown in accounts):
            return Seen.untold(f"{self.witness}: saw {seen}; the rest may have been shown too briefly")
        return Seen(False, text, self._window.end_s)

    def _accounts(self, after_s: float) -> list[list[str]]:
        """What was shown from a time on, dark stretches aside: the whole account first, then those it may be as well.

        What they saw first may have ended before that time, or soon after, and what they saw last may have begun after the leg.
        """
        dark_at, doubt_s, end_s = self._dark_when_supply_came(after_s), self._doubt_s, self._window.end_s
        seen = self.stages[dark_at or 0 :]
        lit = [span for span in seen if span.stage != DARK and span.end_s + doubt_s > after_s]
        before = list(takewhile(lambda span: self._may_be_of_before(span, after_s), lit)) if dark_at is None else []
        beyond = list(takewhile(lambda span: span.begin_s + self.doubt_of(span) > end_s, reversed(lit)))
        cuts = product(range(len(before) + 1), range(len(beyond) + 1))
        parts = [lit[first : len(lit) - last] for first, last in cuts if first + last <= len(lit)]
        return [_merged([span.stage for span in part]) for part in parts]

    def _may_be_of_before(self, span: StageSpan, after_s: float) -> bool:
        """Whether a look may have been over by a time, or so soon after it that a brief one between may have been missed.

        Where the supply came then, what began before was over, seen or not: the lamp had been dark.
        """
        doubt_s, is_first = self._doubt_s, not isfinite(span.begin_doubt_s)
        soon_over = span.end_s - doubt_s <= after_s + BRIEF_S
        if after_s <= self._keys[0].time_s + doubt_s + AT_ONCE_S:  # what they told at the leg's begin was so then
            return is_first and soon_over
        begun_s = -inf if is_first else span.begin_s
        return (begun_s + doubt_s <= after_s and self._supply_came(after_s)) or (
            begun_s - doubt_s <= after_s and soon_over
        )

    def _supply_came(self, time_s: float) -> bool:
        """Whether the supply came at a time, after it was off: in reset a lamp may keep its light."""
        came = filter(is_cut, self._window.all("power", "on"))
        return any(abs(on.time_s - time_s) <= on.doubt_s + NEAR_S for on in came)

    def _dark_when_supply_came(self, after_s: float) -> int | None:
        """Which stretch is the dark one in which the supply came: it surely began before, and may have lasted until then."""
        if not self._supply_came(after_s):
            return None
        dark = (
            at
            for at, span in enumerate(self.stages)
            if span.stage == DARK and span.begin_s + self.doubt_of(span) <= after_s <= span.end_s + self._doubt_s
        )
        return next(dark, None)


def _merged(stages: list[str]) -> list[str]:
    return [stage for at, stage in enumerate(stages) if stages[at - 1 : at] != [stage]]


def _is_part(shown: list[str], expected: list[str]) -> bool:
    """Whether all that was shown is expected in that order."""
    left = iter(expected)
    return all(stage in left for stage in shown)
