"""Which situation the witnesses confirm at the end of a leg. Never the lamp, never the console: those are under test."""

from hil.core.moments import Moment
from hil.core.stages import Connected, Off, Setup, Situation, Unknown
from hil.evidence.air import AirView
from hil.evidence.stations import AccessPointView
from hil.evidence.window import Window

FRESH_S = 1.0  # a beacon within this time of the end shows that the hotspot is on the air


def confirm(window: Window, hoped: Situation) -> Situation:
    """The situation at the end of a leg, with the store it was hoped to hold where the stage came out as hoped."""
    stage = _stage(window)
    if stage == hoped.stage:
        return hoped
    made = {"off": Off, "setup": Setup, "connected": Connected}.get(stage, Unknown)
    return made("unknown")


def _supply_is_on(window: Window, switched: Moment | None) -> bool | None:
    """As read back since the last order; as ordered where it was not read since; None where nothing was recorded."""
    read = window.last_before(window.end_s, "power", "state")
    if switched is None:
        return None if read is None else read.data.get("on") is True
    if read is not None and read.time_s - read.doubt_s > switched.time_s + switched.doubt_s:
        return read.data.get("on") is True
    return switched.kind == "on"


def _stage(window: Window) -> str:
    switched = window.last_before(window.end_s, "power", "on", "off")
    is_on = _supply_is_on(window, switched)
    if switched is None or is_on is None or not is_on:
        return "off" if is_on is False else "unknown"
    access_point, air = AccessPointView(window), AirView(window)
    events = sorted(
        (*access_point.of_unit("leased"), *access_point.of_unit("left"), *window.of("access point", "down")),
        key=lambda m: m.time_s,
    )
    if events and events[-1].kind == "leased" and events[-1].time_s > switched.time_s:
        return "connected"
    beacons = air.hotspot_beacons
    if beacons and beacons[-1].time_s > window.end_s - FRESH_S:
        return "setup"
    return "unknown"
