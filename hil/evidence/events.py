"""Events a check can time: each names the view it is found in, and finds when it happened after a given time."""

from collections.abc import Callable
from dataclasses import dataclass

from hil.core.readings import Occurrence
from hil.evidence.views import Views

Find = Callable[[Views, float], Occurrence]


@dataclass(frozen=True)
class Event:
    """Something with a time. `view` is what a check must name in its `@needs`."""

    name: str
    view: str
    find: Find


PowerOn = Event("power on", "power", lambda e, _after_s: e.power.switched_on())
UnitSeeks = Event(
    "the unit's first frame to a network", "air", lambda e, after_s: e.air.first(e.air.unit_seeks, after_s)
)
HotspotBeacon = Event(
    "first beacon of the hotspot", "air", lambda e, after_s: e.air.first(e.air.hotspot_beacons, after_s)
)
HotspotGone = Event("the hotspot falls silent", "air", lambda e, after_s: e.air.hotspot_gone(after_s))
NetworkUp = Event("the network is on the air", "access_point", lambda e, _after_s: e.access_point.last_up())
OtherNetworkUp = Event(
    "the other network is on the air", "access_point", lambda e, _after_s: e.access_point.up_by_other_radio()
)
LeasedByOther = Event(
    "address given by the other network",
    "access_point",
    lambda e, after_s: e.access_point.leased_by_other_radio(after_s),
)
LeasedInstead = Event(
    "address given by the one left", "access_point", lambda e, after_s: e.access_point.leased_instead(after_s)
)
NetworkTakenAway = Event("the network in use is gone", "access_point", lambda e, _after_s: e.access_point.taken_away())
Joined = Event("joined the network", "access_point", lambda e, after_s: e.access_point.first("joined", after_s))
Leased = Event("address given", "access_point", lambda e, after_s: e.access_point.first("leased", after_s))
ProbeJoined = Event("the probe joined the hotspot", "probe", lambda e, _after_s: e.probe.lease_time()[0])
ProbeLeased = Event("the probe got its address", "probe", lambda e, _after_s: e.probe.lease_time()[1])
SettingsSent = Event("the settings were sent", "access_point", lambda e, _after_s: e.asked_at("form"))
SettingsSaved = Event("the form was answered", "pages", lambda e, _after_s: e.pages.answered_at("save"))


def lamp_shows(stage: str) -> Event:
    """The lamp begins to look as promised for a stage."""
    return Event(f"lamp shows {stage}", "lamp", lambda e, after_s: e.lamp.begins(stage, after_s))
