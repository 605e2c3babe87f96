"""Networks that bear the saved name: two of them, an open one among them, and the same one elsewhere.

Each leg begins and ends without supply, so that a unit which never comes back is only switched off, its settings kept.
"""

from dataclasses import replace

from hil.core.product import Product
from hil.core.stages import Off
from hil.core.timeline import Expired
from hil.instruments.bench import Bench
from hil.instruments.network_plan import NetworkPlan
from hil.legs.leg import leg
from hil.legs.moves import CUT_S, STEADY_S, from_unit, give_up, wait_connected, watch_stay

WEAKER_DB = 25.0  # some walls between two access points of a house; a report from the field has this figure
STRONGER_BY_START = (0, 1, 1, 0)
"""Which of two radios is the stronger one, by start: neither the first one found nor the one used last is right always."""
RETURN_PATIENCE_S = 60.0  # how long a unit is watched that promises no time to come back in; no source
AWAY_S = 3.0  # a network that is carried to another room is off the air for a while
LOOKS_S = 3.0  # so long the unit is watched before the open network alone, once it looks for its own; a look takes 2 s
START_S, RETURN_S = 4.5, 10.0  # to connected, and back through another network, as most units take it; no source


def _twins(bench: Bench, stronger: int) -> list[NetworkPlan]:
    """The saved network twice, on two channels; one radio sends it strongly, the other weakly."""
    channels = (bench.network.channel, _other_channel(bench))
    weaker_db = (0.0, WEAKER_DB) if stronger == 0 else (WEAKER_DB, 0.0)
    return [replace(bench.network, channel=c, weaker_by_db=w) for c, w in zip(channels, weaker_db, strict=True)]


def _other_channel(bench: Bench) -> int:
    """Another channel than the network's, one that the monitor watches if there is one."""
    return next(c for c in (*bench.channels, 1, 6) if c != bench.network.channel)


def _start(bench: Bench, product: Product) -> str | None:
    """Switch the supply on and wait until the unit is connected; None, and booked why, where it is not."""
    mark = bench.timeline.mark()
    bench.power.on(asked_by="leg")
    return wait_connected(bench, product.limits.connected_s.patience_s, mark)


def _wait_back(bench: Bench, product: Product, since: int, radio: int) -> None:
    """Wait until the unit is connected through the network of a radio, whatever it did at another one before."""
    promise = product.limits.reconnects_s
    patience_s = promise.patience_s if promise else RETURN_PATIENCE_S
    if wait_connected(bench, patience_s, since, bench.access_point.bssids[radio]) is not None:
        watch_stay(bench, STEADY_S)


def _end(bench: Bench) -> None:
    bench.power.off(asked_by="leg")
    bench.access_point.down()


@leg(
    begins=Off(store="bench network"),
    ends=Off(),
    expected_s=lambda _product: len(STRONGER_BY_START) * (CUT_S + START_S) + RETURN_S + 2.0 * STEADY_S,
    profile="release",
    switches=2 * len(STRONGER_BY_START),
)
def twin_networks(bench: Bench, product: Product) -> None:
    """Start four times before two networks of the saved name, one of them much stronger; then the one in use goes away."""
    plans: list[NetworkPlan] = []
    for number, stronger in enumerate(STRONGER_BY_START, 1):
        bench.power.off(asked_by="leg")
        plans = _twins(bench, stronger)
        bench.access_point.up(*plans)
        bench.clock.pause(CUT_S)
        bench.timeline.add("leg", "starts the unit", number=number, restart="power")
        if _start(bench, product) is None:
            _end(bench)
            return
    _take_away(bench, product, plans)
    _end(bench)


def _take_away(bench: Bench, product: Product, plans: list[NetworkPlan]) -> None:
    """Take the network that the unit is in off the air; the other one stays."""
    address = bench.label.address.lower()
    joined = (m for m in reversed(bench.timeline.since()) if m.is_("access point", "joined"))
    bssid = next((m.text("bssid") for m in joined if m.text("address").lower() == address), "")
    in_use = next((radio for radio, own in enumerate(bench.access_point.bssids) if own == bssid), None)
    if in_use is None:
        give_up(bench, "nobody knows which of the two networks the unit is in")
        return
    bench.clock.pause(STEADY_S)
    mark = bench.timeline.mark()
    bench.timeline.add("leg", "takes the network in use away", bssid=bssid)
    bench.access_point.up(*(None if radio == in_use else plan for radio, plan in enumerate(plans)))
    _wait_back(bench, product, mark, 1 - in_use)


@leg(
    begins=Off(store="bench network"),
    ends=Off(),
    expected_s=lambda _product: CUT_S + 2.0 + LOOKS_S + 4.0 + STEADY_S,
    profile="release",
)
def weaker_security(bench: Bench, product: Product) -> None:
    """Power up before an open network of the saved name; then the saved one comes too, much weaker, and the unit joins it."""
    opened = replace(bench.network, passphrase=None)
    secured = replace(bench.network, channel=_other_channel(bench), weaker_by_db=WEAKER_DB)
    bench.access_point.up(opened)
    bench.clock.pause(CUT_S)
    mark = bench.timeline.mark()
    bench.power.on(asked_by="leg")
    patience_s = product.limits.joining_s.patience_s if product.limits.joining_s else START_S
    awaited = "the unit's first frame to a network"
    seen = bench.timeline.wait(
        from_unit(bench, "seeks", "authenticates"), limit_s=patience_s, awaited=awaited, since=mark
    )
    if not isinstance(seen, Expired):
        bench.clock.pause(LOOKS_S)
    mark = bench.timeline.mark()
    bench.access_point.up(opened, secured)
    _wait_back(bench, product, mark, 1)
    _end(bench)


@leg(
    begins=Off(store="bench network"),
    ends=Off(),
    expected_s=lambda _product: CUT_S + START_S + AWAY_S + RETURN_S + STEADY_S,
    profile="release",
)
def network_moved(bench: Bench, product: Product) -> None:
    """While the unit is connected its network goes, and comes back on another channel and with another hardware address."""
    bench.access_point.up(bench.network)
    bench.clock.pause(CUT_S)
    if _start(bench, product) is None:
        _end(bench)
        return
    bench.access_point.down()
    bench.clock.pause(AWAY_S)
    mark = bench.timeline.mark()
    bench.access_point.up(None, replace(bench.network, channel=_other_channel(bench)))
    _wait_back(bench, product, mark, 1)
    _end(bench)
