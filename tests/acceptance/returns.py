"""What checks of a unit's return to its network have in common."""

from hil.core.product import Bound, Product
from hil.evidence.events import Leased, NetworkUp
from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge


def judge_return(evidence: LegEvidence, promise: Bound | None, judge: Judge) -> None:
    """Judge the time from the network's going on the air to the unit's new address."""
    judge.within(promise, evidence.between(NetworkUp, Leased), "network on the air → address given")


def judge_hotspot_off(evidence: LegEvidence, product: Product, judge: Judge) -> None:
    """Judge the hotspot's silence from the promised time after the last address on."""
    promise = product.limits.hotspot_off_s
    if promise is None or promise.upper is None:
        judge.not_promised("hotspot off once connected")
        return
    judge.holds(evidence.hotspot_off(promise.upper), f"no beacon later than {promise.upper:g} s after the address")
