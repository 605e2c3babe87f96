"""Networks that bear the saved name: the strongest is joined, another serves in its place, and an open one never."""

from hil_acceptance.steady import judge_steady

from hil.core.product import Product
from hil.evidence.events import LeasedByOther, LeasedInstead, NetworkTakenAway, OtherNetworkUp
from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge
from hil.judge.needs import needs


@needs("access_point", "air")
def test_stronger_twin_is_joined(twin_networks: LegEvidence, product: Product, judge: Judge) -> None:
    """Of two networks of the saved name the unit joins the one that is 20 dB stronger and more, at every start."""
    if not product.networks.strongest:
        judge.not_promised("the strongest of several networks")
        return
    judge.all_hold(twin_networks.same_name().stronger_joined(), "the stronger network is joined")


@needs("access_point")
def test_back_in_time_through_the_other_twin(twin_networks: LegEvidence, product: Product, judge: Judge) -> None:
    """When the network in use goes away, the unit is connected through the other one in time."""
    reading = twin_networks.between(NetworkTakenAway, LeasedInstead)
    judge.within(product.limits.reconnects_s, reading, "the network in use is gone → address given by the other")


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_between_twins(twin_networks: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts by itself between two networks of one name."""
    judge_steady(twin_networks, judge)


@needs("access_point", "air")
def test_open_impostor_is_never_joined(weaker_security: LegEvidence, judge: Judge) -> None:
    """The unit has a key for its network, and never comes to an open one of that name, however strong."""
    judge.holds(weaker_security.same_name().kept_off_open(), "never at the open network")


@needs("access_point")
def test_connected_in_time_beside_impostor(weaker_security: LegEvidence, product: Product, judge: Judge) -> None:
    """The unit is connected in time to its own network, though an open one of that name is much stronger."""
    reading = weaker_security.between(OtherNetworkUp, LeasedByOther)
    judge.within(product.limits.reconnects_s, reading, "its own network on the air → address given")


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_beside_impostor(weaker_security: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts by itself beside an open network of its network's name."""
    judge_steady(weaker_security, judge)


@needs("access_point")
def test_back_in_time_to_moved_network(network_moved: LegEvidence, product: Product, judge: Judge) -> None:
    """The unit is connected in time to its network that came back on another channel, with another hardware address."""
    reading = network_moved.between(OtherNetworkUp, LeasedByOther)
    judge.within(product.limits.reconnects_s, reading, "the network on the air elsewhere → address given")


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_at_moved_network(network_moved: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts by itself when its network moves."""
    judge_steady(network_moved, judge)
