"""The ledger of resets: every start of the chip is asked for, or it is not.

Asked for: by power, by the reset line, by the form (one start after saving), by an update. A reset code is not believed:
a chip may repeat the last one. One order allows one start; any other fails the leg, whatever it printed. Starts are those
that the console announces; where the product promises a silent one, those that the lamp shows.
"""

from dataclasses import dataclass
from functools import cached_property

from hil.core.awake import Asleep
from hil.core.moments import Moment
from hil.core.text import count
from hil.evidence.console import ConsoleView
from hil.evidence.gave_up import gave_up
from hil.evidence.power import PowerView
from hil.evidence.quiet_starts import QuietStarts
from hil.evidence.seen import Seen, asleep_text
from hil.evidence.window import Window

EARLY_S = 0.2  # a banner may be stamped that much before the order it answers


@dataclass(frozen=True, slots=True)
class Booked:
    """A line of the ledger: a start that was seen, and who asked for it."""

    time_s: float
    asked_by: str | None
    doubt_s: float = 0.0


class ResetsView:
    """The ledger of a leg."""

    def __init__(self, window: Window, signs: ConsoleView | QuietStarts) -> None:
        """Read from a window, and from what shows starts (`signs_of_starts`)."""
        self._window = window
        self._signs = signs

    @property
    def witness(self) -> str:
        """Who saw the starts."""
        return self._signs.witness

    @property
    def asleep(self) -> list[Asleep]:
        """Stretches in which a start would not have been heard, or seen."""
        return self._signs.asleep

    @cached_property
    def orders(self) -> tuple[Moment, ...]:
        """What the bench did that starts the chip."""
        found = [
            *self._window.of("power", "on"),
            *self._window.of("console", "reset line"),
            *(m for m in self._window.of("ledger", "asked") if self._restarts or m.text("asked_by") != "form"),
        ]
        return tuple(sorted(found, key=lambda m: m.time_s))

    @cached_property
    def ledger(self) -> tuple[Booked, ...]:
        """Every start seen, with the order that asked for it."""
        left = list(self.orders)
        booked = []
        for start in self._signs.starts:
            earlier = [order for order in left if order.time_s <= start.time_s + EARLY_S]
            order = earlier[-1] if earlier else None
            if order is not None:
                left = [later for later in left if later.time_s > order.time_s]
            booked.append(Booked(start.time_s, order.text("asked_by") if order else None, start.doubt_s))
        booked += [Booked(start.time_s, None, start.doubt_s) for start in self._signs.hidden]
        return tuple(sorted(booked, key=lambda line: line.time_s))

    def none_unasked(self) -> Seen:
        """Whether every start was asked for; each order must have been followed by a start, or nobody listened."""
        unasked = [line for line in self.ledger if line.asked_by is None]
        for line in unasked:
            if unsure := self._supply_unsure(line.time_s):
                return Seen.untold(unsure)
        if unasked:
            times = ", ".join(f"{line.time_s:.2f} s" for line in unasked)
            return Seen(False, f"{count(len(unasked), 'start')} nobody asked for, at {times}", unasked[0].time_s)
        gaps = self.asleep
        if gaps:
            return Seen.untold(asleep_text(self.witness, gaps[0]))
        if not self.ledger and self.orders:
            return Seen.untold(f"{self.witness}: no start was heard after the order at {self.orders[0].time_s:.1f} s")
        return Seen(True, f"{count(len(self.ledger), 'start')}, all asked for")

    def _supply_unsure(self, start_s: float) -> str:
        """Why a start may have been the supply's doing, or its order lost; empty where the supply was witnessed on."""
        power = PowerView(self._window)
        switched = self._window.last_before(start_s, "power", "on", "off")
        if switched is None or switched.kind == "off":
            return f"{power.witness}: no switching on was recorded before the start at {start_s:.2f} s"
        stayed = power.stayed_on(switched.time_s, start_s)
        return "" if stayed.holds else stayed.text

    def starts_after(self, asked_by: str) -> Seen:
        """Whether exactly one start followed an order of that origin."""
        if asked_by == "form" and not self._restarts:
            return self._no_start()
        order = next((m for m in self.orders if m.text("asked_by") == asked_by), None)
        if order is None:
            return Seen.untold(f"ledger: nothing was asked for by the {asked_by}")
        gaps = self.asleep
        later = [line for line in self.ledger if line.time_s > order.time_s - EARLY_S]
        if len(later) > 1:
            return Seen(False, f"{len(later)} starts after the {asked_by}, one was asked for", later[1].time_s)
        if gaps:
            return Seen.untold(asleep_text(self.witness, gaps[0]))
        if not later:
            return self._never_started(asked_by)
        return Seen(True, f"one start, at {later[0].time_s:.2f} s", later[0].time_s)

    @property
    def _restarts(self) -> bool:
        """Whether the unit promises to start anew after a save."""
        return self._window.record.product.form.saved.restarts

    def _no_start(self) -> Seen:
        """Whether there was no start at all, as of a unit that joins at once."""
        if not self._window.of("ledger", "asked"):
            return gave_up(self._window) or Seen.untold("ledger: nothing was saved")
        unasked = self.none_unasked()
        if unasked.holds is True and not self._signs.spoke:
            return self._never_started("form")
        return unasked

    def _never_started(self, asked_by: str) -> Seen:
        if not self._signs.spoke:
            return Seen.untold(f"{self.witness}: nothing was heard or seen of the unit in this leg")
        return Seen(False, f"no start after the {asked_by}")

    def one_start_for_each(self, asked_by: str) -> Seen:
        """Whether each order of that origin was followed by one start, and there was no other; of all that the leg planned."""
        unasked = self.none_unasked()
        if unasked.holds is False:
            return unasked
        if self.asleep:
            return Seen.untold(asleep_text(self.witness, self.asleep[0]))
        if asked_by == "form" and not self._restarts:
            return gave_up(self._window) or self._no_start()
        orders = [order for order in self.orders if order.text("asked_by") == asked_by]
        starts = [line for line in self.ledger if line.asked_by == asked_by]
        if not orders:
            return Seen.untold(f"ledger: nothing was asked for by the {asked_by}")
        if (left := gave_up(self._window)) is not None:
            return left
        if len(starts) < len(orders):
            few = f"{len(starts)} starts after {len(orders)} orders of the {asked_by}"
            return Seen(False, few, orders[0].time_s) if self._signs.spoke else self._never_started(asked_by)
        return Seen(True, f"{len(orders)} orders of the {asked_by}, and a start after each")
