"""Networks that are good but odd: slow with addresses, hidden, or mixed. The unit joins them like any other."""

from hil_acceptance.steady import judge_steady

from hil.core.product import Bound, Product
from hil.evidence.events import Leased, PowerOn
from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge
from hil.judge.needs import needs

JOINED = ["starting", "joining", "connected"]


@needs("access_point", "power")
def test_connected_in_time_with_late_lease(lease_late: LegEvidence, product: Product, judge: Judge) -> None:
    """The unit is connected in time, the delay of its address aside."""
    delay_s, limits = lease_late.access_point.lease_delay_s, product.limits
    if limits.gives_up_s is not None and delay_s >= (limits.gives_up_s.lower or 0.0):
        judge.not_promised("an address later than the join time")
        return
    promise = Bound(upper=(limits.connected_s.upper or 0.0) + delay_s)
    judge.within(promise, lease_late.between(PowerOn, Leased), f"power on → address given, {delay_s:g} s late")


@needs("access_point")
def test_waits_for_late_lease(lease_late: LegEvidence, judge: Judge) -> None:
    """The unit stays joined while it waits for its address."""
    judge.holds(lease_late.access_point.waited_for_lease(), "joined once, until the address was given")


@needs("lamp", "access_point")
def test_lamp_waits_for_late_lease(lease_late: LegEvidence, judge: Judge) -> None:
    """The lamp shows connected only with an address, and starting and joining before."""
    judge.holds(lease_late.lamp_waits_for_address(), "no connected lamp before an address")
    judge.holds(lease_late.lamp.shows_in_order(JOINED), "lamp: " + " → ".join(JOINED))


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_at_late_lease(lease_late: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts by itself while it waits for its address."""
    judge_steady(lease_late, judge)


@needs("access_point", "power")
def test_connected_in_time_to_hidden_network(network_hidden: LegEvidence, product: Product, judge: Judge) -> None:
    """The unit is connected in time to a network that hides its name."""
    reading = network_hidden.between(PowerOn, Leased)
    judge.within(product.limits.hidden_connected_s, reading, "power on → address given")


@needs("air")
def test_hidden_network_is_asked_for_by_name(network_hidden: LegEvidence, product: Product, judge: Judge) -> None:
    """The unit asks for its saved network by name, since nobody else tells it."""
    if product.limits.hidden_connected_s is None:
        judge.not_promised("hidden networks")
        return
    judge.holds(network_hidden.air.asks_by_name(), "a probe request with the saved network's name")


@needs("lamp")
def test_lamp_order_at_hidden_network(network_hidden: LegEvidence, product: Product, judge: Judge) -> None:
    """The lamp shows starting, joining, connected at a hidden network."""
    if product.limits.hidden_connected_s is None:
        judge.not_promised("hidden networks")
        return
    judge.holds(network_hidden.lamp.shows_in_order(JOINED), "lamp: " + " → ".join(JOINED))


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_at_hidden_network(network_hidden: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts by itself at a hidden network."""
    judge_steady(network_hidden, judge)


@needs("access_point", "power")
def test_connected_in_time_to_mixed_network(network_mixed: LegEvidence, product: Product, judge: Judge) -> None:
    """The unit is connected in time to a network that takes WPA2 and WPA3 alike."""
    reading = network_mixed.between(PowerOn, Leased)
    judge.within(product.limits.connected_s, reading, "power on → address given")
