"""The saved network is out of reach: the unit gives up in time and opens its hotspot, settings kept."""

from hil_acceptance.texts import hidden_values, saved_values

from hil.core.product import Product
from hil.evidence.events import HotspotBeacon, PowerOn, UnitSeeks, lamp_shows
from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge
from hil.judge.needs import needs

FORM = "form with settings"


@needs("power", "lamp")
def test_lamp_lights_in_time(saved_network_absent: LegEvidence, product: Product, judge: Judge) -> None:
    """The lamp lights in time after power on."""
    reading = saved_network_absent.between(PowerOn, lamp_shows("starting"))
    judge.within(product.limits.lamp_on_s, reading, "power on → lamp shows starting")


@needs("air", "power")
def test_joining_begins_in_time(saved_network_absent: LegEvidence, product: Product, judge: Judge) -> None:
    """The unit begins to look for its network in time."""
    judge.within(
        product.limits.joining_s, saved_network_absent.between(PowerOn, UnitSeeks), "power on → joining begins"
    )


@needs("air", "lamp")
def test_gives_up_in_time(saved_network_absent: LegEvidence, product: Product, judge: Judge) -> None:
    """The unit gives up joining inside the tolerance."""
    reading = saved_network_absent.between(UnitSeeks, lamp_shows("setup"))
    judge.within(product.limits.gives_up_s, reading, "joining begins → lamp shows setup")


@needs("air", "power")
def test_hotspot_opens_in_time(saved_network_absent: LegEvidence, product: Product, judge: Judge) -> None:
    """The hotspot is on the air in time."""
    judge.within(
        product.limits.hotspot_up_s, saved_network_absent.between(PowerOn, HotspotBeacon), "power on → first beacon"
    )


@needs("lamp")
def test_lamp_order_into_setup(saved_network_absent: LegEvidence, judge: Judge) -> None:
    """The lamp shows starting, joining, setup, in this order."""
    expected = ["starting", "joining", "setup"]
    judge.holds(saved_network_absent.lamp.shows_in_order(expected), "lamp: " + " → ".join(expected))


@needs("pages")
def test_stored_values_are_prefilled(saved_network_absent: LegEvidence, product: Product, judge: Judge) -> None:
    """The form shows the stored values, and nothing of the secrets."""
    pages = saved_network_absent.pages
    judge.holds(pages.shows(FORM, saved_values(saved_network_absent, product)), "stored values are pre-filled")
    judge.holds(pages.shows(FORM, hidden_values(product)), "secrets show nothing")


@needs("pages", "console", "air")
def test_no_secret_leaks_in_setup(saved_network_absent: LegEvidence, judge: Judge) -> None:
    """No canary secret is in a page, on the console or in the air."""
    for where, seen in saved_network_absent.leaks().items():
        judge.holds(seen, f"no secret in {where}")


@needs("resets", "console")
def test_no_crash_nor_unasked_reset(saved_network_absent: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts while the network is absent."""
    judge.holds(saved_network_absent.console.no_crash(), "no crash text")
    judge.holds(saved_network_absent.resets.none_unasked(), "no start nobody asked for")
