"""What a run says at its end: verdict, what is not a pass, the readings nearest to their limits, where the sheet is."""

from collections.abc import Iterator, Sequence
from pathlib import Path

from rich.text import Text

from hil.cli.panel import STYLES
from hil.core.text import printable
from hil.core.verdicts import Verdict
from hil.drive.driver import Driver
from hil.drive.live import LiveDriver
from hil.judge.results import CheckResult, accepted_findings, nearest_to_limits

WORDS = {Verdict.PASS: "PASSED", Verdict.FAIL: "FAILED", Verdict.UNJUDGED: "UNJUDGED"}
MOST_LISTED = 12


def summary(
    driver: Driver, results: Sequence[CheckResult], verdict: Verdict, sheet: Path | None, trouble: str
) -> Iterator[Text]:
    """The lines."""
    yield Text()
    counts = {v: sum(r.verdict is v for r in results) for v in Verdict}
    counted = ", ".join(f"{count} {v}" for v, count in counts.items() if count)
    of = "Only a part of the checks was run: this opens no gate." if driver.info.partial else _profile(driver)
    yield Text.assemble((WORDS[verdict], STYLES[verdict]), f"  {counted or 'nothing judged'}. {of}")
    yield from _not_passed(results)
    if trouble:
        yield Text(f"The bench: {printable(trouble)}", style="yellow")
    for result, finding in accepted_findings(results):
        yield Text.assemble(
            ("accepted: ", "yellow"), printable(f"{result.title} {finding.accepted}: {finding.seen}")[:300]
        )
    yield from _nearest(results)
    if driver.live and driver.info.facts.get("route"):
        route = driver.info.facts["route"]
        yield Text(f"Unit time {route['unit time']}, lower bound {route['lower bound']}.")
    if sheet is not None:
        yield Text(f"Sheet: {sheet}")
    if isinstance(driver, LiveDriver):
        yield _supply(driver)


def _profile(driver: Driver) -> str:
    return f"Profile: {driver.info.profile}."


def _supply(driver: LiveDriver) -> Text:
    if driver.switched_off and not driver.bench.power.cuts_supply:
        return Text("The unit is under supply, which this bench does not switch: unplug that first.")
    if driver.switched_off:
        return Text("The unit is without supply: safe to unplug.")
    return Text(
        "The unit could NOT be switched off: it may be under supply. Unplug the bench's supply.", style="bold red"
    )


def _not_passed(results: Sequence[CheckResult]) -> Iterator[Text]:
    bad = [r for r in results if r.verdict not in (Verdict.PASS, Verdict.NOT_APPLICABLE)]
    bad.sort(key=lambda r: r.verdict is not Verdict.FAIL)
    for result in bad[:MOST_LISTED]:
        yield Text.assemble(
            (f"{result.verdict}: ", STYLES[result.verdict]), printable(f"{result.title} {result.reason}")[:300]
        )
    if len(bad) > MOST_LISTED:
        yield Text(f"… and {len(bad) - MOST_LISTED} more, on the sheet.")


def _nearest(results: Sequence[CheckResult]) -> Iterator[Text]:
    nearest = nearest_to_limits(results)
    if nearest:
        yield Text("Nearest to their limits:")
    for _result, finding, room in nearest:
        yield Text(f"  {printable(finding.promised)}: {finding.reading} of {finding.limits} ({room:+.0%} room)")
