"""Networks of no use, late ones and lost ones: the unit falls back in time, and comes to its network again without a hand."""

from hil_acceptance.returns import judge_hotspot_off, judge_return
from hil_acceptance.steady import judge_steady

from hil.core.product import Product
from hil.evidence.events import HotspotBeacon, PowerOn
from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge
from hil.judge.needs import needs

FALLEN_BACK = ["starting", "joining", "setup", "connected"]


@needs("air", "power")
def test_hotspot_opens_in_time_at_useless_network(network_useless: LegEvidence, product: Product, judge: Judge) -> None:
    """The hotspot opens in time where the saved network is of no use."""
    reading = network_useless.between(PowerOn, HotspotBeacon)
    judge.within(product.limits.hotspot_up_s, reading, "power on → first beacon")


@needs("access_point", "air")
def test_useless_network_is_tried(network_useless: LegEvidence, judge: Judge) -> None:
    """The unit tries the saved network before it opens its hotspot."""
    opened = network_useless.air.first(network_useless.air.hotspot_beacons, network_useless.begin_s)
    judge.holds(network_useless.access_point.tried(opened), "the unit comes to the saved network first")


@needs("access_point")
def test_back_in_time_from_useless_network(network_useless: LegEvidence, product: Product, judge: Judge) -> None:
    """The unit is connected in time once its network is good again."""
    judge_return(network_useless, product.limits.returns_s, judge)


@needs("lamp")
def test_lamp_order_at_useless_network(network_useless: LegEvidence, judge: Judge) -> None:
    """The lamp shows starting, joining, setup, and connected once the network is good again."""
    judge.holds(network_useless.lamp.shows_in_order(FALLEN_BACK), "lamp: " + " → ".join(FALLEN_BACK))


@needs("lamp", "access_point")
def test_lamp_waits_for_address_at_useless_network(network_useless: LegEvidence, judge: Judge) -> None:
    """The lamp shows connected only with an address."""
    judge.holds(network_useless.lamp_waits_for_address(), "no connected lamp before an address")


@needs("air", "access_point")
def test_hotspot_off_after_useless_network(network_useless: LegEvidence, product: Product, judge: Judge) -> None:
    """The hotspot is gone once the unit is connected."""
    judge_hotspot_off(network_useless, product, judge)


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_at_useless_network(network_useless: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts by itself over a network of no use."""
    judge_steady(network_useless, judge)


@needs("access_point")
def test_back_in_time_to_late_network(network_late: LegEvidence, product: Product, judge: Judge) -> None:
    """The unit is connected in time once its late network is there."""
    limits = product.limits
    bound = limits.reconnects_s if network_late.parameter == "while joining" else limits.returns_s
    judge_return(network_late, bound, judge)


@needs("lamp")
def test_lamp_order_at_late_network(network_late: LegEvidence, judge: Judge) -> None:
    """The lamp shows each stage up to connected, and setup only where the network came after the join time."""
    in_time = network_late.parameter == "while joining"
    expected = ["starting", "joining", "connected"] if in_time else FALLEN_BACK
    judge.holds(network_late.lamp.shows_in_order(expected), "lamp: " + " → ".join(expected))


@needs("air", "access_point")
def test_hotspot_off_at_late_network(network_late: LegEvidence, product: Product, judge: Judge) -> None:
    """The hotspot is gone once the unit is connected to its late network."""
    judge_hotspot_off(network_late, product, judge)


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_at_late_network(network_late: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts by itself while its network is late."""
    judge_steady(network_late, judge)


@needs("access_point")
def test_back_in_time_to_lost_network(network_lost: LegEvidence, product: Product, judge: Judge) -> None:
    """The unit is connected in time once its lost network is back."""
    limits = product.limits
    bound = limits.reconnects_s if network_lost.parameter == "for a second" else limits.returns_s
    judge_return(network_lost, bound, judge)


@needs("lamp")
def test_lamp_at_lost_network(network_lost: LegEvidence, judge: Judge) -> None:
    """The lamp shows the loss where it is noticed: joining, setup after a long one, and connected in the end."""
    lamp, joined = network_lost.lamp, ["starting", "joining", "connected"]
    hardly_noticed = lamp.shows_in_order(joined)
    if network_lost.parameter == "for a second" and hardly_noticed.holds:
        judge.holds(hardly_noticed, "lamp: " + " → ".join(joined))
        return
    again = ["joining", "connected"] if network_lost.parameter == "for a second" else ["joining", "setup", "connected"]
    expected = [*joined, *again]
    judge.holds(lamp.shows_in_order(expected), "lamp: " + " → ".join(expected))


@needs("air", "access_point")
def test_hotspot_off_at_lost_network(network_lost: LegEvidence, product: Product, judge: Judge) -> None:
    """The hotspot is gone once the unit is connected to its network again."""
    judge_hotspot_off(network_lost, product, judge)


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_at_lost_network(network_lost: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts by itself when its network is lost."""
    judge_steady(network_lost, judge)
