"""Starts of a unit whose console says nothing: its lamp shows them, and its status page betrays one that the lamp hides.

A chip that starts anew shows the starting lamp, whatever it showed before. The lamp is the unit's own, and so the time
since start on each status page that was fetched is held against it: where that counts from later than the last start that
was asked for or seen, there was another.
"""

import re
from functools import cached_property
from math import inf, isfinite

from hil.core.awake import Asleep
from hil.core.moments import Moment
from hil.evidence.console import ConsoleView
from hil.evidence.lamp import FLEETING_S, STARTING, LampView
from hil.evidence.lamp_by_eye import lamp_of
from hil.evidence.pages import Fetched, PagesView
from hil.evidence.running_time import CLOCK_SHARE, START_S, WHOLE_SECOND_S
from hil.evidence.window import Window
from hil.page.page import value_of

RESTART_S = 5.0  # from a save to the restart of a unit that promises no time for it; no source
AT_ONCE = (("power", "on"), ("console", "reset line"), ("console", "reset line released"))
SAVED = ("ledger", "asked")


class QuietStarts:
    """Starts as the lamp shows them; what `ResetsView` reads where the console is silent."""

    def __init__(self, window: Window, lamp: LampView, pages: PagesView) -> None:
        """Read from a window, its lamp and its pages."""
        self._window, self._lamp, self._pages, self.witness = window, lamp, pages, lamp.witness

    @cached_property
    def asleep(self) -> list[Asleep]:
        """Stretches in which a start would not have been seen; the whole leg where nobody would tell one by the lamp."""
        told = STARTING in self._window.record.product.stages and not self._lamp.trouble and not self._lamp.by_eye
        return self._lamp.asleep if told else [Asleep(self._window.begin_s, self._window.end_s, woke=False)]

    @cached_property
    def starts(self) -> tuple[Moment, ...]:
        """Each time the lamp began to show the starting stage; one that it showed from before the leg is none."""
        begun: list[Moment] = []
        if self._lamp.by_eye:  # some may be missed, and none has its order: nobody knows how many there were
            return ()
        before_s = -inf
        for span in self._lamp.stages:
            if span.stage != STARTING:
                continue
            if isfinite(span.begin_doubt_s) and span.begin_s - before_s > FLEETING_S:
                begun.append(Moment(span.begin_s, self._lamp.doubt_of(span), self.witness, "start"))
            before_s = span.end_s
        return tuple(begun)

    @cached_property
    def hidden(self) -> tuple[Moment, ...]:
        """Starts that the lamp did not show and nobody asked for, by a status page that counts from too late."""
        label, path = self._window.record.product.status.running_for_s, self._window.record.product.status.path
        if label is None:
            return ()
        shown = [f for f in self._pages.fetched if f.answered_well and f.moment.text("url").endswith(path)]
        hidden: list[Moment] = []
        for found in (self._hidden_before(fetched, label) for fetched in shown):
            # Two pages that count from one time tell of one start.
            if found is not None and not any(abs(found.time_s - m.time_s) < found.doubt_s + m.doubt_s for m in hidden):
                hidden.append(found)
        return tuple(hidden)

    def _hidden_before(self, fetched: Fetched, label: str) -> Moment | None:
        """The start that a status page counts from, where there was neither an order nor a start to count from."""
        number = re.search(r"\d+(?:\.\d+)?", value_of(fetched.page, label) or "")
        if number is None:
            return None
        said_s, page_s = float(number.group()), fetched.moment.time_s
        room_s = WHOLE_SECOND_S + CLOCK_SHARE * said_s
        earliest_s = page_s - said_s - room_s - START_S
        latest_s = page_s + fetched.moment.number("total_s", 0.0) - said_s + room_s
        known_s = self._explained_s(latest_s)
        if not known_s or max(known_s) >= earliest_s:
            return None
        return Moment((earliest_s + latest_s) / 2.0, (latest_s - earliest_s) / 2.0, PagesView.witness, "start")

    def _explained_s(self, until_s: float) -> list[float]:
        """Up to when starts are explained that came before a time: by the lamp, by orders that start at once, by a save."""
        promise = self._window.record.product.limits.restart_s
        saved = self._window.last_before(until_s, *SAVED)
        at_once = (self._window.last_before(until_s, *order) for order in AT_ONCE)
        return [
            *(moment.time_s for moment in self.starts if moment.time_s <= until_s),
            *(moment.time_s for moment in at_once if moment is not None),
            *([saved.time_s + (promise.patience_s if promise else RESTART_S)] if saved else []),
        ]

    @property
    def spoke(self) -> bool:
        """Whether the lamp showed anything at all."""
        return bool(self._lamp.stages)


def signs_of_starts(window: Window, console: ConsoleView) -> ConsoleView | QuietStarts:
    """What shows the starts of a unit: its console, or else its lamp."""
    if window.record.product.console.speaks:
        return console
    return QuietStarts(window, lamp_of(window), PagesView(window))
