"""Many page loads of one leg: whether all were answered whole, how long none was, and what memory they cost the unit.

Free memory is what the unit says of itself: what stands here of it is a claim. That it falls is a claim against itself.
"""

import hashlib
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate
from math import inf
from statistics import median

from hil.core.awake import first_within
from hil.core.moments import Moment
from hil.core.readings import Reading
from hil.core.text import count
from hil.evidence.gave_up import cut_short, gave_up
from hil.evidence.pages import PagesView
from hil.evidence.seen import Seen, asleep_text
from hil.evidence.slopes import fit_slopes
from hil.evidence.stations import AccessPointView
from hil.evidence.window import Window
from hil.page.loads import kind_of_load
from hil.page.page import value_of
from hil.page.read import read_page

ABORTED, MEMORY = "aborted load", "free memory"
EVENTS = ("load", ABORTED, "rejoin")
REJOIN = EVENTS[-1]
OCTETS = re.compile(r"\s*(\d+)\s*(?:octets|bytes|B)?\s*")  # one told in kilobytes would hide what is sought
STATED_TO_OCTETS = 1.0


@dataclass(frozen=True, slots=True)
class FreeMemory:
    """What the unit stated of its free memory, after so many events of each kind."""

    octets: float
    counts: tuple[float, ...]


class LoadsView:
    """The loads of a leg."""

    def __init__(self, window: Window, pages: PagesView) -> None:
        """Read a leg and its pages, which the caller opens."""
        self._window, self._pages = window, pages

    @cached_property
    def _booked(self) -> tuple[Moment, ...]:
        """What came of each load, in order."""
        kinds = {kind for source, kind in self._window.record.by_kind if source == "pages"}
        found = self._window.of("pages", *sorted(kinds)) if kinds else ()
        return tuple(m for m in found if kind_of_load(m.text("purpose")))

    @cached_property
    def _untold(self) -> Seen | None:
        """Why not all is known that came of the loads asked for; None where it is."""
        asked = Counter(purpose for purpose in self._pages.asked if kind_of_load(purpose))
        if not asked:
            return self._pages.never_asked("load")
        lost = next(iter(asked - Counter(m.text("purpose") for m in self._booked)), None)
        if lost is not None:
            return Seen.untold(f"{self._pages.witness}: no outcome of the {lost} was recorded")
        return cut_short(self._window)

    @cached_property
    def _meant(self) -> tuple[Moment, ...]:
        """The loads that were not aborted."""
        return tuple(m for m in self._booked if kind_of_load(m.text("purpose")) != ABORTED)

    def whole(self) -> Seen:
        """Whether each load that was not aborted was answered whole, and the leg came to its end."""
        missed = [m for m in self._meant if not _answered(m)]
        if missed:
            first = missed[0]
            status = f" with status {first.text('status')}" if first.kind == "answered" else ""
            told = f"{first.text('purpose')}: {first.kind}{status}"
            text = f"{len(missed)} of {count(len(self._meant), 'load')} not answered, the first: {told}"
            return Seen(False, text, first.time_s)
        if (unsure := self._untold or self._damaged() or gave_up(self._window)) is not None:
            return unsure
        return Seen(True, f"{count(len(self._meant), 'load')} answered whole")

    def _damaged(self) -> Seen | None:
        damaged = next((m for m in self._meant if not self._as_recorded(m)), None)
        if damaged is None:
            return None
        return Seen.untold(
            f"{self._pages.witness}: the answer to the {damaged.text('purpose')} is not what was recorded"
        )

    def _as_recorded(self, moment: Moment) -> bool:
        body = self._window.record.page(moment.text("file")) if moment.text("file") else b""
        return hashlib.sha256(body).hexdigest() == moment.text("sha256")

    def unanswered(self) -> Reading | Seen:
        """The longest time for which loads were asked for and none was answered.

        It counts from the first that was not, to the end of the next answer; a load that is answered is one such time. Up
        to the lag of the way there and back is the bench's. Silence is the unit's only while the access point, through
        which it was asked, is witnessed to have been there; else the time is a mere bound.
        """
        if self._untold is not None:
            return self._untold
        times = self._unanswered_times()
        if not times:
            return self._pages.never_asked("load")
        begin_s, end_s = max(times, key=lambda time: time[1] - time[0])
        last_s = max(m.time_s + m.number("total_s", 0.0) for m in self._meant)
        known_s = min(end_s, last_s) - begin_s
        access_point = AccessPointView(self._window)
        gap = first_within(access_point.asleep, begin_s, min(end_s, last_s))
        if gap is not None:
            return Reading(0.0, max(end_s - begin_s, 0.0), "s", asleep_text(access_point.witness, gap), at_s=begin_s)
        if end_s == inf:
            return Reading(known_s, inf, "s", at_s=begin_s)
        return Reading(max(known_s - self._way_s, 0.0), known_s, "s", at_s=begin_s)

    @property
    def _way_s(self) -> float:
        """How long it took to reach the unit, for most loads; of a unit that is away, it takes until it is back."""
        took_s = [m.number("took_s", 0.0) for m in self._window.of("access point", "reached")]
        return median(took_s) if took_s else 0.0

    def _unanswered_times(self) -> list[tuple[float, float]]:
        """From when to when loads were asked for and not answered; without an end where none was any more."""
        times, since_s = [], inf
        for moment in self._meant:
            since_s = min(since_s, moment.time_s)
            if _answered(moment):
                times.append((since_s, moment.time_s + moment.number("total_s", 0.0)))
                since_s = inf
        return times if since_s == inf else [*times, (since_s, inf)]

    def lost_memory(self) -> dict[str, Reading | Seen]:
        """How many octets of free memory each kind of event cost, by kind."""
        label = self._window.record.product.status.free_memory
        if label is None:
            return {"load": Seen.not_promised()}
        if self._untold is not None:
            return {"load": self._untold}
        readings = self._free_memory(label)
        if isinstance(readings, Seen):
            return {"load": readings}
        there = [at for at in range(len(EVENTS)) if any(reading.counts[at] for reading in readings)]
        rows = [[reading.counts[at] for at in there] for reading in readings]
        fitted = fit_slopes(rows, _from_then_on([reading.octets for reading in readings]), STATED_TO_OCTETS)
        if fitted is None:
            text = f"{self._pages.witness}: {count(len(readings), 'reading')} of free memory, too few to tell a trend"
            return {"load": gave_up(self._window) or Seen.untold(text)}
        slopes = zip(there, fitted.values, fitted.doubts, strict=True)
        return {EVENTS[at]: Reading.of(-slope, doubt, "octets") for at, slope, doubt in slopes}

    def _free_memory(self, label: str) -> list[FreeMemory] | Seen:
        """The readings after the warm-up, counted from the first; of several loads of one number the most free."""
        warm = self._window.of("leg", "has warmed up")
        if not warm:
            return gave_up(self._window) or Seen.untold("leg: the end of the warm-up was not recorded")
        events = sorted([*self._booked, *self._window.of("leg", "rejoins")], key=lambda m: m.time_s)
        done, found = Counter[str](), dict[str, FreeMemory]()
        for moment in events:
            kind = REJOIN if moment.source == "leg" else kind_of_load(moment.text("purpose"))
            done[kind] += 1
            if kind != MEMORY or moment.time_s < warm[0].time_s or not _answered(moment):
                continue
            stated = self._stated(moment, label)
            if isinstance(stated, Seen):
                return stated
            counts = (done["load"] + done[MEMORY], done[ABORTED], done[REJOIN])
            before = found.get(moment.text("purpose"))
            octets = stated if before is None else max(stated, before.octets)
            found[moment.text("purpose")] = FreeMemory(octets, tuple(map(float, counts)))
        first = next(iter(found.values()), FreeMemory(0.0, (0.0, 0.0, 0.0)))
        return [FreeMemory(r.octets, _less(r.counts, first.counts)) for r in found.values()]

    def _stated(self, moment: Moment, label: str) -> float | Seen:
        """The number of octets a status page states."""
        if not self._as_recorded(moment):
            text = f"{self._pages.witness}: the answer to the {moment.text('purpose')} is not what was recorded"
            return Seen.untold(text)
        body = self._window.record.page(moment.text("file")) if moment.text("file") else b""
        stated = value_of(read_page(body, moment.text("content_type"), moment.text("url")), label)
        number = OCTETS.fullmatch(stated or "")
        if number is None:
            return Seen(False, f"beside {label!r}: {stated!r}, no whole number of octets", moment.time_s)
        return float(number[1])


def _answered(moment: Moment) -> bool:
    return moment.kind == "answered" and 200 <= moment.number("status", 0.0) < 400


def _from_then_on(octets: Sequence[float]) -> list[float]:
    """The most that was free at each reading or at any after it: memory that comes back was lent, and not lost for good."""
    return list(accumulate(reversed(octets), max))[::-1]


def _less(counts: tuple[float, ...], first: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(a - b for a, b in zip(counts, first, strict=True))
