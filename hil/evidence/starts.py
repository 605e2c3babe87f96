"""Starts one after another: how long each took from its begin to an address, by what started the unit."""

from dataclasses import dataclass

from hil.core.readings import Occurrence, Reading, between
from hil.evidence.console import ConsoleView
from hil.evidence.gave_up import cut_short
from hil.evidence.power import PowerView
from hil.evidence.resets import ResetsView
from hil.evidence.seen import Seen, asleep_text
from hil.evidence.stations import AccessPointView
from hil.evidence.window import Window, occurrence


@dataclass(frozen=True, slots=True)
class Start:
    """One start: its number in the leg, what it was asked by, and the stretch up to the next."""

    number: int
    kind: str
    begin_s: float
    until_s: float

    @property
    def words(self) -> str:
        """Which start it is, in words."""
        return f"start {self.number}, by {self.kind}, at {self.begin_s:.1f} s"


def starts_of(window: Window) -> tuple[Start, ...]:
    """The starts of a leg, in order."""
    booked = window.of("leg", "starts the unit")
    ends_s = [m.time_s for m in booked[1:]] + [window.end_s] * bool(booked)
    return tuple(
        Start(int(m.number("number")), m.text("restart"), m.time_s, end_s)
        for m, end_s in zip(booked, ends_s, strict=True)
    )


class StartsView:
    """The starts of a leg, timed from what began each: the supply, the reset line let go, or the chip's own announcement."""

    def __init__(self, window: Window, access_point: AccessPointView) -> None:
        """Read a leg and what its access point saw; what began a start is read from a view that the caller opens."""
        self._window, self._access_point = window, access_point
        self.starts = starts_of(window)

    def by_power(self, power: PowerView) -> dict[str, Reading | Seen]:
        """Power on → address, by start; each only where the supply was off before and stayed on after."""
        return {start.words: self._from_power(start, power) for start in self._of("power")} | self._left()

    def by_reset_line(self, console: ConsoleView) -> dict[str, Reading | Seen]:
        """Reset line let go → address, by start; the console's port has that line."""
        return {start.words: self._from_reset(start, console) for start in self._of("reset line")} | self._left()

    def by_software(self, resets: ResetsView) -> dict[str, Reading | Seen]:
        """The chip's announcement of its restart after saving → address, by start."""
        return {start.words: self._from_software(start, resets) for start in self._of("software")} | self._left()

    def _left(self) -> dict[str, Reading | Seen]:
        """The starts that were left for want of an instrument, where it came to that."""
        left = cut_short(self._window)
        return {} if left is None else {"the starts that were left": left}

    def _of(self, kind: str) -> list[Start]:
        return [start for start in self.starts if start.kind == kind]

    def _from_power(self, start: Start, power: PowerView) -> Reading | Seen:
        switched = [m for m in self._window.of("power", "on") if start.begin_s <= m.time_s < start.until_s]
        if not switched:
            return Seen.untold(f"{power.witness}: no switching on was recorded")
        began, lease = occurrence(switched[0]), self._lease(start, switched[0].time_s)
        was_off = power.was_off(start.begin_s, switched[0].time_s)
        stayed = power.stayed_on(began.latest_s, min(lease.latest_s, start.until_s))
        unsure = next((seen for seen in (was_off, stayed) if seen.holds is not True), None)
        return Seen.untold(unsure.text) if unsure else between(began, lease)

    def _from_reset(self, start: Start, console: ConsoleView) -> Reading | Seen:
        released = [m for m in console.released if start.begin_s <= m.time_s < start.until_s]
        if not released:
            return Seen.untold(f"{console.witness}: that the reset line was let go was not recorded")
        return between(occurrence(released[0]), self._lease(start, released[0].time_s))

    def _from_software(self, start: Start, resets: ResetsView) -> Reading | Seen:
        heard = [line for line in resets.ledger if start.begin_s <= line.time_s < start.until_s]
        if heard:
            latest_s = heard[0].time_s + heard[0].doubt_s
            began = Occurrence(start.begin_s, latest_s, measured=False)  # a lamp shows it some time after it was
            if self._window.record.product.console.speaks:
                began = Occurrence.at(heard[0].time_s, heard[0].doubt_s)
            return between(began, self._lease(start, heard[0].time_s))
        gap = next((gap for gap in resets.asleep if gap.meets(start.begin_s, start.until_s)), None)
        if gap is not None:
            return Seen.untold(asleep_text(resets.witness, gap))
        return Seen(False, "the unit did not restart after saving", start.begin_s)

    def _lease(self, start: Start, after_s: float) -> Occurrence:
        return self._access_point.first_within("leased", after_s, start.until_s)
