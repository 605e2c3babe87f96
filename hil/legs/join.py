"""A unit with saved settings: its network absent, and its supply cut while connected."""

from hil.core.product import Product
from hil.core.stages import Connected, Off, Setup
from hil.instruments.bench import Bench
from hil.legs.door import hotspot_door, network_door
from hil.legs.leg import leg
from hil.legs.moves import (
    CUT_S,
    STEADY_S,
    cut_supply,
    status_page,
    wait_connected,
    watch_stay,
)


@leg(
    begins=Off(store="bench network"),
    ends=Setup(),
    expected_s=lambda product: (product.limits.hotspot_up_s.upper or 0.0) + 2.0,
)
def saved_network_absent(bench: Bench, product: Product) -> None:
    """Power up with the saved network out of reach and watch for the hotspot; the form shows what is stored."""
    bench.access_point.down()  # the saved network only; the control network stays
    bench.power.on(asked_by="leg")
    name = product.hotspot.name_for(bench.label.address)
    bench.air.watch(name, limit_s=product.limits.hotspot_up_s.patience_s)
    door = hotspot_door(bench, product)
    if door is not None:
        door.look("form with settings")
        bench.probe.leave()


@leg(
    begins=Connected(store="bench network"),
    ends=Connected(),
    expected_s=lambda product: (product.limits.connected_s.upper or 0.0) + CUT_S + 2.0,
    switches=2,
)
def power_cut(bench: Bench, product: Product) -> None:
    """Cut the supply for a second while connected: the unit comes back with its settings."""
    mark = cut_supply(bench)
    address = wait_connected(bench, product.limits.connected_s.patience_s, mark)
    if address is None:
        return
    status_page(bench, product, address, "status")
    door = network_door(bench, product)
    if door is not None:
        door.visitor.get(door.url, "settings without key")
        door.look("settings")
    watch_stay(bench, STEADY_S)
