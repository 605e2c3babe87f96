"""What the unit is open for, in its own network and in the one it joined.

Each finding names the provision of ETSI EN 303 645 that it goes against, and may be accepted by name in the product file.
"""

from hil_acceptance.steady import judge_no_leak, judge_steady
from hil_acceptance.texts import saved_values

from hil.core.product import Product
from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge
from hil.judge.needs import needs
from hil.page.attempts import FORM_WITHOUT_PASSWORD, FROM_ANOTHER_SITE, WITHOUT_KEY

PROTECTED = "a settings page when connected, protected by a key"


def is_protected(product: Product) -> bool:
    """Whether the product promises a settings page when connected, and a key for it."""
    return product.form.connected_path is not None and product.form.by_role("update key") is not None


@needs("pages")
def test_no_other_port_open_on_hotspot(open_on_hotspot: LegEvidence, judge: Judge) -> None:
    """On its hotspot the unit has no TCP port open but the declared ones."""
    for promised, seen in open_on_hotspot.open_ports().items():
        judge.holds(seen, promised)


@needs("pages")
def test_form_on_hotspot_asks_for_the_password(open_on_hotspot: LegEvidence, product: Product, judge: Judge) -> None:
    """Without its password the form on the hotspot does not open."""
    if product.form.user is None:
        judge.not_promised("a password for the form on the hotspot")
        return
    judge.holds(open_on_hotspot.pages.refused_with(FORM_WITHOUT_PASSWORD, 401, 403), "turned away without it")


@needs("pages", "console", "air", "probe")
def test_no_secret_open_on_hotspot(open_on_hotspot: LegEvidence, judge: Judge) -> None:
    """No canary secret is in a page, on the console, in the air or in the leases of the hotspot."""
    judge_no_leak(open_on_hotspot, judge)
    judge.holds(open_on_hotspot.leaks_at("probe"), "no secret in the leases")


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_when_tried(open_on_hotspot: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts while its ports are tried."""
    judge_steady(open_on_hotspot, judge)


@needs("pages")
def test_no_other_port_open_when_connected(open_when_connected: LegEvidence, judge: Judge) -> None:
    """On the network it joined the unit has no TCP port open but the declared ones."""
    for promised, seen in open_when_connected.open_ports().items():
        judge.holds(seen, promised)


@needs("pages")
def test_settings_page_stays_shut_without_key(open_when_connected: LegEvidence, product: Product, judge: Judge) -> None:
    """Without the update key the settings page does not open when connected."""
    if not is_protected(product):
        judge.not_promised(PROTECTED)
        return
    seen = open_when_connected.turned_away("settings without the key", "settings_without_key")
    judge.holds(seen, "turned away without the key")


@needs("pages")
def test_default_keys_open_nothing(open_when_connected: LegEvidence, product: Product, judge: Judge) -> None:
    """After another update key was set, neither the label's key nor a usual one opens the settings page."""
    if not is_protected(product):
        judge.not_promised(PROTECTED)
        return
    for promised, seen in open_when_connected.default_keys().items():
        judge.holds(seen, promised)


@needs("pages")
def test_nothing_saved_without_key(open_when_connected: LegEvidence, product: Product, judge: Judge) -> None:
    """Without the update key nothing is saved when connected."""
    if not is_protected(product) or product.form.text_to_change is None:
        judge.not_promised(PROTECTED)
        return
    evidence, saved = open_when_connected, saved_values(open_when_connected, product)
    judge.holds(evidence.turned_away(WITHOUT_KEY.purpose, "save_without_key"), "turned away without the key")
    judge.holds(evidence.after_attempt(WITHOUT_KEY, "save_without_key", saved), "settings as they were")


@needs("pages")
def test_nothing_saved_from_another_site(open_when_connected: LegEvidence, product: Product, judge: Judge) -> None:
    """What another site's page sends is not saved, though the browser knows the key."""
    if not is_protected(product) or product.form.text_to_change is None:
        judge.not_promised(PROTECTED)
        return
    evidence, saved = open_when_connected, saved_values(open_when_connected, product)
    judge.holds(evidence.turned_away(FROM_ANOTHER_SITE.purpose, "save_from_another_site"), "turned away")
    judge.holds(evidence.after_attempt(FROM_ANOTHER_SITE, "save_from_another_site", saved), "settings as they were")


@needs("pages", "console", "air", "access_point")
def test_no_secret_open_when_connected(open_when_connected: LegEvidence, judge: Judge) -> None:
    """No canary secret is in a page, on the console, in the air or in the leases of the network."""
    judge_no_leak(open_when_connected, judge)
    judge.holds(open_when_connected.leaks_at("access_point"), "no secret in the leases")


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_when_attempted(open_when_connected: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts under attempts on its settings."""
    judge_steady(open_when_connected, judge)
