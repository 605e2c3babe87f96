"""Which situation the witnesses confirm at the end of a leg. Never the lamp, never the console: those are under test."""

from hil.core.moments import Moment
from hil.core.stages import Connected, Off, Setup, Situation, Unknown
from hil.evidence.air import AirView
from hil.evidence.gave_up import cut_short
from hil.evidence.stations import AccessPointView
from hil.evidence.window import Window

FRESH_S = 1.0  # a beacon within this time of the end shows that the hotspot is on the air


def confirm(window: Window, hoped: Situation) -> Situation:
    """The situation at the end of a leg, with the store it was hoped to hold where the stage came out as hoped.

    A leg that could not put the store right again has booked so; one that an instrument cut short after a save may not have.
    """
    stage = _stage(window)
    saved = any(m.text("asked_by") == "form" for m in window.of("ledger", "asked"))
    in_doubt = window.of("leg", "store in doubt") or (saved and cut_short(window) is not None)
    if stage == hoped.stage and not in_doubt:
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
    lease = _lease_held(window, switched.time_s)
    beacons = AirView(window).hotspot_beacons
    on_the_air = bool(beacons) and beacons[-1].time_s > window.end_s - FRESH_S
    if lease is not None and (lease.time_s >= window.begin_s or not on_the_air):
        return "connected"  # a fresh lease is believed over a hotspot that lingers; an old one is not
    return "setup" if on_the_air else "unknown"


def _lease_held(window: Window, since_s: float) -> Moment | None:
    """The unit's lease, where nothing since says that it lost it."""
    lease = AccessPointView(window).last_of_unit("leased")
    left = AccessPointView(window).last_of_unit("left")
    down = window.last_before(window.end_s, "access point", "down")
    if lease is None or lease.time_s <= since_s:
        return None
    lost = any(moment is not None and moment.time_s > lease.time_s for moment in (left, down))
    return None if lost else lease
