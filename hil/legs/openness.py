"""What a unit is open for: its TCP ports in both networks, and ways into its settings that nobody should have."""

from dataclasses import dataclass, replace

from hil.core.product import Product
from hil.core.stages import Connected, Setup
from hil.instruments.bench import Bench
from hil.instruments.pages import Answer
from hil.instruments.visits import Credentials
from hil.legs.door import Door, come_back_after_save, doubt_store, fill_in, network_door, other_value
from hil.legs.hotspot import knock
from hil.legs.leg import leg
from hil.legs.moves import enter_hotspot, give_up, hotspot_url, unit_address, watch_stay
from hil.page.attempts import (
    DEFAULT_KEYS,
    FOREIGN_FIELDS,
    FORM_WITHOUT_PASSWORD,
    LABEL_KEY,
    SAVES,
    SaveAttempt,
    ports_to_try,
)
from hil.page.fill import FormRequest
from hil.page.page import Form, Page

PORTS_S = 2.0
ATTEMPTS_S = 3.0
STAY_S = 3.0  # what an attempt does to the unit may take a moment to show


@leg(
    begins=Setup(store="bench network"),
    ends=Setup(),
    expected_s=lambda _product: PORTS_S + 5.0,
    profile="release",
)
def open_on_hotspot(bench: Bench, product: Product) -> None:
    """Try the unit's TCP ports on its hotspot, and look at its pages there."""
    bench.access_point.down()
    visitor = enter_hotspot(bench, product)
    if visitor is None:
        return
    for port in ports_to_try(product.ports):
        knock(visitor, product.hotspot.address, port)
    visitor.get(hotspot_url(product, product.form.path), "form on the hotspot")
    if product.form.user is not None:
        visitor.stranger().get(hotspot_url(product, product.form.path), FORM_WITHOUT_PASSWORD)
    visitor.get(hotspot_url(product, product.status.path), "status on the hotspot")
    bench.probe.leave()


@leg(
    begins=Connected(store="bench network"),
    ends=Connected(),
    expected_s=lambda _product: PORTS_S + ATTEMPTS_S + STAY_S,
    profile="release",
)
def open_when_connected(bench: Bench, product: Product) -> None:
    """Try the unit's TCP ports on the network, and its settings without the key, with old keys and from another site."""
    bench.access_point.up(bench.network)
    address = unit_address(bench)
    if address is None:
        give_up(bench, "the unit's address on the bench's network is not known", bench.access_point.source)
        return
    visitor = bench.visits.at(bench.access_point.lease_of_bench())
    for port in ports_to_try(product.ports):
        knock(visitor, address, port)
    visitor.get(f"http://{address}/", "home when connected")
    visitor.get(f"http://{address}{product.status.path}", "status when connected")
    door = network_door(bench, product)
    if door is not None and door.auth is not None:
        _Attempts(bench, product, door, door.auth).run()
    watch_stay(bench, STAY_S)


@dataclass
class _Attempts:
    """Attempts on the settings page of a connected unit; in the end the unit holds what the run typed."""

    bench: Bench
    product: Product
    door: Door
    auth: Credentials

    def run(self) -> None:
        """Look without the key and with default keys, then save in ways that must be refused."""
        self.door.visitor.get(self.door.url, "settings without the key")
        for name, key in self._default_keys().items():
            self.door.visitor.get(self.door.url, name, auth=(self.auth[0], key))
        page = self.door.look("settings before the attempts")
        for attempt in SAVES:
            if not self._try(attempt, page):
                return

    def _default_keys(self) -> dict[str, str]:
        """What might still open the page, by purpose; the key that was set is none of them."""
        label = self.bench.label.hotspot_key
        keys = {**DEFAULT_KEYS, **({LABEL_KEY: label} if label else {})}
        return {name: key for name, key in keys.items() if key != self.auth[1]}

    def _try(self, attempt: SaveAttempt, page: Page) -> bool:
        """Make one attempt and see what the unit holds; False where it cannot be gone on."""
        setting = self.product.form.text_to_change
        if setting is None:
            return False
        request = self._request(page, {setting: other_value(self.bench.trial.values[setting])})
        if request is None:
            return False
        mark = self.bench.timeline.mark()
        fields = FOREIGN_FIELDS if attempt.foreign else {}
        answer = self.door.send(request, attempt.purpose, with_key=attempt.with_key, fields=fields)
        if _taken(answer):
            self.bench.timeline.add("ledger", "asked", asked_by="form")
            return self._put_back(attempt, mark)
        self.door.look(attempt.afterwards)
        return True

    def _request(self, page: Page, changed: dict[str, str]) -> FormRequest | None:
        """The form filled in, without what the page itself hides in it: another site does not know that."""
        bare = replace(page, forms=tuple(map(_without_hidden, page.forms)))
        return fill_in(self.bench, self.product, bare, {**self.bench.trial.values, **changed})

    def _put_back(self, attempt: SaveAttempt, mark: int) -> bool:
        """After a save that was taken: wait for the unit, look, and save what the run typed."""
        door = come_back_after_save(self.bench, self.product, self.door, mark)
        if door is None or not door.connected:
            doubt_store(self.bench, f"a {attempt.purpose} was taken, and the unit did not come back")
            return False
        self.door = door
        page = door.look(attempt.afterwards)
        request = fill_in(self.bench, self.product, page, self.bench.trial.values)
        if request is None:
            doubt_store(self.bench, f"a {attempt.purpose} was taken, and cannot be undone")
            return False
        mark = self.bench.timeline.mark()
        self.bench.timeline.add("ledger", "asked", asked_by="form")
        door.send(request, f"undoing the {attempt.purpose}")
        back = come_back_after_save(self.bench, self.product, door, mark)
        if back is None or not back.connected:
            doubt_store(self.bench, f"a {attempt.purpose} was taken, and could not be undone")
            return False
        self.door = back
        return True


def _without_hidden(form: Form) -> Form:
    return replace(form, controls=tuple(c for c in form.controls if c.kind != "hidden"))


def _taken(answer: Answer) -> bool:
    return answer.outcome == "answered" and answer.status is not None and answer.status < 400
