"""A change of address or network: whether the unit lives by it once it is saved, and after the supply was cut."""

from dataclasses import dataclass
from urllib.parse import urlsplit

from hil.core.awake import first_within
from hil.core.form_promise import ADDRESS_ROLES
from hil.core.moments import Moment
from hil.core.readings import Reading, between
from hil.evidence.gave_up import gave_up
from hil.evidence.pages import PagesView
from hil.evidence.power import PowerView
from hil.evidence.saves import Save, booked_saves
from hil.evidence.seen import Seen, absent, asleep_text
from hil.evidence.stations import AccessPointView
from hil.evidence.window import Window, occurrence

TOLD = {"leased": "given", "announced": "announced"}


@dataclass(frozen=True, slots=True)
class Stretch:
    """Some time of a leg."""

    begin_s: float
    until_s: float

    def holds(self, moment: Moment) -> bool:
        """Whether a moment lies in it."""
        return self.begin_s <= moment.time_s <= self.until_s


class KeptChange:
    """One change: from its save to the next save, the supply cut in between."""

    def __init__(self, window: Window, access_point: AccessPointView, purpose: str) -> None:
        """Read a leg, and what its access point saw after the save of that purpose."""
        self._window, self._access_point = window, access_point
        self._save: Save | None = booked_saves(window).get(purpose)
        self._form = window.record.product.form

    def typed(self, role: str) -> str:
        """What was typed for a role; empty where the save never came."""
        return self._save.typed.get(self._form.by_role(role) or "", "") if self._save else ""

    @property
    def saved(self) -> Stretch | Seen:
        """From the save to the next one."""
        if self._save is None:
            return gave_up(self._window) or Seen.untold("leg: no such save was recorded")
        return Stretch(self._save.begin_s, self._save.until_s)

    def cut(self, power: PowerView) -> Stretch | Seen:
        """From the switching on after the cut, which must be witnessed, to the next save."""
        saved = self.saved
        if isinstance(saved, Seen):
            return saved
        off, on = (self._first_order(saved, kind) for kind in ("off", "on"))
        if off is None or on is None:
            return gave_up(self._window) or Seen.untold(f"{power.witness}: that the supply was cut was not recorded")
        was_off = power.was_off(off.time_s, on.time_s)
        return Stretch(on.time_s, saved.until_s) if was_off.holds else Seen.untold(was_off.text)

    def connected_after_cut(self, kind: str, power: PowerView) -> Reading | Seen:
        """The time from that switching on to the unit's address, `leased` or `announced`; where the bench went on first, none."""
        stretch = self.cut(power)
        if isinstance(stretch, Seen):
            return stretch
        began = next(occurrence(m) for m in self._window.of("power", "on") if stretch.holds(m))
        told = self._access_point.first_within(kind, stretch.begin_s, stretch.until_s)
        if not told.seen:
            text = f"no address was {TOLD[kind]} before the bench went on"
            return Seen.untold(told.because) if told.because else Seen(False, text, stretch.until_s)
        stayed = power.stayed_on(began.latest_s, min(told.latest_s, stretch.until_s))
        return between(began, told) if stayed.holds else Seen.untold(stayed.text)

    def _first_order(self, stretch: Stretch, kind: str) -> Moment | None:
        return next((m for m in self._window.of("power", kind) if stretch.holds(m)), None)

    def at_fixed_address(self, stretch: Stretch | Seen) -> Seen:
        """Whether the first address of the unit is the one that was typed, by its own announcement."""
        first = self._first_address(stretch)
        if isinstance(first, Seen):
            return first
        text = f"{first.text('ip')} {TOLD[first.kind]} at {first.time_s:.1f} s"
        if first.kind == "announced" and first.text("ip") == self.typed(ADDRESS_ROLES[0]):
            return Seen(True, text, first.time_s)
        return Seen(False, f"{text}, and {self.typed(ADDRESS_ROLES[0])} was typed", first.time_s)

    def on_open_network(self, stretch: Stretch | Seen) -> Seen:
        """Whether the unit got an address while the network on the air was the open one that was typed."""
        first = self._first_address(stretch)
        if isinstance(first, Seen):
            return first
        up = self._window.last_before(first.time_s, "access point", "up")
        name, security = (up.text("name"), up.text("security")) if up else ("", "")
        text = f"{first.text('ip')} {TOLD[first.kind]} at {first.time_s:.1f} s on {name!r}, {security}"
        return Seen((name, security) == (self.typed("network"), "open"), text, first.time_s)

    def _first_address(self, stretch: Stretch | Seen) -> Moment | Seen:
        """The first address of the unit in a stretch, given or announced; where there is none, why."""
        if isinstance(stretch, Seen):
            return stretch
        told = [m for kind in TOLD for m in self._access_point.of_unit(kind) if stretch.holds(m)]
        first = min(told, key=lambda m: m.time_s, default=None)
        gap = first_within(self._access_point.asleep, stretch.begin_s, first.time_s if first else stretch.until_s)
        if gap is not None:
            return Seen.untold(asleep_text(self._access_point.witness, gap))
        return first or Seen(False, "the unit had no address on the network", stretch.until_s)

    def asks_for_no_lease(self, stretch: Stretch | Seen) -> Seen:
        """Whether the unit, once it joined anew, neither asked for a lease nor took one."""
        if isinstance(stretch, Seen):
            return stretch
        point = self._access_point
        gaps = [gap for gap in point.asleep if gap.meets(stretch.begin_s, stretch.until_s)]
        joined = next((m for m in point.of_unit("joined") if stretch.holds(m)), None)
        if joined is None:
            text = "the unit never joined the network"
            return Seen.untold(asleep_text(point.witness, gaps[0])) if gaps else Seen(False, text, stretch.until_s)
        since = Stretch(joined.time_s, stretch.until_s)
        asked = [m for kind in ("lease asked", "leased") for m in point.of_unit(kind) if since.holds(m)]
        return absent(sorted(asked, key=lambda m: m.time_s), "request for a lease", gaps, point.witness)

    def served_there(self, pages: PagesView, purpose: str) -> Seen:
        """Whether a page was answered at the address that was typed."""
        served, fetched = pages.served(purpose), pages.of(purpose)
        if served.holds is not True or fetched is None:
            return served
        host = urlsplit(fetched.moment.text("url")).hostname
        return Seen(host == self.typed(ADDRESS_ROLES[0]), str(fetched), fetched.moment.time_s)
