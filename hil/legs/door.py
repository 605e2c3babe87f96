"""Where the form can be had, on the unit's hotspot or on the bench's network, and the way back to it after a save."""

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urljoin

from hil.core.moments import Moment
from hil.core.product import Product
from hil.core.timeline import Expired
from hil.instruments.bench import Bench
from hil.instruments.pages import NO_FIELDS, Answer
from hil.instruments.visits import Credentials, Visitor
from hil.legs.moves import enter_hotspot, give_up, hotspot_url, settle, unit_address, unit_addressed, update_credentials
from hil.legs.restart import restarts
from hil.page.contract import typed_again
from hil.page.fill import FormRequest
from hil.page.fill_settings import fill_settings, open_next
from hil.page.page import NotFound, Page
from hil.page.read import read_page
from hil.page.whole_form import beside_purpose, list_on, whole_form

SHOWN_TRIES, SHOWN_PAUSE_S = 5, 0.3  # so often, so far apart, a unit that has an address is asked for its form
LIST_TRIES, LIST_PAUSE_S = 10, 1.0  # so often, so far apart, a list of networks that is still empty is asked for again
REJOINS_S = (
    2.0  # within this a connected unit that takes a new setting without a restart leaves its network, if it does
)
LINGERS_S = 0.5  # so long after a restart a beacon may still be told of the hotspot before it


@dataclass(frozen=True)
class Door:
    """Where the form can be had just now, and how to use it as the product file says."""

    bench: Bench
    product: Product
    visitor: Visitor
    url: str
    auth: Credentials | None
    connected: bool

    def look(self, purpose: str) -> Page:
        """Fetch the form, with all that belongs to it at other addresses."""
        page = self._read(self.url, purpose)
        beside = {path: self._look_beside(path, purpose) for path in self.product.form.beside}
        return whole_form(self.product.form, page, beside)

    def _read(self, url: str, purpose: str) -> Page:
        answer = self.visitor.get(url, purpose, auth=self.auth)
        return read_page(answer.body, answer.content_type, answer.url)

    def _look_beside(self, path: str, purpose: str) -> Page:
        """Fetch what belongs to the form at another address; a list of networks may take its time to be filled."""
        url, purpose = urljoin(self.url, path), beside_purpose(purpose, path)
        page = self._read(url, purpose)
        listing = next((s for s in self.product.form.settings.values() if s.listed_at == path), None)
        for _ in range(LIST_TRIES if listing and page.is_json else 0):
            if listing is None or list_on(page, listing):
                break
            self.bench.clock.pause(LIST_PAUSE_S)
            page = self._read(url, purpose)
        return page

    def send(
        self, request: FormRequest, purpose: str, *, with_key: bool = True, fields: Mapping[str, str] = NO_FIELDS
    ) -> Answer:
        """Send the form, filled in: each part of it as long as none is refused, then what asks for the restart, if anything does.

        Each part bears the purpose; the answer is that of the last one sent.
        """
        auth = self.auth if with_key else None
        answer = self.visitor.send(request, purpose, auth, fields)
        for onward in request.then:
            if not _taken(answer):
                return answer
            filled = open_next(self.look(f"next form of the {purpose}"), onward)
            if isinstance(filled, NotFound):
                give_up(self.bench, f"the next form cannot be filled in: {filled.reason}")
                return answer
            answer = self.visitor.send(filled, purpose, auth, fields)
        saved = self.product.form.saved
        if saved.path is not None and _taken(answer):
            restart = FormRequest(saved.method or "POST", urljoin(self.url, saved.path), b"", "")
            self.visitor.send(restart, f"restart after the {purpose}", auth, fields)
        return answer


def hotspot_door(bench: Bench, product: Product) -> Door | None:
    """The form on the unit's hotspot; None where the probe cannot join it, and booked why."""
    visitor = enter_hotspot(bench, product)
    if visitor is None:
        return None
    return Door(bench, product, visitor, hotspot_url(product, product.form.path), None, connected=False)


def network_door(bench: Bench, product: Product) -> Door | None:
    """The form on the bench's network, at the address the unit was given last; None where it has no form there."""
    address = unit_address(bench)
    if address is None or product.form.connected_path is None:
        return None
    visitor = bench.visits.at(bench.access_point.lease_of_bench())
    url = f"http://{address}{product.form.connected_path}"
    return Door(bench, product, visitor, url, update_credentials(bench, product), connected=True)


def come_back(bench: Bench, product: Product, since: int, limit_s: float, *, not_before_s: float = 0.0) -> Door | None:
    """Wait for the unit on the bench's network or on its hotspot; None where the form is in neither, and booked why.

    An address counts since a mark on the timeline, a beacon of the hotspot from `not_before_s` on.
    """
    name, addressed = product.hotspot.name_for(bench.label.address), unit_addressed(bench)

    def somewhere(moment: Moment) -> bool:
        fresh = moment.is_("air", "beacon") and moment.data.get("name") == name and moment.time_s >= not_before_s
        return addressed(moment) or fresh

    awaited = "the unit's address, or its hotspot"
    seen = bench.timeline.wait(somewhere, limit_s=limit_s, awaited=awaited, since=since)
    if isinstance(seen, Expired):
        give_up(bench, str(seen))
        return None
    if seen.source == "air":
        return hotspot_door(bench, product)
    settle(bench)
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
    if not product.form.saved.restarts:
        return _come_back_without_restart(bench, product, door, since)
    not_before_s = 0.0
    if not door.connected:
        wait_restart(bench, product, since)
        bench.probe.leave()
        not_before_s = bench.clock.now_s() + LINGERS_S
    limit_s = restart_patience_s(product) + product.limits.hotspot_up_s.patience_s
    return come_back(bench, product, since, limit_s, not_before_s=not_before_s)


def _come_back_without_restart(bench: Bench, product: Product, door: Door, since: int) -> Door | None:
    """A unit that joins at once keeps its hotspot until it is in; one that is in may stay there, whatever was saved."""
    connected_s = product.limits.connected_s.patience_s
    if not door.connected:
        bench.probe.leave()
        not_before_s = bench.clock.now_s() + connected_s
        limit_s = connected_s + product.limits.hotspot_up_s.patience_s
        return come_back(bench, product, since, limit_s, not_before_s=not_before_s)
    awaited = "nothing, or that the unit joins anew"
    rejoins = unit_addressed(bench)
    if not isinstance(bench.timeline.wait(rejoins, limit_s=REJOINS_S, awaited=awaited, since=since), Expired):
        door = network_door(bench, product) or door
    _wait_until_shown(bench, door)
    return door


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


def wait_restart(bench: Bench, product: Product, since: int) -> bool:
    """Wait until the unit restarts, as its chip announces or others notice; it makes no verdict."""
    seen = bench.timeline.wait(
        restarts(bench, product),
        limit_s=restart_patience_s(product),
        awaited="the restart after saving",
        since=since,
    )
    return not isinstance(seen, Expired)


def _taken(answer: Answer) -> bool:
    return answer.outcome == "answered" and not refused(answer)


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
    request = fill_settings(product.form, page, values, freely=freely)
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
