"""Where the form can be had, on the unit's hotspot or on the bench's network, and the way back to it after a save."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from hil.core.moments import Moment
from hil.core.product import Product
from hil.core.timeline import Expired, Match
from hil.instruments.bench import Bench
from hil.instruments.pages import Answer
from hil.instruments.visits import Credentials, Visitor
from hil.legs.moves import enter_hotspot, give_up, hotspot_url, unit_address, unit_leased, update_credentials
from hil.page.contract import typed_again
from hil.page.fill import ControlRule, FormRequest, fill, find_control, find_form
from hil.page.page import Control, NotFound, Page
from hil.page.read import read_page

SHOWN_TRIES, SHOWN_PAUSE_S = 5, 0.3  # so often, so far apart, a unit that has an address is asked for its form
LINGERS_S = 0.5  # so long after a restart a beacon may still be told of the hotspot before it


@dataclass(frozen=True)
class Door:
    """Where the form can be had just now."""

    visitor: Visitor
    url: str
    auth: Credentials | None
    connected: bool

    def look(self, purpose: str) -> Page:
        """Fetch the form."""
        answer = self.visitor.get(self.url, purpose, auth=self.auth)
        return read_page(answer.body, answer.content_type, answer.url)

    def send(self, request: FormRequest, purpose: str) -> Answer:
        """Send the form, filled in."""
        return self.visitor.send(request, purpose, auth=self.auth)


def hotspot_door(bench: Bench, product: Product) -> Door | None:
    """The form on the unit's hotspot; None where the probe cannot join it, and booked why."""
    visitor = enter_hotspot(bench, product)
    if visitor is None:
        return None
    return Door(visitor, hotspot_url(product, product.form.path), None, connected=False)


def network_door(bench: Bench, product: Product) -> Door | None:
    """The form on the bench's network, at the address the unit was given last; None where it has no form there."""
    address = unit_address(bench)
    if address is None or product.form.connected_path is None:
        return None
    visitor = bench.visits.at(bench.access_point.lease_of_bench())
    url = f"http://{address}{product.form.connected_path}"
    return Door(visitor, url, update_credentials(bench, product), connected=True)


def come_back(bench: Bench, product: Product, since: int, limit_s: float, *, not_before_s: float = 0.0) -> Door | None:
    """Wait for the unit on the bench's network or on its hotspot; None where the form is in neither, and booked why.

    A lease counts since a mark on the timeline, a beacon of the hotspot from `not_before_s` on.
    """
    name, leased = product.hotspot.name_for(bench.label.address), unit_leased(bench)

    def somewhere(moment: Moment) -> bool:
        fresh = moment.is_("air", "beacon") and moment.data.get("name") == name and moment.time_s >= not_before_s
        return leased(moment) or fresh

    awaited = "the unit's lease, or its hotspot"
    seen = bench.timeline.wait(somewhere, limit_s=limit_s, awaited=awaited, since=since)
    if isinstance(seen, Expired):
        give_up(bench, str(seen))
        return None
    if seen.source == "air":
        return hotspot_door(bench, product)
    door = network_door(bench, product)
    if door is not None:
        _wait_until_shown(bench, door)
    return door


def _wait_until_shown(bench: Bench, door: Door) -> None:
    """A unit given an address just now may need a moment until it shows its pages; makes no verdict."""
    for _ in range(SHOWN_TRIES):
        answer = door.visitor.get(door.url, "settings, once they are shown", auth=door.auth)
        if answer.outcome == "answered" and not refused(answer):
            return
        bench.clock.pause(SHOWN_PAUSE_S)


def come_back_after_save(bench: Bench, product: Product, door: Door, since: int) -> Door | None:
    """The same after a save through a door: the unit restarts first, and a hotspot lingers until it does."""
    not_before_s = 0.0
    if not door.connected:
        wait_restart(bench, product, since)
        bench.probe.leave()
        not_before_s = bench.clock.now_s() + LINGERS_S
    limit_s = restart_patience_s(product) + product.limits.hotspot_up_s.patience_s
    return come_back(bench, product, since, limit_s, not_before_s=not_before_s)


def book_save(bench: Bench, purpose: str, typed: Mapping[str, str]) -> int:
    """Book what is about to be saved and that a restart is asked for; a mark on the timeline from before it."""
    mark = bench.timeline.mark()
    bench.timeline.add("leg", "saves", purpose=purpose, typed=dict(typed))
    bench.timeline.add("ledger", "asked", asked_by="form")
    return mark


def save_through(bench: Bench, door: Door, request: FormRequest, purpose: str, typed: Mapping[str, str]) -> int | None:
    """Send the form, and book what was typed and that a restart is asked for; None where the unit refuses it.

    Returns:
        A mark on the timeline from before it.
    """
    mark = bench.timeline.mark()
    booked = bench.timeline.add("leg", "saves", purpose=purpose, typed=dict(typed))
    if refused(door.send(request, purpose)):
        return None
    bench.timeline.add("ledger", "asked", time_s=booked.time_s, asked_by="form")
    return mark


def save_and_come_back(
    bench: Bench, product: Product, door: Door, request: FormRequest, purpose: str, typed: Mapping[str, str]
) -> Door | None:
    """Save and wait for the unit; None where it refuses the save or does not come back."""
    mark = save_through(bench, door, request, purpose, typed)
    return None if mark is None else come_back_after_save(bench, product, door, mark)


def restart_patience_s(product: Product) -> float:
    """How long a restart after a save is awaited."""
    return product.limits.restart_s.patience_s if product.limits.restart_s else 0.0


def announces_start(product: Product) -> Match:
    """Whether a moment is the chip's announcement of a start."""
    start = product.console.start
    return lambda moment: moment.is_("console", "line") and re.search(start, moment.text("text")) is not None


def wait_restart(bench: Bench, product: Product, since: int) -> bool:
    """Wait for the chip's announcement of a start; it makes no verdict, and a silent console has none."""
    seen = bench.timeline.wait(
        announces_start(product),
        limit_s=restart_patience_s(product),
        awaited="the restart after saving",
        since=since,
    )
    return not isinstance(seen, Expired)


def refused(answer: Answer) -> bool:
    """Whether a save was refused by its status; a refusal in words alone shows by the restart that does not come."""
    return answer.outcome == "answered" and (answer.status or 0) >= 400


def fill_in(
    bench: Bench, product: Product, page: Page, changes: Mapping[str, str], *, freely: bool = False
) -> FormRequest | None:
    """Change some settings and leave all else as the page shows it; None where the page does not let us, and booked why.

    Secrets that a blank would not keep are typed again.
    """
    values = {**typed_again(product, bench.trial.values), **changes}
    settings = product.form.settings
    rules = {name: ControlRule(name=settings[name].control, label=settings[name].label) for name in values}
    form = find_form(page, rules.values())
    found = {name: find_control(page, rule) for name, rule in rules.items()}
    typed = {control.name: values[name] for name, control in found.items() if isinstance(control, Control)}
    request = form if isinstance(form, NotFound) else fill(form, typed, freely=freely)
    if isinstance(request, NotFound):
        give_up(bench, f"the form cannot be filled in: {request.reason}")
        return None
    return request


def other_value(value: str) -> str:
    """A value as long as another, and not the same."""
    return value[:-1] + ("x" if value.endswith("y") else "y")


def doubt_store(bench: Bench, why: str) -> None:
    """Book that the unit may hold other settings than the leg was to leave: no later leg counts on them."""
    bench.timeline.add("leg", "store in doubt", why=why)
