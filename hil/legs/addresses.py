"""An address fixed by hand, and a network without a key: saved, kept over a cut of the supply, and undone."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from urllib.parse import urljoin

from hil.core.product import Product
from hil.core.stages import Connected
from hil.instruments.bench import Bench
from hil.instruments.network_plan import NetworkPlan
from hil.legs.door import Door, come_back, doubt_store, network_door
from hil.legs.leg import leg
from hil.legs.moves import CUT_S, cut_supply, unit_address, watch_stay
from hil.legs.texts import save_change
from hil.page.page import Page

SETTLED_S = 2.5  # an address is announced twice, 2 s apart (RFC 5227, 1.1): the second must not be taken for a return
COME_BACK_S = 6.0  # a start and joining, as most units take them; no source
OPEN_NAME_TAIL = "-open"


@dataclass
class _Follower:
    """A unit that is followed through changes: where its form is just now, as last seen; `lost` once it is nowhere."""

    bench: Bench
    product: Product
    door: Door
    page: Page
    lost: bool = False

    def save(self, purpose: str, typed: Mapping[str, str], network: NetworkPlan | None = None) -> None:
        """Save a change, follow the unit, and look at its pages."""
        if not self.lost:
            self._look(save_change(self.bench, self.product, self.door, self.page, purpose, typed, network), purpose)

    def cut(self, purpose: str) -> None:
        """Cut the supply for a second, follow the unit, and look at its pages."""
        if self.lost:
            return
        if not self.door.connected:
            self.bench.probe.leave()
        patience_s = self.product.limits.hotspot_up_s.patience_s
        self._look(come_back(self.bench, self.product, cut_supply(self.bench), patience_s), purpose)

    def _look(self, door: Door | None, purpose: str) -> None:
        if door is None:
            self.lost = True
            return
        self.door, self.page = door, door.look(f"form after {purpose}")
        door.visitor.get(urljoin(door.url, self.product.status.path), f"status after {purpose}")
        if door.connected:
            watch_stay(self.bench, SETTLED_S)

    def end(self, *, restored: bool, why: str) -> None:
        """Leave the hotspot, where that is where the unit ended; book where it may hold other settings than it should."""
        if self.lost or not self.door.connected:
            self.bench.probe.leave()
            doubt_store(self.bench, "the unit did not come back to the bench's network")
        elif not restored:
            doubt_store(self.bench, why)


def _follow(bench: Bench, product: Product, purposes: Sequence[str]) -> _Follower | None:
    """A unit on the bench's network; None where it has no form there."""
    door = network_door(bench, product)
    if door is None:
        return None
    bench.timeline.add("leg", "plans saves", purposes=list(purposes))
    return _Follower(bench, product, door, door.look("form before the changes"))


def _expected_s(_product: Product) -> float:
    return 3 * (COME_BACK_S + SETTLED_S) + CUT_S


def _fixes_addresses(product: Product) -> bool:
    """Whether the unit's address can be fixed without its hotspot."""
    return bool(product.form.address_values()) and product.form.connected_path is not None


def _takes_open_networks(product: Product) -> bool:
    """Whether the form can be told, without the hotspot, that a network has no key."""
    return bool(product.form.network_values("", None)) and product.form.connected_path is not None


@leg(
    begins=Connected(store="bench network"),
    ends=Connected(),
    expected_s=_expected_s,
    profile="release",
    promised=_fixes_addresses,
    switches=2,
)
def address_fixed(bench: Bench, product: Product) -> None:
    """Fix the unit's address by hand, cut the supply, and clear the address again."""
    spare, cleared = bench.access_point.spare_address(), product.form.address_values()
    typed = product.form.address_values(spare.ip, spare.netmask, spare.gateway)
    unit = _follow(bench, product, ["fixed address", "cleared address"])
    if unit is None:
        return
    unit.save("fixed address", typed)
    unit.cut("the cut")
    unit.save("cleared address", cleared)
    unit.end(restored=unit_address(bench) != spare.ip, why="the unit holds the fixed address that was cleared")


@leg(
    begins=Connected(store="bench network"),
    ends=Connected(),
    expected_s=_expected_s,
    profile="release",
    promised=_takes_open_networks,
    switches=2,
)
def network_open(bench: Bench, product: Product) -> None:
    """Move the unit to a network without a key, cut the supply, and move it back to the bench's own."""
    plan = replace(bench.network, name=bench.network.name + OPEN_NAME_TAIL, passphrase=None)
    typed = product.form.network_values(plan.name, None)
    back = product.form.network_values(bench.network.name, bench.network.passphrase)
    unit = _follow(bench, product, ["open network", "bench network"])
    if unit is None:
        return
    unit.save("open network", typed, plan)
    unit.cut("the cut")
    unit.save("bench network", back, bench.network)
    bench.access_point.up(bench.network)  # whatever became of the unit
    unit.end(restored=True, why="")
