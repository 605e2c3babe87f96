"""The page of a batch: each unit with its verdict and sheet, the yield, and which checks failed how often; one HTML file."""

from collections.abc import Mapping
from dataclasses import dataclass

from hil.core.moments import Json
from hil.core.text import count
from hil.judge.batch import UnitRun, batch_verdict, failures_by_check, runs_of, sums_of
from hil.judge.statistics import rate_between
from hil.sheet.challenge_units import PLAIN, title_of
from hil.sheet.check_views import Mark, mark_of
from hil.sheet.html_sheet import rendered
from hil.sheet.wording import clock_time

RULE = (
    "The rule for testing again was fixed before the batch: a unit that failed is never tested again; one that was left "
    "unjudged, because a witness slept or the bench broke, is tested once more. Every run is listed, with its sheet."
)
YIELD = (
    "The bounds are those of Clopper and Pearson at 95 %: between them lies the share of good units in a lot of which these "
    "are a fair sample. Undecided units are no part of those decided."
)


@dataclass(frozen=True, slots=True)
class Batch:
    """A batch as far as it has come; `titles` are the checks', by name, and `facts` those of one of its runs."""

    number: str
    began: str
    ended: str
    runs: tuple[UnitRun, ...]
    titles: Mapping[str, str]
    facts: Mapping[str, Mapping[str, Json]]


@dataclass(frozen=True, slots=True)
class RunView:
    """A line of the page: one run."""

    serial_number: str
    mark: Mark
    began: str
    sheet: str
    note: str


def batch_page(batch: Batch) -> str:
    """Render it."""
    sums = sums_of(batch.runs)
    decided = sums.passed + sums.failed
    return rendered(
        "batch.html.j2",
        ("sheet.css", "challenge.css"),
        batch=batch,
        mark=mark_of(batch_verdict(batch.runs)),
        sums=sums,
        units=count(sums.units, "unit"),
        facts=_stated(batch.facts),
        share=_share(sums.passed, decided),
        share_at_first=_share(sums.passed_at_first, sums.units),
        runs=[_view(run, batch) for run in batch.runs],
        failures=[
            (PLAIN.plain(title_of(name, batch.titles)), name, number) for name, number in failures_by_check(batch.runs)
        ],
        notes=(RULE, YIELD),
        began=clock_time(batch.began),
        ended=clock_time(batch.ended),
    )


def _share(good: int, tried: int) -> str:
    """A share in per cent with its bounds."""
    if not tried:
        return "none decided"
    low, high = rate_between(tried - good, tried)
    return f"{good} of {tried}, {good / tried:.0%} (between {1.0 - high:.0%} and {1.0 - low:.0%})"


def _view(run: UnitRun, batch: Batch) -> RunView:
    runs = runs_of(batch.runs, run.serial_number)
    note = f"run {runs.index(run) + 1} of {len(runs)}" if len(runs) > 1 else ""
    titles = "; ".join(PLAIN.plain(title_of(name, batch.titles)) for name in run.failed)
    told = "; ".join(text for text in (note, titles) if text)
    return RunView(run.serial_number, mark_of(run.verdict), clock_time(run.began), f"{run.folder}/sheet.html", told)


def _stated(facts: Mapping[str, Mapping[str, Json]]) -> list[tuple[str, str]]:
    wanted = (
        ("Product", ("product", "name")),
        ("Model", ("product", "model")),
        ("Build", ("build", "version")),
        ("Build known by", ("build", "sha256")),
        ("Bench", ("bench", "name")),
        ("Slot", ("bench", "slot")),
        ("Operator", ("surroundings", "operator")),
        ("Lot", ("surroundings", "lot")),
    )
    told = [(label, str(facts.get(section, {}).get(key) or "")) for label, (section, key) in wanted]
    return [(label, value) for label, value in told if value]
