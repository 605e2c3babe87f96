"""Starts of every kind: one after another into the network, and the supply cut while one is under way."""

from dataclasses import dataclass
from typing import Literal

from hil.core.product import Product
from hil.core.stages import Connected, Off
from hil.core.timeline import Expired
from hil.instruments.bench import Bench
from hil.legs.door import Door, book_save, fill_in, network_door, refused, restart_patience_s
from hil.legs.leg import leg
from hil.legs.moves import CUT_S, STEADY_S, cut_supply, from_unit, give_up, wait_connected, watch_stay

Restart = Literal["power", "reset line", "software"]
ORDER: tuple[Restart, ...] = ("power", "reset line", "power", "reset line", "software") * 4
"""Twenty starts, the kinds by turns: some units join after every second start only, or after one kind alone."""
MOST_FAILED = 3  # enough to know: each failed start costs the whole patience
START_S = 4.0  # start to connected as most units take it; no source
PAUSE_S = 0.5  # connected for so long before the next start
JOINING_PATIENCE_S = 10.0  # for the first frame of a unit that promises no time for it
WHILE_JOINING_S = 0.5
RADIO_KINDS = ("seeks", "authenticates", "associates")


def _cycles_s(product: Product) -> float:
    restart_s = (product.limits.restart_s.upper or 0.0) / 2.0 if product.limits.restart_s else 0.0
    each = (START_S + PAUSE_S) * len(ORDER)
    return each + ORDER.count("power") * CUT_S + ORDER.count("software") * restart_s + STEADY_S


@leg(
    begins=Connected(store="bench network"),
    ends=Connected(),
    expected_s=_cycles_s,
    profile="release",
    switches=2 * ORDER.count("power"),
)
def power_cycles(bench: Bench, product: Product) -> None:
    """Start the unit twenty times, by power, reset line and software in turn; each time it joins its network again."""
    bench.access_point.up(bench.network)
    failed, connected = 0, True
    for number, kind in enumerate(ORDER, 1):
        if kind == "software" and not connected:
            continue  # nobody can save through a network the unit is not in
        mark = _restart(bench, product, kind, number)
        if mark is None:
            continue
        patience_s = product.limits.connected_s.patience_s + (
            restart_patience_s(product) if kind == "software" else 0.0
        )
        connected = wait_connected(bench, patience_s, mark) is not None
        failed += not connected
        if failed == MOST_FAILED:
            give_up(bench, f"{failed} of {number} starts did not end in the network; the rest was not tried")
            return
        bench.clock.pause(PAUSE_S)
    _look_at_settings(bench, product, "settings after the starts")
    watch_stay(bench, STEADY_S)


def _restart(bench: Bench, product: Product, kind: Restart, number: int) -> int | None:
    """Start the unit in one way, and book which; a mark on the timeline from before it. None where there is no such way."""
    if kind == "software":
        return _restart_by_saving(bench, product, number)
    bench.timeline.add("leg", "starts the unit", number=number, restart=kind)
    if kind == "power":
        return cut_supply(bench)
    mark = bench.timeline.mark()
    bench.console.reset(asked_by="reset line")
    return mark


def _restart_by_saving(bench: Bench, product: Product, number: int) -> int | None:
    """Save the settings that are stored already: the unit restarts by itself."""
    door = network_door(bench, product)
    if door is None:
        return None
    bench.timeline.add("leg", "starts the unit", number=number, restart="software")
    page = door.look(f"settings before start {number}")
    request = fill_in(bench, product, page, bench.trial.values)
    if request is None:
        return None
    purpose = f"save for start {number}"
    mark = book_save(bench, purpose, {})
    if refused(door.send(request, purpose)):
        give_up(bench, "the settings page refused what is stored already")
        return None
    return mark


def _look_at_settings(bench: Bench, product: Product, purpose: str) -> Door | None:
    door = network_door(bench, product)
    if door is not None:
        door.look(purpose)
    return door


@dataclass(frozen=True)
class After:
    """How long after power on the supply is cut."""

    after_s: float

    def __str__(self) -> str:
        """In the leg's name."""
        return f"{self.after_s:g} s"


@leg(
    begins=Off(store="bench network"),
    ends=Connected(),
    expected_s=lambda _product: 1.0 + CUT_S + START_S + STEADY_S,
    profile="release",
    parameters=[After(0.2), After(0.7), After(1.5)],
    switches=3,
)
def cut_while_starting(bench: Bench, product: Product, parameter: After) -> None:
    """Cut the supply soon after power on, then power on for good: the unit comes back with its settings."""
    bench.access_point.up(bench.network)
    bench.power.on(asked_by="leg")
    bench.clock.pause(parameter.after_s)
    _cut_and_start(bench, product)


@leg(
    begins=Off(store="bench network"),
    ends=Connected(),
    expected_s=lambda _product: START_S + CUT_S + START_S + STEADY_S,
    profile="release",
    switches=3,
)
def cut_while_joining(bench: Bench, product: Product) -> None:
    """Cut the supply just after the unit began to look for its network, then power on for good."""
    bench.access_point.up(bench.network)
    mark = bench.timeline.mark()
    bench.power.on(asked_by="leg")
    promise = product.limits.joining_s
    limit_s = promise.patience_s if promise else JOINING_PATIENCE_S
    awaited = "the unit's first frame to a network"
    seen = bench.timeline.wait(from_unit(bench, *RADIO_KINDS), limit_s=limit_s, awaited=awaited, since=mark)
    if isinstance(seen, Expired):
        bench.timeline.add("leg", "cuts all the same", why=str(seen))
    else:
        bench.clock.pause(WHILE_JOINING_S)
    _cut_and_start(bench, product)


def _cut_and_start(bench: Bench, product: Product) -> None:
    """Switch off, then on for good, and see what the unit holds once it is connected."""
    if wait_connected(bench, product.limits.connected_s.patience_s, cut_supply(bench)) is None:
        return
    _look_at_settings(bench, product, "settings")
    watch_stay(bench, STEADY_S)
