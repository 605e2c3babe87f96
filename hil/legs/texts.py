"""Awkward texts typed into the settings page, and awkward networks to join."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from urllib.parse import urljoin

from hil.core.form_promise import Setting
from hil.core.product import Product
from hil.core.stages import Connected
from hil.instruments.bench import Bench
from hil.instruments.network_plan import NetworkPlan
from hil.legs.awkward_texts import HEX_KEY, NETWORKS, TEXTS, AwkwardNetwork
from hil.legs.door import (
    Door,
    come_back_after_save,
    doubt_store,
    fill_in,
    network_door,
    save_through,
    wait_restart,
)
from hil.legs.leg import leg
from hil.legs.moves import give_up
from hil.page.contract import grown
from hil.page.page import Page

ADDRESS_TAIL = "?a=%41b&c=d+e#f"
BACK = "back"


def _expected_s(saves: int) -> Callable[[Product], float]:
    return lambda product: saves * ((product.limits.connected_s.upper or 0.0) + 1.0)


@leg(
    begins=Connected(store="bench network"),
    ends=Connected(),
    expected_s=_expected_s(len(TEXTS) + 1),
    profile="release",
)
def texts_kept(bench: Bench, product: Product) -> None:
    """Save one awkward text after another through the settings page, read each back, and type the first ones in again."""
    name, door = product.form.text_to_change, network_door(bench, product)
    if name is None or door is None:
        return
    rows: dict[str, Mapping[str, str]] = {
        f"text {number}": {name: fitted(text, product.form.settings[name])} for number, text in enumerate(TEXTS, 1)
    }
    rows["text 1"] = {**rows["text 1"], **_longest_addresses(bench, product)}
    typed_back = {changed: bench.trial.values[changed] for changed in rows["text 1"]}
    bench.timeline.add("leg", "plans saves", purposes=list(rows))
    page = door.look("form before text 1")
    for purpose, typed in {**rows, BACK: typed_back}.items():
        came_back = save_change(bench, product, door, page, purpose, typed)
        if came_back is None:
            doubt_store(bench, f"{purpose!r} could not be saved, or the unit did not come back")
            return
        door = came_back
        page = door.look(f"form after {purpose}")
    if not door.connected:
        doubt_store(bench, "the unit did not come back to its network")


def fitted(text: str, setting: Setting) -> str:
    """A text cut to what its setting takes, between two characters, and without blanks at the ends that it may drop."""
    octets = text.encode()[: setting.longest]
    whole = octets.decode(errors="ignore")
    return whole.strip(" ") if setting.trims else whole


def _longest_addresses(bench: Bench, product: Product) -> dict[str, str]:
    """An address as long as promised, with signs in it, for each setting of the kind that is shown again."""
    return {
        name: grown(setting, bench.trial.values[name] + ADDRESS_TAIL, setting.longest)
        for name, setting in product.form.settings.items()
        if setting.kind == "address" and setting.prefilled and setting.longest and name in bench.trial.values
    }


def save_change(
    bench: Bench,
    product: Product,
    door: Door,
    page: Page,
    purpose: str,
    typed: Mapping[str, str],
    network: NetworkPlan | None = None,
) -> Door | None:
    """Save a change and wait for the unit; a `network` that it names is put on the air while the unit restarts."""
    request = fill_in(bench, product, page, typed)
    if request is None:
        return None
    mark = save_through(bench, door, request, purpose, typed)
    if mark is None:
        return door
    if network is not None:
        bench.access_point.down()
        wait_restart(bench, product, mark)  # else the unit might join before it restarts, and then be lost again
        bench.access_point.up(network)
    return come_back_after_save(bench, product, door, mark)


@leg(
    begins=Connected(store="bench network"),
    ends=Connected(),
    expected_s=_expected_s(len(NETWORKS) + 2),
    profile="release",
)
def networks_awkward(bench: Bench, product: Product) -> None:
    """Move the unit from one network with an awkward name and key to the next, and back to the bench's own."""
    door = network_door(bench, product)
    if door is None:
        return
    rows = awkward_networks(product)
    bench.timeline.add("leg", "plans saves", purposes=list(rows))
    page = door.look("form before network 1")
    for purpose, row in rows.items():
        plan = replace(bench.network, name=row.name, passphrase=row.key)
        came_back = save_change(bench, product, door, page, purpose, _typed(product, plan), plan)
        if came_back is None:
            break
        door = came_back
        page = door.look(f"form after {purpose}")
        door.visitor.get(urljoin(door.url, product.status.path), f"status after {purpose}")
    else:
        last = save_change(bench, product, door, page, BACK, _typed(product, bench.network), bench.network)
        if last is not None and last.connected:
            return
    bench.access_point.up(bench.network)
    give_up(bench, "the unit could not be moved on")
    doubt_store(bench, "the unit did not come back to the bench's network")


def awkward_networks(product: Product) -> dict[str, AwkwardNetwork]:
    """The networks to try, by the purpose of their save; without what the product file says is dropped or not taken."""
    name, key = (product.form.settings[product.form.by_role(role) or ""] for role in ("network", "network key"))
    rows = [*NETWORKS, HEX_KEY] if key.hex_key else list(NETWORKS)
    return {
        f"network {number}": replace(row, name=fitted(row.name, name), key=fitted(row.key, key))
        for number, row in enumerate(rows, 1)
    }


def _typed(product: Product, plan: NetworkPlan) -> dict[str, str]:
    return product.form.network_values(plan.name, plan.passphrase)
