"""The first page's statements: who, what, where and when, in panels; and the sentences about this run."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from hil.core.moments import Json
from hil.core.product import Product
from hil.core.run_folder import RunInfo
from hil.core.text import count
from hil.core.verdicts import Verdict
from hil.judge.results import CheckResult, accepted_findings
from hil.judge.statistics import rate_statement
from hil.sheet.check_views import leg_name
from hil.sheet.wording import NOT_STATED, Row, Wording, clock_time, label_words, leg_title

FRONT_SECTIONS = ("unit", "build", "product", "bench", "surroundings", "instruments", "canaries", "trial", "route")
LEAST_RATED = 3  # takes: one that was granted a second look is no sample
ROUTE_LABELS = ("unit time", "lower bound")  # the rest of the route is long, and stands at the end
Facts = Mapping[str, Json]
BEYOND = {
    "quick": "The quick profile was run: what the release profile adds was not.",
    "release": "The release profile was run; no run of hours was.",
}


@dataclass(frozen=True, slots=True)
class Panel:
    """A titled group of statements."""

    title: str
    rows: tuple[Row, ...]


def front_panels(info: RunInfo, product: Product, wording: Wording) -> tuple[Panel, ...]:
    """The statements every sheet makes; what the run does not know is "not stated"."""
    sections = {name: _by_label(info.facts.get(name, {})) for name in FRONT_SECTIONS}
    named: Facts = {"name": product.name, "model": product.model, "hardware revision": product.hardware_revision}
    around = sections["surroundings"]
    order = {label: around.get(label) for label in ("order", "lot")}
    run: Facts = {
        "began": clock_time(info.began),
        "ended": clock_time(info.ended),
        **{label: around.get(label) for label in ("operator", "supply", "ambient")},
        **{label: value for label, value in around.items() if label not in order},
        **{label: sections["route"][label] for label in ROUTE_LABELS if label in sections["route"]},
    }
    bench: Facts = {**sections["bench"], "tool revision": info.tool_version}
    return (
        _panel("Unit", ("serial number", "radio address", "chip witnessed"), {**sections["unit"], **order}, wording),
        _panel(
            "Product",
            ("name", "model", "hardware revision", "file", "sha256"),
            {**named, **sections["product"]},
            wording,
        ),
        _panel("Build", ("version", "version witnessed", "sha256"), sections["build"], wording, whole_digests=True),
        _panel("Run", (), run, wording),
        _panel("Bench", ("name", "kind", "slot"), bench, wording),
    )


def further_panels(facts: Mapping[str, Facts], wording: Wording) -> tuple[Panel, ...]:
    """Sections this sheet has no place of its own for, and the canaries by name."""
    panels = [
        _panel(label_words(wording.plain(name)), (), section, wording, whole_digests=True)
        for name, section in facts.items()
        if name not in FRONT_SECTIONS and section
    ]
    route = {label: value for label, value in _by_label(facts.get("route", {})).items() if label not in ROUTE_LABELS}
    if route:
        panels.append(_panel("Route", (), route, wording))
    if canaries := facts.get("canaries"):
        names = ", ".join(wording.plain(name) for name in canaries)
        panels.append(Panel("Canaries", (Row("Drawn for this run", names),)))
    if trial := facts.get("trial"):
        panels.append(Panel("Typed into the unit", _trial_rows(trial, wording)))
    return tuple(panels)


def _trial_rows(trial: Facts, wording: Wording) -> tuple[Row, ...]:
    """The bench's networks and the values typed in; a secret only by name."""
    values, hidden = trial.get("values"), trial.get("secret_names")
    typed = values if isinstance(values, dict) else {}
    secret = hidden if isinstance(hidden, list) else []
    shown: dict[str, Json] = {"control network": trial.get("control_network")}
    shown |= {name: "a canary, not shown" if name in secret else value for name, value in typed.items()}
    return tuple(wording.row(name, value) for name, value in shown.items())


def _by_label(section: Facts) -> dict[str, Json]:
    return {label.replace("_", " ").strip().lower(): value for label, value in section.items()}


def _panel(
    title: str, always: Sequence[str], section: Facts, wording: Wording, *, whole_digests: bool = False
) -> Panel:
    labels = [*always, *(label for label in section if label not in always)]
    return Panel(title, tuple(wording.row(label, section.get(label), short=not whole_digests) for label in labels))


def verdict_sentence(verdict: Verdict, results: Sequence[CheckResult], info: RunInfo) -> str:
    """Why the verdict is what it is, in a sentence."""
    by = {kind: sum(result.verdict is kind for result in results) for kind in Verdict}
    apply = len(results) - by[Verdict.NOT_APPLICABLE]
    if verdict is Verdict.PASS:
        part = " of the selected part" if info.partial else f" of the {info.profile} profile that apply"
        passed = f"All {count(apply, 'check')}{part} were judged, and passed" if apply > 1 else "The one check passed"
        named = len({finding.accepted for _, finding in accepted_findings(results)})
        return f"{passed}, {count(named, 'finding')} accepted by name." if named else f"{passed}."
    missing = [f"{by[kind]} {kind}" for kind in (Verdict.UNJUDGED, Verdict.NOT_REACHED) if by[kind]]
    if verdict is Verdict.FAIL:
        return ", ".join([f"{by[Verdict.FAIL]} of {count(apply, 'check')} failed", *missing]) + "."
    if missing:
        return f"No verdict on the unit: of {count(apply, 'check')}, {' and '.join(missing)}."
    return "No verdict on the unit: " + ("the bench broke." if info.broken else "nothing was judged to its end.")


def proposal(verdict: Verdict, info: RunInfo) -> str:
    """What the verdict proposes; a person signs."""
    if verdict is Verdict.FAIL:
        return "reject"
    return "accept" if verdict is Verdict.PASS and not info.partial else "hold, and test again"


def repeats(info: RunInfo, results: Sequence[CheckResult]) -> str:
    """Which legs were driven more than once, each take counting; and what was tried many times, with the rates it shows."""
    takes = {leg_name(leg): leg.take for leg in info.legs if not leg.bridge}
    again = [f"{leg_title(name)} ({_takes(name, number, results)})" for name, number in takes.items() if number > 1]
    checks = sum(result.takes > 1 for result in results)
    if not again and not checks:
        repeated = "No leg was repeated."
    else:
        repeated = f"Repeated: {', '.join(again) or count(checks, 'check')}. Every take was judged and counts."
    return f"{repeated}{_tried(results)} Earlier sheets of this unit: {NOT_STATED}."


def _tried(results: Sequence[CheckResult]) -> str:
    """What was tried many times, in sum; each rate stands with its check."""
    tallies = [finding.tally for result in results for finding in result.findings if finding.tally]
    if not tallies:
        return ""
    failed, tries = (sum(numbers) for numbers in zip(*tallies, strict=True))
    return (
        f" Tried many times: {count(len(tallies), 'promise')}, {failed} of {tries} tries failed (rates in Appendix A)."
    )


def _takes(leg: str, takes: int, results: Sequence[CheckResult]) -> str:
    """How many takes there were; of enough of them, how many failed and what rate that shows."""
    if takes < LEAST_RATED:
        return count(takes, "take")
    failed = {take for result in results if leg in result.legs for take in result.failed_takes}
    return f"{count(takes, 'take')}, {rate_statement(len(failed), takes)}"


def accepted_by_name(results: Sequence[CheckResult]) -> str:
    """What passed by the product file's acceptance alone, each finding with its check."""
    found = accepted_findings(results)
    said = [f"{finding.accepted} ({result.title.rstrip('.')}): {finding.seen}." for result, finding in found]
    return " ".join(said) or "No finding."


def not_tested(info: RunInfo, results: Sequence[CheckResult]) -> str:
    """What this sheet does not speak of."""
    not_promised = sum(result.verdict is Verdict.NOT_APPLICABLE for result in results)
    missed = sum(result.verdict in (Verdict.UNJUDGED, Verdict.NOT_REACHED) for result in results)
    parts = [
        f"{count(not_promised, 'check')} not applicable, the product file promising nothing there (Appendix D)."
        if not_promised
        else "No check was left out as not applicable.",
        "Checks outside the selection were not run."
        if info.partial
        else BEYOND.get(info.profile, "No check was deselected."),
    ]
    if missed:
        parts.append(f"{count(missed, 'check')} came to no verdict (Appendix C).")
    return " ".join(parts)


def instruments_named(info: RunInfo) -> str:
    """Which instruments stood around the unit."""
    names = ", ".join(label_words(name).lower() for name in info.facts.get("instruments", {}))
    return f"{label_words(names)}: see Appendix F." if names else "Not stated."
