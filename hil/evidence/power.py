"""What the supply shows: when it was switched, and whether it stayed so."""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from functools import cached_property
from math import inf

from hil.core.awake import Asleep, asleep
from hil.core.moments import Moment
from hil.core.readings import Occurrence
from hil.evidence.seen import Seen, asleep_text
from hil.evidence.window import Window, occurrence

LONGEST_GAP_S = 1.0
NOT_CUT = "power: this bench holds the unit in reset; its supply was not switched"


def is_cut(moment: Moment) -> bool:
    """Whether what was switched, or read back, is the supply: else the unit is only held in reset."""
    return moment.data.get("in_reset") is not True


def _surely_between(moment: Moment, begin_s: float, end_s: float) -> bool:
    """Whether what was read back was read after one time and before another, for all its doubt."""
    return begin_s <= moment.time_s - moment.doubt_s and moment.time_s + moment.doubt_s <= end_s


class PowerView:
    """The supply over a leg."""

    witness = "power"

    def __init__(self, window: Window) -> None:
        """Read from a window."""
        self._window = window

    @cached_property
    def asleep(self) -> list[Asleep]:
        """Stretches in which the supply's state was not read back."""
        return self.asleep_within(self._window.begin_s, self._window.end_s)

    def asleep_within(self, begin_s: float, end_s: float) -> list[Asleep]:
        """The same for a part of the leg, or beyond it."""
        return asleep(self._window.record.supply_told_s, begin_s, end_s, LONGEST_GAP_S)

    def _read_between(self, begin_s: float, end_s: float) -> Sequence[Moment]:
        """States read back after a time and before another, of the whole run."""
        states = self._window.record.fresh_supply_states
        first = bisect_right(states, begin_s, key=lambda m: m.time_s)
        return states[first : bisect_left(states, end_s, key=lambda m: m.time_s)]

    def last_on(self) -> Occurrence:
        """When it was switched on for the last time in this leg."""
        moments = self._window.of(self.witness, "on")
        if not moments:
            return Occurrence.not_before(self._window.begin_s, "power: no switching on was recorded")
        return occurrence(moments[-1])

    def switched_on(self) -> Occurrence:
        """The same of the supply itself: a unit that is let go from reset had it all the time, and nobody knows since when."""
        if not all(map(is_cut, self._window.of(self.witness, "on"))):
            return Occurrence(-inf, inf, measured=False, because=NOT_CUT)
        return self.last_on()

    def stayed_on(self, begin_s: float, end_s: float) -> Seen:
        """Whether the supply was on from one time to another."""
        gaps = self.asleep_within(begin_s, end_s)
        if gaps:
            return Seen.untold(asleep_text(self.witness, gaps[0]))
        for moment in self._window.of(self.witness, "state", "off"):
            ordered = moment.kind == "off" and begin_s < moment.time_s < end_s
            if ordered or (moment.data.get("on") is not True and _surely_between(moment, begin_s, end_s)):
                told = "was switched off" if moment.kind == "off" else "read back as off"
                return Seen(False, f"the supply {told}", moment.time_s)
        return Seen(True, "the supply stayed on")

    def was_off(self, begin_s: float, end_s: float) -> Seen:
        """Whether the supply was switched off at a time, and read back as off before it was switched on again."""
        orders = [m for m in self._window.of(self.witness, "off") if begin_s - m.doubt_s <= m.time_s < end_s]
        read = [m for m in self._read_between(begin_s, end_s) if m.data.get("on") is not True]
        if not all(map(is_cut, orders)):
            return Seen.untold(NOT_CUT)
        if not orders or not read:
            told = "was not read back as off" if orders else "was not switched off"
            return Seen.untold(f"{self.witness}: by what was recorded, the supply {told} at {begin_s:.2f} s")
        return Seen(True, "the supply was off", begin_s)

    def was_cut(self) -> Seen:
        """Whether the supply was on, in this leg or before it, then, in this leg, read back as off, then on again."""
        orders = self._window.of(self.witness, "on", "off")
        before = self._window.last_before(self._window.begin_s, self.witness, "on", "off")
        kinds = [m.kind for m in (before, *orders) if m is not None]
        if len(orders) < 2 or kinds[-3:] != ["on", "off", "on"]:
            return Seen.untold(f"{self.witness}: that it was switched off and on again was not recorded")
        return self.was_off(orders[-2].time_s, orders[-1].time_s)

    def switched_off_s(self, after_s: float) -> float:
        """When the bench switched it off, the first time after a time in this leg, or ended the leg."""
        orders = (m.time_s - m.doubt_s for m in self._window.of(self.witness, "off"))
        return next((time_s for time_s in orders if time_s > after_s), self._window.end_s)

    def off_at_end(self) -> Seen:
        """Whether the supply was switched off last in this leg, and read back as off after that."""
        switched = next(reversed(self._window.of(self.witness, "on", "off")), None)
        gaps = self.asleep
        if gaps:
            return Seen.untold(asleep_text(self.witness, gaps[0]))
        if switched is None:
            return Seen.untold(f"{self.witness}: no switching was recorded")
        if not is_cut(switched):
            return Seen.untold(NOT_CUT)
        told = self._read_after(switched)
        if told != {switched.kind}:
            said = " and ".join(f"reads back as {word}" for word in sorted(told)) or "was not read back"
            return Seen.untold(f"{self.witness}: switched {switched.kind}, and {said} after that")
        return Seen(switched.kind == "off", f"switched {switched.kind}, and reads back so", switched.time_s)

    def _read_after(self, switched: Moment) -> set[str]:
        """What was read back from a switching to the next one, or to the end of the run."""
        begin_s = switched.time_s + switched.doubt_s
        later = (m.time_s for m in self._window.all(self.witness, "on", "off") if m.time_s > switched.time_s)
        end_s = next(later, inf)
        read = (m for m in self._read_between(begin_s, end_s) if _surely_between(m, begin_s, end_s))
        return {"on" if m.data.get("on") else "off" for m in read}
