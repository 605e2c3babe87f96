"""The evidence one leg left: its views, and what takes more than one of them."""

from math import inf
from typing import Literal

from hil.core.awake import Asleep
from hil.core.product import StatusPage
from hil.core.readings import Occurrence, Reading, between
from hil.evidence.acceptance import named
from hil.evidence.addresses import lamp_after_lease
from hil.evidence.captive import first_octets, led_to_form
from hil.evidence.contract import refusals
from hil.evidence.events import Event, HotspotGone
from hil.evidence.gave_up import cut_short
from hil.evidence.held_up import held_up
from hil.evidence.kept_changes import KeptChange
from hil.evidence.leaks import no_secret_heard, no_secret_leased, no_secret_said
from hil.evidence.loads import LoadsView
from hil.evidence.lookups import LookupsView, lease_names
from hil.evidence.openness import after_attempt, default_keys, ports, tls_refused, turned_away
from hil.evidence.reports import ReportsView
from hil.evidence.running_time import compare_running_time
from hil.evidence.same_name import SameNameView
from hil.evidence.save_cuts import SaveCutsView
from hil.evidence.saves import SavesView
from hil.evidence.seen import Seen
from hil.evidence.starts import StartsView
from hil.evidence.update_cuts import UpdateCutsView
from hil.evidence.updates import UpdatesView
from hil.evidence.views import WITNESSES, Views
from hil.page.attempts import TLS_PORT, SaveAttempt, port_purpose
from hil.page.contract import Kind

SILENCE_S = 1.0  # so long nothing must be heard: some ten beacons at the usual interval of 100 ms


class LegEvidence(Views):
    """One drive of a leg."""

    @property
    def held_up(self) -> list[Asleep]:
        """When the bench's own machine held the bench up."""
        return held_up(self._window)

    def between(self, first: Event, then: Event) -> Reading | Seen:
        """The time from one event to another; where the first never came before an awake witness, that there is none.

        A time that begins with power on counts only while the supply is witnessed to have stayed on.
        """
        for event in (first, then):
            self._gate.open_for(event.view)
        start = first.find(self, self.begin_s)
        if not start.seen and not start.because:
            return Seen(False, f"{first.name}: never seen, and the {WITNESSES[first.view]} was awake")
        end = then.find(self, start.earliest_s)
        if "power" in (first.view, then.view) and start.seen:
            until_s = self._power.switched_off_s(start.latest_s)
            if not end.seen:  # nor could it be, once the bench itself had switched the supply off
                end = Occurrence.not_before(min(end.earliest_s, until_s), end.because)
            unsure = self._supply_unsure(start, end.latest_s if end.seen else until_s)
            if unsure:
                return Reading(-inf, inf, "s", unsure)
        return between(start, end)

    def _supply_unsure(self, start: Occurrence, until_s: float) -> str:
        """Why the supply may not have stayed on; empty where it was witnessed to."""
        supply = self._power.stayed_on(start.latest_s, min(until_s, self.end_s))
        return "" if supply.holds else supply.text

    @property
    def typed(self) -> dict[str, str]:
        """What was typed into the form, by setting."""
        return self._window.record.trial_values

    @property
    def canaries(self) -> dict[str, str]:
        """Throw-away names and secrets that must not outlive the run in the unit."""
        record = self._window.record
        return record.trial_secrets | {"network": record.fact("trial", "network")}

    def fact(self, section: str, label: str) -> str:
        """A fact of the run, as its sheet states it."""
        return self._window.record.fact(section, label)

    def leaks(self) -> dict[str, Seen]:
        """Whether secrets of the run, or others typed in this leg, are in pages, on the console or in the air, by place."""
        record = self._window.record
        secrets = record.trial_secrets | self.saves.secrets
        in_page = self.pages.leak(secrets)  # that nobody was let in is another failure: not to be accepted as this one
        return {
            "pages": named(in_page, "secret_in_page", record) if in_page else self.pages.without_secrets(secrets),
            "the console": named(no_secret_said(self.console, secrets), "secret_on_console", record),
            "the air": named(no_secret_heard(self.air, secrets), "secret_in_air", record),
        }

    def leaks_at(self, station: Literal["probe", "access_point"]) -> Seen:
        """Whether a canary secret is in what a station of the bench tells of the unit: its name, its lease."""
        view = self.probe if station == "probe" else self.access_point
        secrets = self._window.record.trial_secrets
        seen = no_secret_leased(self._window, view.witness, secrets, view.asleep)
        return named(seen, "secret_in_leases", self._window.record)

    def captive(self) -> dict[str, Seen]:
        """Whether what phones ask a hotspot for led to the form, by what is promised of each."""
        return dict(led_to_form(self.pages, self._window.record.product))

    def captive_first_octets(self) -> dict[str, Reading | Seen]:
        """How long the first octet of each of those answers took."""
        return dict(first_octets(self.pages))

    def tls_refused(self) -> Seen:
        """Whether the port of encrypted pages refuses at once."""
        return tls_refused(self.pages, TLS_PORT)

    def tls_answer(self) -> Reading | Seen:
        """How long that port took to say so, from when it was dialled."""
        return self.pages.took(port_purpose(TLS_PORT))

    def open_ports(self) -> dict[str, Seen]:
        """Whether the ports tried are open where declared and closed where not, by what is promised of them."""
        return dict(ports(self.pages, self._window.record))

    def turned_away(self, purpose: str, finding: str) -> Seen:
        """Whether a request was turned away for want of the right to it; `finding` is its name where it was not."""
        return turned_away(self.pages, purpose, finding, self._window.record)

    def default_keys(self) -> dict[str, Seen]:
        """Whether keys that the unit had, or that are usual, were turned away, by key."""
        return dict(default_keys(self.pages, self._window.record))

    def after_attempt(self, attempt: SaveAttempt, finding: str, saved: dict[str, str]) -> Seen:
        """Whether the settings are as they were after an attempt to save others."""
        return after_attempt(self.pages, attempt, finding, saved, self._window.record)

    @property
    def cut_short(self) -> Seen | None:
        """Which instrument the leg ended for want of; None where it did not."""
        return cut_short(self._window)

    @property
    def parameter(self) -> str:
        """The leg's parameter, as its name has it; empty where it has none."""
        return self._window.leg.partition("[")[2].removesuffix("]")

    def lamp_waits_for_address(self) -> Seen:
        """Whether the lamp told of a connection no sooner than the unit had an address."""
        return lamp_after_lease(self.lamp, self.access_point, self.begin_s)

    def hotspot_off(self, within_s: float) -> Seen:
        """Whether the hotspot was silent from a time after the unit was given an address of the network put up last."""
        up = self.access_point.last_up()
        if up.because:
            return Seen.untold(up.because)
        lease = self.access_point.first("leased", up.earliest_s if up.seen else self.begin_s)
        off = Occurrence(lease.earliest_s + within_s, lease.latest_s + within_s, lease.measured, lease.because)
        silent = self.air.silent_after(off)
        if silent.holds and off.latest_s + SILENCE_S > self.end_s:
            return Seen.untold(f"the leg ended at {self.end_s:.1f} s, too soon to hear whether the hotspot is off")
        return silent

    def joining_was_cut(self) -> Seen:
        """Whether the supply was cut, and the unit had begun to look for a network by then."""
        cut = self.power.was_cut()
        if cut.holds is not True or cut.at_s is None:
            return cut
        sought = self.air.first(self.air.unit_seeks, self.begin_s)
        if sought.earliest_s < cut.at_s:
            because = sought.because or f"{self.air.witness}: the unit looked for a network just as it was cut"
            return Seen(True, cut.text, cut.at_s) if sought.latest_s < cut.at_s else Seen.untold(because)
        if sought.because:
            return Seen.untold(sought.because)
        return Seen(False, "the unit had not looked for a network when it was cut", cut.at_s)

    def starts(self) -> StartsView:
        """The starts of a leg, one after another."""
        return StartsView(self._window, self.access_point)

    def loads(self) -> LoadsView:
        """Many page loads, one after another."""
        return LoadsView(self._window, self.pages)

    def reports(self) -> ReportsView:
        """The unit's reports, and its lease, while nobody takes them."""
        return ReportsView(self._window, self.access_point)

    def lookups(self) -> LookupsView:
        """The probe's questions for names."""
        return LookupsView(self._window, self.probe)

    def lease_names(self) -> dict[str, Seen]:
        """Whether the probe's lease told the unit as router and name server, by which of them."""
        return lease_names(self.probe, self._window.record.product.hotspot.address)

    def same_name(self) -> SameNameView:
        """Networks of one name."""
        return SameNameView(self._window, self.access_point, self.air)

    def save_cuts(self) -> SaveCutsView:
        """The cuts of the supply while the unit saved."""
        return SaveCutsView(self._window, self.pages, self.access_point, self.power, self._window.record.product)

    def kept_change(self, purpose: str) -> KeptChange:
        """A change of address or network that was saved for a purpose."""
        return KeptChange(self._window, self.access_point, purpose)

    def refusals(self, kind: Kind) -> dict[str, Seen]:
        """What came of each wrong value of a kind, by what was promised; empty where the product has none of the kind."""
        return dict(refusals(self._window, self.pages, self._window.record.product, kind))

    @property
    def updates(self) -> UpdatesView:
        """Updates over the network, and what became of them."""
        return UpdatesView(self)

    def update_cuts(self) -> UpdateCutsView:
        """The cuts of the supply while the unit was updated."""
        return UpdateCutsView(self)

    @property
    def saves(self) -> SavesView:
        """Saves of the form, and what became of them."""
        return SavesView(self)

    def lamp_order_since(self, start: Event, expected: list[str]) -> Seen:
        """Whether the lamp showed these stages, in this order, since an event."""
        self._gate.open_for(start.view)
        began = start.find(self, self.begin_s)
        if not began.seen:
            return Seen.untold(began.because)
        if start.view == "power" and (unsure := self._supply_unsure(began, self.end_s)):
            return Seen.untold(unsure)
        return self.lamp.shows_in_order(expected, began.earliest_s)

    def running_time_agrees(self, start: Event, purpose: str, status: StatusPage) -> Seen:
        """Whether the time since start on a status page is that of our clock since an event."""
        self._gate.open_for(start.view)
        if status.running_for_s is None:
            return Seen.not_promised()
        stated = self.pages.value(purpose, status.running_for_s)
        page = self.pages.of(purpose)
        began = start.find(
            self, self.pages.answered_at("save").earliest_s if start.name == HotspotGone.name else self.begin_s
        )
        if isinstance(stated, Seen) or page is None:
            return stated if isinstance(stated, Seen) else Seen.untold("pages: no status page was recorded")
        if not began.seen:
            return Seen.untold(began.because or f"no moment for {start.name}")
        if start.view == "power" and (unsure := self._supply_unsure(began, page.moment.time_s)):
            return Seen.untold(unsure)
        return compare_running_time(stated, page.moment, began)
