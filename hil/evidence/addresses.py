"""A connection that is claimed and one that is: the lamp against the addresses given."""

from hil.core.readings import Occurrence
from hil.evidence.lamp import LampView
from hil.evidence.seen import Seen
from hil.evidence.stations import AccessPointView


def lamp_after_lease(lamp: LampView, access_point: AccessPointView, begin_s: float) -> Seen:
    """Whether the lamp showed "connected", from a time on, no sooner than the first address was given."""
    shown, lease = lamp.begins("connected", begin_s), access_point.first("leased", begin_s)
    if shown.because:
        return Seen.untold(shown.because)
    if not shown.seen:
        return Seen(True, "the lamp never showed connected")
    if lease.because:
        return Seen.untold(lease.because)
    seen = _in_order(shown, lease)
    if lamp.by_eye and seen.holds:
        return Seen.untold(f"{lamp.witness}: nobody could see whether connected was shown before the address was given")
    return seen


def _in_order(shown: Occurrence, lease: Occurrence) -> Seen:
    """The two of them at one time, as far as anybody can tell, is as it should be."""
    text = f"the lamp showed connected at {shown.latest_s:.1f} s"
    if not lease.seen:
        return Seen(False, f"{text}, and no address was given", shown.latest_s)
    if shown.latest_s < lease.earliest_s:
        return Seen(False, f"{text}, and the address was given at {lease.earliest_s:.1f} s", shown.latest_s)
    return Seen(True, f"{text}, the address was given at {lease.earliest_s:.1f} s", shown.latest_s)
