"""Nobody takes a unit's reports, no way leads to the internet, and its lease is short: it stays, serves and reports again.

The lease: RFC 2131 4.4.5, a client asks to keep its address at half of its time (T1), and at 0.875 of it (T2) at the latest.
"""

from urllib.parse import urlsplit

from hil_acceptance.steady import judge_steady

from hil.core.product import Product
from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge
from hil.judge.needs import needs

MEANWHILE = "while the receiver"


@needs("access_point")
def test_first_report_in_time(services_away: LegEvidence, product: Product, judge: Judge) -> None:
    """The first report comes in time once the unit is connected."""
    judge.within(product.limits.report_s, services_away.reports().first(), "address given → first report")


@needs("access_point")
def test_reports_are_as_typed(services_away: LegEvidence, product: Product, judge: Judge) -> None:
    """Reports go where they were typed to go, and bear the key that was typed."""
    if product.reports is None:
        judge.not_promised("reports")
        return
    typed = services_away.typed
    path = urlsplit(typed[product.reports.to]).path or "/"
    key = typed[product.reports.key] if product.reports.key is not None else None
    judge.holds(services_away.reports().as_typed(path, key), "path and key as typed")


@needs("access_point")
def test_reports_come_again_in_time(services_away: LegEvidence, product: Product, judge: Judge) -> None:
    """Reports come again in time once their receiver answers again."""
    judge.within(product.limits.report_s, services_away.reports().again(), "receiver back → report")


@needs("pages", "access_point")
def test_pages_answer_while_reports_are_not(services_away: LegEvidence, product: Product, judge: Judge) -> None:
    """Pages are answered in time while the unit's reports are not answered, and while they are refused."""
    judge.holds(services_away.reports().tried(), "tried to report meanwhile")
    purposes = [purpose for purpose in services_away.pages.asked if MEANWHILE in purpose]
    readings = {purpose: services_away.pages.first_octet(purpose) for purpose in purposes}
    judge.all_within(product.limits.first_octet_s, readings, "asked → first octet")


@needs("access_point", "lamp")
def test_stays_connected_without_services(services_away: LegEvidence, judge: Judge) -> None:
    """The unit stays in its network, and says so, while nobody takes its reports and there is no way to the internet."""
    judge.holds(services_away.reports().tried(), "tried to report meanwhile")
    judge.holds(services_away.reports().stayed(), "stays in the network")
    expected = ["starting", "joining", "connected"]
    judge.holds(services_away.lamp.shows_in_order(expected, services_away.begin_s), "lamp: " + " → ".join(expected))


@needs("access_point")
def test_lease_is_renewed_in_time(services_away: LegEvidence, judge: Judge) -> None:
    """The unit asks to keep its address before its lease comes to its end, and keeps it."""
    reports = services_away.reports()
    judge.within(reports.renewal, reports.renewed(), "address given → lease renewed")


@needs("resets", "console")
def test_no_crash_nor_unasked_reset_without_services(services_away: LegEvidence, judge: Judge) -> None:
    """The unit neither crashes nor restarts while nobody takes its reports."""
    judge_steady(services_away, judge)
