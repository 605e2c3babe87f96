"""Networks that let a unit down: of no use, late, slow with addresses, hidden, mixed, or lost. Then they are good again.

Each leg begins and ends without supply, so that a unit which never comes back is only switched off, its settings kept.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from hil.core.product import Product
from hil.core.stages import Off
from hil.core.timeline import Expired
from hil.instruments.bench import Bench
from hil.instruments.network_plan import NetworkPlan
from hil.legs.leg import leg
from hil.legs.moves import CUT_S, STEADY_S, wait_connected, watch_stay

RETURN_PATIENCE_S = 60.0  # how long a unit is watched that promises no time to come back in; no source
WHILE_JOINING_S = 8.0  # after power on: a router that is hardly slower than the unit
MUCH_LATER_S = 40.0  # after power on; routers are slower than 12 s, some by far, by reports from the field
JUST_OPENED_S = 0.5
SILENCE_S = 1.5  # watched beyond the time in which a hotspot must be off
HOTSPOT_SEEN_S = 3.0  # so long a hotspot is left on the air before its network is good again
SHORT_LOSS_S = 1.0
LOSS_NOTICED_S = 8.0  # 6 s without beacons, then five probe requests: the documented default of a common chip
OTHER_KEY = "another passphrase"
LEASE_DELAYS_S = {"3 s": 3.0, "10 s": 10.0}
JOIN_S = 5.0  # power on to connected, as most units take it; no source


@contextmanager
def _powered(bench: Bench, plan: NetworkPlan | None) -> Iterator[int]:
    """Power the unit up before a network (None: none), and off in the end; a mark on the timeline from before."""
    if plan is None:
        bench.access_point.down()
    else:
        bench.access_point.up(plan)
    bench.clock.pause(CUT_S)
    mark = bench.timeline.mark()
    bench.power.on(asked_by="leg")
    yield mark
    bench.power.off(asked_by="leg")
    bench.access_point.up(bench.network)


def _network_good_again(bench: Bench, product: Product) -> None:
    """Offer the network that the unit has saved, and wait for it to come by itself."""
    promised = [bound for bound in (product.limits.returns_s, product.limits.reconnects_s) if bound]
    mark = bench.timeline.mark()
    bench.access_point.up(bench.network)
    patience_s = max((bound.patience_s for bound in promised), default=RETURN_PATIENCE_S)
    if wait_connected(bench, patience_s, mark) is not None:
        watch_stay(bench, _stay_s(product))


def _stay_s(product: Product) -> float:
    """How long a unit that is back is watched: its lamp must be told, and its hotspot be off by then."""
    off = product.limits.hotspot_off_s
    return max(STEADY_S, (off.upper or 0.0) + SILENCE_S if off else 0.0)


def _hotspot_opens(bench: Bench, product: Product, patience_s: float) -> bool:
    name = product.hotspot.name_for(bench.label.address)
    return not isinstance(bench.air.watch(name, limit_s=patience_s), Expired)


def _fallback_and_return_s(product: Product) -> float:
    """Power on to setup, back again (on the average a third of what that may take), and watched."""
    returns = product.limits.returns_s
    return_s = (returns.upper or 0.0) / 3.0 if returns else RETURN_PATIENCE_S
    return CUT_S + (product.limits.hotspot_up_s.upper or 0.0) + return_s + _stay_s(product)


@leg(
    begins=Off(store="bench network"),
    ends=Off(),
    expected_s=_fallback_and_return_s,
    profile="release",
    parameters=["other key", "no lease", "lease refused"],
)
def network_useless(bench: Bench, product: Product, parameter: str) -> None:
    """Power up with the saved network of no use until the hotspot opens; then the network is good again."""
    plan = {
        "other key": replace(bench.network, passphrase=OTHER_KEY),
        "no lease": replace(bench.network, lease_delay_s=None),
        "lease refused": replace(bench.network, refuses_leases=True),
    }[parameter]
    with _powered(bench, plan):
        if _hotspot_opens(bench, product, product.limits.hotspot_up_s.patience_s):
            bench.clock.pause(HOTSPOT_SEEN_S)
        _network_good_again(bench, product)


@leg(
    begins=Off(store="bench network"),
    ends=Off(),
    expected_s=_fallback_and_return_s,
    profile="release",
    parameters=["while joining", "just after the hotspot", "much later"],
)
def network_late(bench: Bench, product: Product, parameter: str) -> None:
    """Power up with the saved network out of reach; it comes late, and the unit comes to it."""
    with _powered(bench, None):
        if parameter == "while joining":
            bench.clock.pause(WHILE_JOINING_S)
        elif parameter == "much later":
            bench.clock.pause(MUCH_LATER_S)
        elif _hotspot_opens(bench, product, product.limits.hotspot_up_s.patience_s):
            bench.clock.pause(JUST_OPENED_S)
        _network_good_again(bench, product)


@leg(
    begins=Off(store="bench network"),
    ends=Off(),
    expected_s=lambda product: JOIN_S + _fallback_and_return_s(product),
    profile="release",
    parameters=["for a second", "for long"],
)
def network_lost(bench: Bench, product: Product, parameter: str) -> None:
    """While the unit is connected its network goes away, for less or for more time than it tries to join."""
    with _powered(bench, bench.network) as mark:
        if wait_connected(bench, product.limits.connected_s.patience_s, mark) is None:
            return
        bench.clock.pause(STEADY_S)
        bench.access_point.down()
        if parameter == "for a second":
            bench.clock.pause(SHORT_LOSS_S)
        elif _hotspot_opens(bench, product, LOSS_NOTICED_S + product.limits.hotspot_up_s.patience_s):
            bench.clock.pause(HOTSPOT_SEEN_S)
        _network_good_again(bench, product)


@leg(
    begins=Off(store="bench network"),
    ends=Off(),
    expected_s=lambda _product: CUT_S + JOIN_S + 6.5 + STEADY_S,  # 6.5 s: the mean of the delays
    profile="release",
    parameters=list(LEASE_DELAYS_S),
)
def lease_late(bench: Bench, product: Product, parameter: str) -> None:
    """Power up with a network whose DHCP server takes its time; the unit waits for its address."""
    _join_odd_network(bench, product, replace(bench.network, lease_delay_s=LEASE_DELAYS_S[parameter]))


@leg(
    begins=Off(store="bench network"),
    ends=Off(),
    expected_s=lambda _product: CUT_S + JOIN_S + STEADY_S,
    profile="release",
)
def network_hidden(bench: Bench, product: Product) -> None:
    """Power up with the saved network hidden: its beacons do not bear its name."""
    _join_odd_network(bench, product, replace(bench.network, hidden=True))


@leg(
    begins=Off(store="bench network"),
    ends=Off(),
    expected_s=lambda _product: CUT_S + JOIN_S + STEADY_S,
    profile="release",
)
def network_mixed(bench: Bench, product: Product) -> None:
    """Power up with the saved network taking WPA2 and WPA3 alike: a unit that knows WPA2 alone joins it, too."""
    _join_odd_network(bench, product, replace(bench.network, key_management="wpa2 and wpa3"))


def _join_odd_network(bench: Bench, product: Product, plan: NetworkPlan) -> None:
    """Power up before a network that is good but odd, and watch the unit join it."""
    with _powered(bench, plan) as mark:
        patience_s = product.limits.connected_s.patience_s + (plan.lease_delay_s or 0.0)
        if wait_connected(bench, patience_s, mark) is not None:
            watch_stay(bench, STEADY_S)
