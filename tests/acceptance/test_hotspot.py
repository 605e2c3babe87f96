"""The hotspot in use: on the air without a gap, leading whoever joins it to the form, and unmoved by who leaves in mid-form."""

from hil_acceptance.steady import judge_no_leak, judge_steady
from hil_acceptance.texts import saved_values

from hil.core.product import Product
from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge
from hil.judge.needs import needs


@needs("air")
def test_next_beacon_in_time(hotspot_used: LegEvidence, product: Product, judge: Judge) -> None:
    """The hotspot's beacons come without a long gap, whatever the unit's station does meanwhile."""
    judge.within(product.limits.beacon_gap_s, hotspot_used.air.longest_silence(), "longest time between two beacons")


@needs("air")
def test_hotspot_security_throughout(hotspot_used: LegEvidence, product: Product, judge: Judge) -> None:
    """Every beacon of the hotspot in use announces the promised security."""
    judge.holds(hotspot_used.air.secured_throughout(product.hotspot.security), f"security {product.hotspot.security}")


@needs("probe", "pages")
def test_visitor_may_stay(hotspot_used: LegEvidence, judge: Judge) -> None:
    """A visitor stays on the hotspot, and is served after that."""
    judge.holds(hotspot_used.probe.stayed(), "no farewell to the probe")
    judge.holds(hotspot_used.pages.served("form after the stay"), "the form is served over the same lease")


@needs("pages")
def test_captive_pages_lead_to_the_form(hotspot_used: LegEvidence, product: Product, judge: Judge) -> None:
    """What phones and computers ask a network for leads to the form."""
    if not product.hotspot.captive:
        judge.not_promised("a hotspot that leads to its form")
        return
    for promised, seen in hotspot_used.captive().items():
        judge.holds(seen, promised)


@needs("pages")
def test_captive_pages_in_time(hotspot_used: LegEvidence, product: Product, judge: Judge) -> None:
    """What phones and computers ask a network for is answered in time."""
    if not product.hotspot.captive:
        judge.not_promised("a hotspot that leads to its form")
        return
    for promised, reading in hotspot_used.captive_first_octets().items():
        judge.within(product.limits.first_octet_s, reading, promised)


@needs("pages")
def test_encrypted_pages_refused_in_time(hotspot_used: LegEvidence, product: Product, judge: Judge) -> None:
    """The port of encrypted pages refuses, and at once: a phone that is kept waiting there shows no form."""
    if not product.hotspot.captive:
        judge.not_promised("a hotspot that leads to its form")
        return
    judge.holds(hotspot_used.tls_refused(), "port 443 refuses")
    judge.within(product.limits.first_octet_s, hotspot_used.tls_answer(), "port 443 dialled → refused")


@needs("pages")
def test_half_a_form_changes_nothing(hotspot_used: LegEvidence, product: Product, judge: Judge) -> None:
    """Who leaves with half a form sent, and comes back, finds everything as it was."""
    saved = saved_values(hotspot_used, product)
    judge.holds(hotspot_used.pages.shows("form after the stay", saved), "settings before")
    judge.holds(hotspot_used.pages.let_in("half a form"), "half a form is sent")
    judge.holds(hotspot_used.pages.shows("form after coming back", saved), "settings after coming back")


@needs("pages", "console", "air")
def test_no_secret_leaks_on_hotspot_used(hotspot_used: LegEvidence, judge: Judge) -> None:
    """No canary secret is in a page, on the console or in the air."""
    judge_no_leak(hotspot_used, judge)


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_on_hotspot_used(hotspot_used: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts while its hotspot is used."""
    judge_steady(hotspot_used, judge)
