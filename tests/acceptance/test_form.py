"""The form saved: one restart, then connected, and the truth on the status page."""

from hil.core.product import Product
from hil.evidence.events import HotspotGone, Leased, SettingsSaved, SettingsSent
from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge
from hil.judge.needs import needs


@needs("pages")
def test_settings_are_accepted(form_saved: LegEvidence, judge: Judge) -> None:
    """The form takes the settings."""
    judge.holds(form_saved.pages.served("save"), "the form is answered without an error")


@needs("resets")
def test_one_restart_after_saving(form_saved: LegEvidence, product: Product, judge: Judge) -> None:
    """Saving restarts the unit once, or not at all where it promises to join at once."""
    promised = "one start after saving" if product.form.saved.restarts else "no start after saving"
    judge.holds(form_saved.resets.starts_after("form"), promised)


@needs("pages", "air")
def test_restart_in_time(form_saved: LegEvidence, product: Product, judge: Judge) -> None:
    """The restart comes in time after saving."""
    judge.within(
        product.limits.restart_s, form_saved.between(SettingsSaved, HotspotGone), "saved → hotspot falls silent"
    )


@needs("air", "access_point")
def test_connected_in_time(form_saved: LegEvidence, product: Product, judge: Judge) -> None:
    """The unit is connected in time after the restart."""
    if not product.form.saved.restarts:
        judge.holds(form_saved.air.seeks_network(), "the unit looks for the network")
    begins, words = (HotspotGone, "restart") if product.form.saved.restarts else (SettingsSent, "settings sent")
    judge.within(product.limits.connected_s, form_saved.between(begins, Leased), f"{words} → address given")


@needs("access_point")
def test_stays_connected(form_saved: LegEvidence, judge: Judge) -> None:
    """Once connected, the unit stays so."""
    judge.holds(form_saved.access_point.leased_and_stayed(), "no farewell after the lease")


@needs("air", "access_point")
def test_hotspot_gone_when_connected(form_saved: LegEvidence, product: Product, judge: Judge) -> None:
    """No beacon of the hotspot is heard once the unit is connected."""
    off = product.limits.hotspot_off_s
    if off is not None and off.upper is not None and not product.form.saved.restarts:
        judge.holds(form_saved.hotspot_off(off.upper), f"no beacon from {off.upper:g} s after the lease on")
        return
    leased = form_saved.access_point.first("leased", form_saved.begin_s)
    judge.holds(form_saved.air.silent_after(leased), "no beacon after the lease")


@needs("lamp")
def test_lamp_order_into_connected(form_saved: LegEvidence, product: Product, judge: Judge) -> None:
    """The lamp shows setup, starting (where the unit restarts), joining, connected, in this order."""
    expected = ["setup", *(["starting"] if product.form.saved.restarts else []), "joining", "connected"]
    judge.holds(form_saved.lamp.shows_in_order(expected), "lamp: " + " → ".join(expected))


@needs("pages", "access_point")
def test_status_page_tells_the_address(form_saved: LegEvidence, product: Product, judge: Judge) -> None:
    """The status page states the address that was given."""
    leased = form_saved.access_point.leased_address
    judge.holds(form_saved.pages.states("status", product.status.address, leased), "address on the status page")


@needs("pages")
def test_status_page_tells_the_version(form_saved: LegEvidence, product: Product, judge: Judge) -> None:
    """The status page states the version of the build given."""
    version = form_saved.fact("build", "version")
    judge.holds(form_saved.pages.states("status", product.status.version, version), "version on the status page")


@needs("pages")
def test_status_page_is_true(form_saved: LegEvidence, product: Product, judge: Judge) -> None:
    """The status page states network and serial number as they are, and everything else it should."""
    pages, status = form_saved.pages, product.status
    judge.holds(pages.states("status", status.network, form_saved.fact("trial", "network")), "network")
    judge.holds(pages.states("status", status.serial_number, form_saved.fact("unit", "serial number")), "serial number")
    for label in status.others:
        judge.holds(pages.states_something("status", label), f"a value beside {label!r}")


@needs("pages", "air")
def test_running_time_agrees(form_saved: LegEvidence, product: Product, judge: Judge) -> None:
    """The time since start on the status page agrees with the bench's clock: no restart was hidden."""
    if not product.form.saved.restarts:
        judge.not_promised("a restart after saving")
        return
    judge.holds(
        form_saved.running_time_agrees(HotspotGone, "status later", product.status), "running for, by our clock"
    )


@needs("pages", "console", "air")
def test_no_secret_leaks_while_saving(form_saved: LegEvidence, judge: Judge) -> None:
    """No canary secret is in a page, on the console or in the air."""
    for where, seen in form_saved.leaks().items():
        judge.holds(seen, f"no secret in {where}")


@needs("console")
def test_no_crash_while_saving(form_saved: LegEvidence, judge: Judge) -> None:
    """Nothing on the console means a crash while saving and joining."""
    judge.holds(form_saved.console.no_crash(), "no crash text")


@needs("air")
def test_looks_for_the_saved_network(form_saved: LegEvidence, judge: Judge) -> None:
    """The unit looks for the saved network after the restart."""
    judge.holds(form_saved.air.seeks_network(), "the unit looks for a network")
