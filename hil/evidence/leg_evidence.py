"""The evidence one leg left: its views, and what takes more than one of them."""

from math import inf

from hil.core.product import StatusPage
from hil.core.readings import Occurrence, Reading, between
from hil.evidence.events import Event, HotspotGone
from hil.evidence.leaks import no_secret_heard, no_secret_said
from hil.evidence.running_time import compare_running_time
from hil.evidence.save_cuts import old_or_new, save_cuts
from hil.evidence.seen import Seen
from hil.evidence.views import WITNESSES, Views


class LegEvidence(Views):
    """One drive of a leg."""

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
        reading = between(start, end)
        if "power" in (first.view, then.view) and start.seen:
            unsure = self._supply_unsure(start, end.latest_s if end.seen else self.end_s)
            if unsure:
                return Reading(-inf, inf, "s", unsure)
        return reading

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
        """Whether canary secrets are in pages, on the console or in the air, by place."""
        secrets = self._window.record.trial_secrets
        return {
            "pages": self.pages.without_secrets(secrets),
            "the console": no_secret_said(self.console, secrets),
            "the air": no_secret_heard(self.air, secrets),
        }

    def after_save_cuts(self, saved: dict[str, str]) -> dict[str, Seen]:
        """What the unit held after each cut while it saved, by what was promised; `saved` is what it held before."""
        cuts, product = save_cuts(self._window), self._window.record.product
        return dict(old_or_new(cuts, self.pages, self.access_point, product, saved))

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
