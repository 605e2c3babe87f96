"""The supply is cut for a second while connected: the unit comes back by itself, settings kept."""

from hil_acceptance.texts import saved_values

from hil.core.product import Product
from hil.evidence.events import Leased, PowerOn
from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge
from hil.judge.needs import needs


@needs("access_point", "power")
def test_connected_again_in_time(power_cut: LegEvidence, product: Product, judge: Judge) -> None:
    """The unit is connected in time after the cut."""
    judge.within(product.limits.connected_s, power_cut.between(PowerOn, Leased), "power on → address given")


@needs("lamp", "power")
def test_lamp_order_after_cut(power_cut: LegEvidence, judge: Judge) -> None:
    """The lamp shows starting, joining, connected after the cut."""
    expected = ["starting", "joining", "connected"]
    judge.holds(power_cut.lamp_order_since(PowerOn, expected), "lamp: " + " → ".join(expected))


@needs("pages", "power")
def test_settings_outlive_the_cut(power_cut: LegEvidence, product: Product, judge: Judge) -> None:
    """The settings are as saved after the cut."""
    if product.form.connected_path is None:
        judge.not_promised("settings page when connected")
        return
    judge.holds(power_cut.power.was_cut(), "the supply was cut")
    judge.holds(power_cut.pages.shows("settings", saved_values(power_cut, product)), "settings as saved")


@needs("pages")
def test_settings_page_wants_its_key(power_cut: LegEvidence, product: Product, judge: Judge) -> None:
    """The settings page is refused without the update key when connected."""
    if product.form.connected_path is None or product.form.by_role("update key") is None:
        judge.not_promised("settings page protected by a key")
        return
    judge.holds(power_cut.turned_away("settings without key", "settings_without_key"), "turned away without the key")


@needs("pages", "access_point")
def test_status_page_after_cut(power_cut: LegEvidence, product: Product, judge: Judge) -> None:
    """The status page states the address that was given after the cut."""
    leased = power_cut.access_point.leased_address
    judge.holds(power_cut.pages.states("status", product.status.address, leased), "address on the status page")


@needs("pages", "power")
def test_running_time_after_cut(power_cut: LegEvidence, product: Product, judge: Judge) -> None:
    """The time since start on the status page agrees with the bench's clock after the cut."""
    judge.holds(power_cut.running_time_agrees(PowerOn, "status", product.status), "running for, by our clock")


@needs("pages", "console", "air")
def test_no_secret_leaks_after_cut(power_cut: LegEvidence, judge: Judge) -> None:
    """No canary secret is in a page, on the console or in the air."""
    for where, seen in power_cut.leaks().items():
        judge.holds(seen, f"no secret in {where}")


@needs("resets", "console", "power")
def test_no_crash_nor_unasked_reset_after_cut(power_cut: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts again after the cut."""
    judge.holds(power_cut.power.was_cut(), "the supply was cut")
    judge.holds(power_cut.console.no_crash(), "no crash text")
    judge.holds(power_cut.resets.none_unasked(), "no start nobody asked for")
