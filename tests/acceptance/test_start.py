"""The build, and the first start after an erase."""

from hil_acceptance.texts import shipped_values

from hil.core.product import Product
from hil.evidence.events import HotspotBeacon, PowerOn, ProbeJoined, ProbeLeased, lamp_shows
from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge
from hil.judge.needs import needs


@needs("flash")
def test_build_given_is_in_the_unit(build_flashed: LegEvidence, judge: Judge) -> None:
    """What the flasher reads back is the build given."""
    judge.holds(build_flashed.flash.holds_build(), "the flash holds the build given")


@needs("power", "lamp")
def test_lamp_lights_in_time_on_first_start(first_start: LegEvidence, product: Product, judge: Judge) -> None:
    """The lamp lights in time on the first start."""
    judge.within(
        product.limits.lamp_on_s, first_start.between(PowerOn, lamp_shows("starting")), "power on → lamp shows starting"
    )


@needs("lamp")
def test_lamp_order_on_first_start(first_start: LegEvidence, judge: Judge) -> None:
    """The lamp shows starting, then setup, on the first start."""
    judge.holds(first_start.lamp.shows_in_order(["starting", "setup"]), "lamp: starting → setup")


@needs("air", "power")
def test_first_hotspot_in_time(first_start: LegEvidence, product: Product, judge: Judge) -> None:
    """A unit without settings opens its hotspot in time."""
    judge.within(product.limits.first_hotspot_s, first_start.between(PowerOn, HotspotBeacon), "power on → first beacon")


@needs("air")
def test_hotspot_name(first_start: LegEvidence, judge: Judge) -> None:
    """The hotspot's name is the promised one, and no other network of the unit is heard."""
    air = first_start.air
    judge.holds(air.named(), f"the hotspot is called {air.hotspot_name!r}")


@needs("air")
def test_hotspot_security(first_start: LegEvidence, product: Product, judge: Judge) -> None:
    """The hotspot's beacons announce the promised security."""
    judge.holds(first_start.air.secured_as(product.hotspot.security), f"security {product.hotspot.security}")


@needs("probe")
def test_hotspot_lets_the_label_key_in(first_start: LegEvidence, judge: Judge) -> None:
    """The key on the label opens the hotspot; one that is promised open lets anybody in."""
    judge.holds(first_start.probe.got_in(), "the probe joins and gets an address")


@needs("probe")
def test_hotspot_lease_in_time(first_start: LegEvidence, product: Product, judge: Judge) -> None:
    """The hotspot gives an address in time."""
    judge.within(product.limits.lease_s, first_start.between(ProbeJoined, ProbeLeased), "joined the hotspot → address")


@needs("pages")
def test_form_as_shipped(first_start: LegEvidence, product: Product, judge: Judge) -> None:
    """The form is served on the hotspot, with every setting, and shows no network but the default."""
    pages = first_start.pages
    judge.holds(pages.served("form as shipped"), "the form is served")
    judge.holds(pages.has_all_settings("form as shipped"), "the form has every setting")
    judge.holds(pages.shows("form as shipped", shipped_values(product)), "the form shows the defaults")


@needs("pages")
def test_first_octet_in_time(first_start: LegEvidence, product: Product, judge: Judge) -> None:
    """The form's first octet comes in time."""
    judge.within(product.limits.first_octet_s, first_start.pages.first_octet("form as shipped"), "asked → first octet")


@needs("console")
def test_no_crash_on_first_start(first_start: LegEvidence, judge: Judge) -> None:
    """Nothing on the console means a crash on the first start."""
    judge.holds(first_start.console.no_crash(), "no crash text")


@needs("resets")
def test_no_unasked_reset_on_first_start(first_start: LegEvidence, judge: Judge) -> None:
    """Every start of the chip on the first start was asked for."""
    judge.holds(first_start.resets.none_unasked(), "no start nobody asked for")
