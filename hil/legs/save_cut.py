"""The supply cut while the unit saves: afterwards it must hold the old settings or the new ones."""

from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass

from hil.core.moments import Json, Moment
from hil.core.product import Product
from hil.core.stages import Connected, Setup
from hil.core.timeline import Expired
from hil.instruments.bench import Bench
from hil.instruments.pages import Answer
from hil.instruments.visits import Credentials, Visitor
from hil.legs.join import CUT_S
from hil.legs.leg import leg
from hil.legs.moves import enter_hotspot, give_up, hotspot_url, unit_leased, update_credentials
from hil.legs.start import fill_settings
from hil.page.fill import FormRequest
from hil.page.page import NotFound
from hil.page.read import read_page

CUTS_AFTER_S = (0.05, 0.1, 0.5)
"""Unit seconds from the form's sending to the cut. A save takes some 10 to 100 ms (sector erase 45 ms, page program below
1 ms: typical of serial flash, from memory): so one cut comes early in it, one about its end, one where a save in two
steps is still open. Where exactly each one hit is not known; what the unit holds afterwards is what is judged."""


@dataclass(frozen=True)
class _Door:
    """Where the form can be had just now."""

    visitor: Visitor
    url: str
    auth: Credentials | None
    connected: bool


def _expected_s(product: Product) -> float:
    return len(CUTS_AFTER_S) * ((product.limits.connected_s.upper or 0.0) + CUT_S + 1.0)


# The store holds one of several values afterwards, so no other leg may count on it.
@leg(
    begins=Setup(store="bench network"),
    ends=Connected(store="unknown"),
    expected_s=_expected_s,
    retakes=0,
    profile="release",
)
def save_cut(bench: Bench, product: Product) -> None:
    """Change a setting and cut the supply while it is saved, sooner and later; each time see what the unit holds."""
    setting = product.form.text_to_change
    if setting is None:
        return
    bench.access_point.up(bench.network)
    # An answer that the cut kept from coming is awaited beside the rest, not before it.
    with ThreadPoolExecutor(max_workers=len(CUTS_AFTER_S), thread_name_prefix="form") as senders:
        sent = _cut_again_and_again(bench, product, setting, senders)
    for answer in sent:
        answer.result()


def _cut_again_and_again(bench: Bench, product: Product, setting: str, senders: Executor) -> list[Future[Answer]]:
    """One cut after another, as long as the unit comes back to its network; ends with a look at what it holds."""
    sent: list[Future[Answer]] = []
    door, purpose = _hotspot_door(bench, product), "form before the cuts"
    for number, after_s in enumerate(CUTS_AFTER_S, 1):
        value = _other(bench.trial.values[setting], number)
        request = _fill(bench, product, door, purpose, {setting: value}) if door else None
        if door is None or request is None:
            return sent
        bench.timeline.add("ledger", "asked", asked_by="form")
        sent.append(senders.submit(door.visitor.send, request, f"save before cut {number}", door.auth))
        bench.clock.pause(after_s)
        mark = _cut(bench, door, {"number": number, "after_s": after_s, "setting": setting, "value": value})
        door, purpose = _door_after_start(bench, product, mark), f"settings after cut {number}"
        if door is not None and not door.connected:
            break
    if door is not None:
        door.visitor.get(door.url, purpose, auth=door.auth)
    return sent


def _other(value: str, number: int) -> str:
    """A value as long as the trial's, and another one."""
    return value[:-1] + ("x" if value.endswith(str(number)) else str(number))


def _fill(bench: Bench, product: Product, door: _Door, purpose: str, changed: dict[str, str]) -> FormRequest | None:
    """Fetch the form, which also shows what the unit holds, and type everything in again with the change."""
    answer = door.visitor.get(door.url, purpose, auth=door.auth)
    page = read_page(answer.body, answer.content_type, answer.url)
    request = fill_settings(page, product, {**bench.trial.values, **changed})
    if isinstance(request, NotFound):
        give_up(bench, f"the form cannot be filled in: {request.reason}")
        return None
    return request


def _cut(bench: Bench, door: _Door, what: dict[str, Json]) -> int:
    """Switch the supply off and on again, and book what for; a mark on the timeline from between the two."""
    bench.power.off(asked_by="leg")
    if not door.connected:
        bench.probe.leave()
    bench.clock.pause(CUT_S)
    mark = bench.timeline.mark()
    switched = bench.power.on(asked_by="leg")
    bench.timeline.add("leg", "saving was cut", time_s=switched.time_s, details=what)
    return mark


def _hotspot_door(bench: Bench, product: Product) -> _Door | None:
    visitor = enter_hotspot(bench, product)
    if visitor is None:
        return None
    return _Door(visitor, hotspot_url(product, product.form.path), None, connected=False)


def _door_after_start(bench: Bench, product: Product, mark: int) -> _Door | None:
    """Wait for the unit on the bench's network or on its hotspot; None where the form is in neither, and booked why."""
    name, leased = product.hotspot.name_for(bench.label.address), unit_leased(bench)

    def somewhere(moment: Moment) -> bool:
        return leased(moment) or (moment.is_("air", "beacon") and moment.data.get("name") == name)

    limit_s = product.limits.connected_s.patience_s
    seen = bench.timeline.wait(somewhere, limit_s=limit_s, awaited="the unit's lease, or its hotspot", since=mark)
    if isinstance(seen, Expired):
        give_up(bench, str(seen))
        return None
    if seen.source == "air":
        return _hotspot_door(bench, product)
    if product.form.connected_path is None:
        return None
    visitor = bench.visits.at(bench.access_point.lease_of_bench())
    url = f"http://{seen.text('ip')}{product.form.connected_path}"
    return _Door(visitor, url, update_credentials(bench, product), connected=True)
