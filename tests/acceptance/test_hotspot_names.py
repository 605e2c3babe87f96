"""Names on the hotspot: each leads to the unit, at once, so that a phone shows the form by itself; nonsense leaves it alive."""

from hil_acceptance.steady import judge_steady

from hil.core.product import Product
from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge
from hil.judge.needs import needs
from hil.page.captive import AFTER_BROKEN, CAPTIVE_NAMES, OTHER_KINDS

ASKED = (*((name, "A") for name in CAPTIVE_NAMES), *((CAPTIVE_NAMES[0], kind) for kind in OTHER_KINDS))


@needs("probe")
def test_names_lead_to_the_unit(hotspot_names: LegEvidence, product: Product, judge: Judge) -> None:
    """Each name that phones and computers look up on a network is the unit's own address."""
    if not product.hotspot.names:
        judge.not_promised("names on the hotspot")
        return
    for name, seen in hotspot_names.lookups().lead_to(product.hotspot.address, CAPTIVE_NAMES).items():
        judge.holds(seen, f"{name} is at {product.hotspot.address}")


@needs("probe")
def test_other_questions_are_answered_with_nothing(hotspot_names: LegEvidence, product: Product, judge: Judge) -> None:
    """A question for another kind of record is answered without one: who waits for an answer shows no page."""
    if not product.hotspot.names:
        judge.not_promised("names on the hotspot")
        return
    for kind, seen in hotspot_names.lookups().say_nothing(CAPTIVE_NAMES[0], OTHER_KINDS).items():
        judge.holds(seen, f"{kind} of {CAPTIVE_NAMES[0]}: an answer without a record")


@needs("probe")
def test_names_answered_in_time(hotspot_names: LegEvidence, product: Product, judge: Judge) -> None:
    """Each question for a name is answered in time."""
    if not product.hotspot.names:
        judge.not_promised("names on the hotspot")
        return
    judge.all_within(product.limits.lookup_s, hotspot_names.lookups().times(ASKED), "asked → answered")


@needs("probe")
def test_lease_names_the_unit(hotspot_names: LegEvidence, product: Product, judge: Judge) -> None:
    """The lease on the hotspot tells the unit as router and as name server."""
    if not product.hotspot.names:
        judge.not_promised("names on the hotspot")
        return
    for what, seen in hotspot_names.lease_names().items():
        judge.holds(seen, f"{what} {product.hotspot.address}")


@needs("probe", "pages")
def test_broken_questions_leave_it_alive(hotspot_names: LegEvidence, product: Product, judge: Judge) -> None:
    """After questions that are none the unit still answers a good one, and serves its form."""
    if not product.hotspot.names:
        judge.not_promised("names on the hotspot")
        return
    (answered,) = hotspot_names.lookups().lead_to(product.hotspot.address, [AFTER_BROKEN]).values()
    judge.holds(answered, "a good question after the broken ones is answered")
    judge.holds(hotspot_names.pages.served("form after broken questions"), "the form is served")


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_on_hotspot_names(hotspot_names: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts while names are looked up on its hotspot."""
    judge_steady(hotspot_names, judge)
