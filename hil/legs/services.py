"""What a unit leans on when connected: whoever takes its reports, and its lease. Both let it down, or come to an end."""

from dataclasses import replace
from urllib.parse import urlsplit

from hil.core.leases import RENEWS_AT, RENEWS_BY, SHORTEST_S
from hil.core.product import Product, Reports
from hil.core.stages import Connected, Off
from hil.instruments.bench import Bench
from hil.instruments.stations import Manner
from hil.legs.leg import leg
from hil.legs.moves import CUT_S, STEADY_S, give_up, status_page, wait_connected

PAGES_APART_S = 3.0
WAITS_S = 12.0  # for an answer, as most units do at most; no source
BEYOND: dict[Manner, float] = {"is silent": WAITS_S, "refuses": 3.0}
"""How long each manner is kept beyond the time in which a report is due, so that pages are asked for while the unit waits."""
START_S = 5.0  # power on to connected, as most units take it; no source
HTTP_PORT = 80


@leg(
    begins=Off(store="bench network"),
    ends=Connected(),
    expected_s=lambda _product: CUT_S + START_S + RENEWS_AT * SHORTEST_S + STEADY_S,
    profile="release",
    promised=lambda product: product.reports is not None,
)
def services_away(bench: Bench, product: Product) -> None:
    """Connected by a short lease, with no way to the internet; reports are taken, not answered, refused, and taken again."""
    reports = product.reports
    assert reports is not None  # promised
    bench.access_point.up(replace(bench.network, lease_s=SHORTEST_S))
    to = urlsplit(bench.trial.values[reports.to])
    own = bench.access_point.lease_of_bench().address
    if to.hostname != own:
        why = f"the trial value of {reports.to} leads to {to.hostname}, and reports are taken at {own}"
        give_up(bench, why, bench.access_point.source)
        return
    try:
        _let_down(bench, product, reports, to.port or HTTP_PORT)
    finally:
        bench.access_point.take_no_reports()


def _let_down(bench: Bench, product: Product, reports: Reports, port: int) -> None:
    every_s = float(bench.trial.values[reports.every_s])
    patience_s = product.limits.report_s.patience_s if product.limits.report_s else 2.0 * every_s
    bench.access_point.take_reports(port, "answers")
    bench.clock.pause(CUT_S)
    mark = bench.timeline.mark()
    bench.power.on(asked_by="leg")
    address = wait_connected(bench, product.limits.connected_s.patience_s, mark)
    if address is None:
        return
    connected, leased_s = bench.timeline.mark(), bench.clock.now_s()
    _wait_report(bench, patience_s, mark)
    for manner, beyond_s in BEYOND.items():
        bench.access_point.take_reports(port, manner)
        for number in range(1, round((every_s + beyond_s) / PAGES_APART_S) + 1):
            bench.clock.pause(PAGES_APART_S)
            status_page(bench, product, address, f"status {number} while the receiver {manner}")
    mark = bench.timeline.mark()
    bench.access_point.take_reports(port, "answers")
    _wait_report(bench, patience_s, mark)
    _wait_renewal(bench, leased_s + RENEWS_BY * SHORTEST_S - bench.clock.now_s(), connected)
    bench.clock.pause(STEADY_S)


def _wait_report(bench: Bench, limit_s: float, since: int) -> None:
    bench.timeline.wait(
        lambda m: m.is_("access point", "report"), limit_s=limit_s, awaited="a report of the unit's", since=since
    )


def _wait_renewal(bench: Bench, limit_s: float, since: int) -> None:
    address = bench.label.address.lower()
    bench.timeline.wait(
        lambda m: m.is_("access point", "leased") and m.text("address").lower() == address,
        limit_s=limit_s,
        awaited="the unit's lease, renewed",
        since=since,
    )
