"""What a sheet says, built once from a run and shown alike as HTML and as PDF. Plain records of plain text and SVG."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from hil.core.moments import Json
from hil.core.run_folder import RunInfo
from hil.core.verdicts import Finding, Verdict
from hil.evidence.lamp import LampView
from hil.evidence.lamp_by_eye import is_by_eye
from hil.evidence.window import Record
from hil.judge.results import CheckResult, nearest_to_limits
from hil.sheet.check_views import (
    CheckView,
    Counts,
    LegSum,
    LegView,
    Mark,
    by_leg,
    count_verdicts,
    leg_sums,
    leg_views,
    mark_of,
    outcome_of,
    title_of,
    value_and_doubt,
)
from hil.sheet.colours import ColoursPart, colours_part
from hil.sheet.controls import control_rows
from hil.sheet.differences import Comparison, PassedRun, ToldDifference
from hil.sheet.failures import Failure, describe_failure
from hil.sheet.front import (
    Panel,
    accepted_by_name,
    front_panels,
    further_panels,
    instruments_named,
    not_tested,
    proposal,
    repeats,
    verdict_sentence,
)
from hil.sheet.pictures import reading_bar
from hil.sheet.timeline_picture import timeline_picture
from hil.sheet.wording import DECISION_RULE, SCOPE, Row, Wording, wording_for

MOST_OPEN = 6  # checks that did not pass, on the first page; all of them stand in the appendices
BRIEF = 170  # characters of a reason there
MOST_NEAREST = 3


@dataclass(frozen=True, slots=True)
class NearestView:
    """A reading near its limit."""

    title: str
    limits: str
    reading: str
    room: str
    bar: str


@dataclass(frozen=True, slots=True)
class FailedCheck:
    """A failed check with its failures, and the first difference of its leg from that of a passed run."""

    number: int
    title: str
    name: str
    mark: Mark
    failures: tuple[Failure, ...]
    difference: ToldDifference | None


@dataclass(frozen=True, slots=True)
class Report:
    """All that a sheet says, in its order."""

    number: str
    unit: str
    mark: Mark
    sentence: str
    notices: tuple[str, ...]
    panels: tuple[Panel, ...]
    open_checks: tuple[CheckView, ...]
    open_more: int
    sums: tuple[LegSum, ...]
    totals: Counts
    outcome: str
    nearest: tuple[NearestView, ...]
    statements: tuple[Row, ...]
    proposal: str
    legs: tuple[LegView, ...]
    failed: tuple[FailedCheck, ...]
    failed_note: str
    unjudged: tuple[CheckView, ...]
    not_applicable: tuple[CheckView, ...]
    timeline: str
    instruments: tuple[Row, ...]
    controls: tuple[Row, ...]
    colours: ColoursPart
    further: tuple[Panel, ...]


def build_report(
    record: Record,
    info: RunInfo,
    results: Sequence[CheckResult],
    verdict: Verdict,
    passed: Sequence[PassedRun] = (),
) -> Report:
    """Put a run into the words and pictures of a sheet; `passed` are runs to compare its failed checks with, newest first."""
    wording, frames = wording_for(info.facts), record.frames()
    results = _witnessed(results, record)
    compared = Comparison(record, info, passed, wording)
    groups = by_leg(results, info.legs)
    legs = leg_views(groups, info.legs, record, wording)
    numbered = dict(enumerate((result for group in groups.values() for result in group), 1))
    views = [check for leg in legs for check in leg.checks]
    failed, unjudged = _of(views, Verdict.FAIL), _of(views, Verdict.UNJUDGED, Verdict.NOT_REACHED)
    open_checks = failed + unjudged
    return Report(
        number=wording.plain(info.sheet_number),
        unit=_serial_number(info.facts, wording),
        mark=mark_of(verdict),
        sentence=verdict_sentence(verdict, results, info),
        notices=_notices(info, wording),
        panels=front_panels(info, record.product, wording),
        open_checks=tuple(replace(check, reason=_brief(check.reason)) for check in open_checks[:MOST_OPEN]),
        open_more=max(0, len(open_checks) - MOST_OPEN),
        sums=leg_sums(groups, wording),
        totals=count_verdicts(results),
        outcome=outcome_of(count_verdicts(results)),
        nearest=_nearest(results, wording),
        statements=_statements(info, results, wording),
        proposal=proposal(verdict, info),
        legs=legs,
        failed=tuple(_failed(view, numbered[view.number], info, record, wording, compared) for view in failed),
        failed_note=compared.note if failed else "",
        unjudged=unjudged,
        not_applicable=_of(views, Verdict.NOT_APPLICABLE),
        timeline=timeline_picture(record, info.legs, frames, _failed_at(numbered)),
        instruments=tuple(wording.row(name, text) for name, text in info.facts.get("instruments", {}).items()),
        controls=control_rows(record, info.legs),
        colours=colours_part(record, info.legs),
        further=further_panels(info.facts, wording),
    )


def _witnessed(results: Sequence[CheckResult], record: Record) -> Sequence[CheckResult]:
    """As the witnesses of this run were: checks name a camera, where a person may have looked."""
    if not is_by_eye(record):
        return results
    names = {LampView.witness: "a person’s eye"}
    return [replace(result, witnesses=tuple(names.get(name, name) for name in result.witnesses)) for result in results]


def _of(views: Sequence[CheckView], *verdicts: Verdict) -> tuple[CheckView, ...]:
    return tuple(view for view in views if view.mark.word in verdicts)


def _brief(reason: str) -> str:
    return reason if len(reason) <= BRIEF else f"{reason[:BRIEF].rstrip()} …"


def _serial_number(facts: Mapping[str, Mapping[str, Json]], wording: Wording) -> str:
    unit = {key.replace("_", " ").lower(): value for key, value in facts.get("unit", {}).items()}
    return wording.value(unit.get("serial number"))


def _notices(info: RunInfo, wording: Wording) -> tuple[str, ...]:
    notices = []
    if info.broken:
        notices.append(f"The bench broke during this run: {wording.plain(info.broken)}")
    elif not info.complete:
        notices.append("This run did not come to its end: what is shown is what it left.")
    if info.partial:
        notices.append("A part of the checks only was wanted: this sheet opens no gate.")
    return tuple(notices)


def _statements(info: RunInfo, results: Sequence[CheckResult], wording: Wording) -> tuple[Row, ...]:
    return (
        Row("Decision rule", DECISION_RULE),
        Row("Repeats and retests", wording.plain(repeats(info, results))),
        Row("Accepted by name", wording.plain(accepted_by_name(results))),
        Row("Not tested", not_tested(info, results)),
        Row("Instruments", wording.plain(instruments_named(info))),
        Row("Scope", f"{SCOPE} Limits are those of the product file named above."),
    )


def _nearest(results: Sequence[CheckResult], wording: Wording) -> tuple[NearestView, ...]:
    """The nearest reading of each check, least room first."""
    readings = sum(len(result.findings) for result in results)
    nearest: dict[str, tuple[CheckResult, Finding, float]] = {}
    for result, finding, room in nearest_to_limits(results, readings):
        nearest.setdefault(result.name, (result, finding, room))
    return tuple(
        NearestView(
            title=title_of(result, wording),
            limits=str(finding.limits),
            reading=" ".join(value_and_doubt(finding.reading)),
            room=f"{room:.0%}".replace("%", " %") if room >= 0.0 else "none",
            bar=reading_bar(finding.reading, finding.limits, finding.verdict),
        )
        for result, finding, room in list(nearest.values())[:MOST_NEAREST]
        if finding.reading and finding.limits
    )


def _failed(
    view: CheckView,
    result: CheckResult,
    info: RunInfo,
    record: Record,
    wording: Wording,
    compared: Comparison,
) -> FailedCheck:
    failures = tuple(
        describe_failure(finding, wording, info.legs, record.moments, record.frames())
        for finding in result.findings
        if finding.verdict is Verdict.FAIL
    )
    return FailedCheck(view.number, view.title, view.name, view.mark, failures, compared.told(result))


def _failed_at(numbered: Mapping[int, CheckResult]) -> dict[int, list[float]]:
    """When failed findings were, by the number of their check."""
    found = {
        number: [f.at_s for f in result.findings if f.verdict is Verdict.FAIL and f.at_s is not None]
        for number, result in numbered.items()
    }
    return {number: times_s for number, times_s in found.items() if times_s}
