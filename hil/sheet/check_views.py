"""Checks as a sheet shows them: grouped by the leg they rest on, numbered in that order, with their findings."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from hil.core.readings import Reading
from hil.core.run_folder import LegRecord
from hil.core.verdicts import Finding, Verdict
from hil.evidence.window import Record
from hil.judge.results import CheckResult
from hil.sheet.film import film_strip
from hil.sheet.palette import slug
from hil.sheet.pictures import reading_bar, verdict_mark
from hil.sheet.tries_pictures import tries_pictures
from hil.sheet.wording import Wording, leg_title, sentence

WHOLE_RUN = "The run as a whole"
MOST_STRIPS = 3  # film strips of one leg's takes

Counts = tuple[int, int, int, int]


@dataclass(frozen=True, slots=True)
class Mark:
    """A verdict to show: word, class name for its colours, shape."""

    word: str
    slug: str
    shape: str


@dataclass(frozen=True, slots=True)
class FindingView:
    """One line under a check."""

    promised: str
    limits: str
    value: str
    doubt: str
    seen: str
    bar: str
    mark: Mark


@dataclass(frozen=True, slots=True)
class CheckView:
    """One check. `reason` is why it is not a pass; `explained` says whether its findings tell that already."""

    number: int
    title: str
    name: str
    witnesses: str
    takes: str
    reason: str
    explained: bool
    mark: Mark
    findings: tuple[FindingView, ...]


@dataclass(frozen=True, slots=True)
class StripView:
    """A film strip, or another picture of a take, and what it shows."""

    caption: str
    picture: str


@dataclass(frozen=True, slots=True)
class LegView:
    """A leg with the checks that rest on it; `counts` in figures, `outcome` in words."""

    title: str
    drives: tuple[str, ...]
    strips: tuple[StripView, ...]
    checks: tuple[CheckView, ...]
    counts: Counts
    outcome: str


@dataclass(frozen=True, slots=True)
class LegSum:
    """A leg on the first page, its cases taken together; `outcome` is of the checks that apply, where there are any."""

    title: str
    counts: Counts
    outcome: str


def mark_of(verdict: Verdict) -> Mark:
    """A verdict ready to be shown."""
    return Mark(verdict.value, slug(verdict), verdict_mark(verdict))


def leg_name(leg: LegRecord) -> str:
    """A driven leg as checks name it."""
    return f"{leg.name}[{leg.parameter}]" if leg.parameter else leg.name


def by_leg(results: Sequence[CheckResult], legs: Sequence[LegRecord]) -> dict[str, list[CheckResult]]:
    """Checks by the leg they rest on, legs in the order driven; a check of several legs stands under the last driven."""
    driven_at = {leg_name(leg): at for at, leg in enumerate(legs)}
    groups: dict[str, list[CheckResult]] = {leg_name(leg): [] for leg in legs}
    for result in results:
        driven = sorted((leg for leg in result.legs if leg in driven_at), key=lambda leg: driven_at[leg])
        home = driven[-1] if driven else result.legs[-1] if result.legs else ""
        groups.setdefault(home, []).append(result)
    return groups


def count_verdicts(results: Sequence[CheckResult]) -> Counts:
    """Passed, failed, unjudged or not reached, not applicable."""
    tally = Counter(result.verdict for result in results)
    missed = tally[Verdict.UNJUDGED] + tally[Verdict.NOT_REACHED]
    return tally[Verdict.PASS], tally[Verdict.FAIL], missed, tally[Verdict.NOT_APPLICABLE]


def outcome_of(counts: Counts) -> str:
    """Counts in words, those of none left out."""
    words = ("passed", "failed", "no verdict", "not applicable")
    return ", ".join(f"{number} {word}" for number, word in zip(counts, words, strict=True) if number) or "no checks"


def leg_views(
    groups: Mapping[str, Sequence[CheckResult]], legs: Sequence[LegRecord], record: Record, wording: Wording
) -> tuple[LegView, ...]:
    """All groups as shown; checks are numbered through."""
    views: list[LegView] = []
    number = 1
    for name, group in groups.items():
        checks = tuple(check_view(at, result, wording) for at, result in enumerate(group, number))
        number += len(group)
        drives = tuple(wording.plain(_drive(at, leg)) for at, leg in enumerate(legs, 1) if leg_name(leg) == name)
        title = wording.plain(leg_title(name)) or WHOLE_RUN
        counts = count_verdicts(group)
        views.append(LegView(title, drives, _strips(name, legs, record), checks, counts, outcome_of(counts)))
    return tuple(views)


def leg_sums(groups: Mapping[str, Sequence[CheckResult]], wording: Wording) -> tuple[LegSum, ...]:
    """All groups, a leg driven in several cases once."""
    cases: dict[str, list[str]] = {}
    for name in groups:
        cases.setdefault(name.partition("[")[0], []).append(name)
    return tuple(_sum(leg, [groups[name] for name in names], names, wording) for leg, names in cases.items())


def _sum(leg: str, groups: Sequence[Sequence[CheckResult]], names: Sequence[str], wording: Wording) -> LegSum:
    counts = count_verdicts([result for group in groups for result in group])
    title = f"{leg_title(leg)}, {len(names)} cases" if len(names) > 1 else leg_title(names[0])
    applied = (*counts[:-1], 0) if any(counts[:-1]) else counts
    return LegSum(wording.plain(title) or WHOLE_RUN, counts, outcome_of(applied))


def _drive(number: int, leg: LegRecord) -> str:
    bridge = "; a bridge, driven only to reach another leg" if leg.bridge else ""
    return (
        f"Leg {number}, take {leg.take}: {leg.begin_s:.1f} to {leg.end_s:.1f} s, from {leg.begins} to {leg.ends}; "
        f"witnesses confirmed {leg.confirmed}{bridge}"
    )


def _strips(name: str, legs: Sequence[LegRecord], record: Record) -> tuple[StripView, ...]:
    """The lamp over each take of a leg, and what was tried many times in it."""
    frames, found = record.frames(), []
    for leg in [leg for leg in legs if leg_name(leg) == name][:MOST_STRIPS]:
        lamp = f"Lamp over take {leg.take}, enlarged; seconds since the leg began"
        found.append(StripView(lamp, film_strip(frames.within(leg.begin_s, leg.end_s), leg.begin_s)))
        found += [StripView(*shown) for shown in tries_pictures(record, name, leg.begin_s, leg.end_s)]
    return tuple(strip for strip in found if strip.picture)


def title_of(result: CheckResult, wording: Wording) -> str:
    """A check's title without its full stop."""
    return wording.plain(result.title.strip().rstrip(".") or result.name)


def check_view(number: int, result: CheckResult, wording: Wording) -> CheckView:
    """A check as shown."""
    return CheckView(
        number=number,
        title=title_of(result, wording),
        name=wording.plain(result.name),
        witnesses=wording.plain(", ".join(result.witnesses)) or "none named",
        takes=f"{result.takes} takes" if result.takes > 1 else "",
        reason=sentence(wording.plain(result.reason)),
        explained=any(finding.verdict is result.verdict for finding in result.findings),
        mark=mark_of(result.verdict),
        findings=tuple(_finding(finding, wording) for finding in result.findings),
    )


def value_and_doubt(reading: Reading) -> tuple[str, str]:
    """A reading in two parts, with as many decimals as its doubt has; one part where it is no measured value."""
    if reading.value is None or reading.because:
        return str(reading), ""
    digits = reading.digits
    return f"{reading.value:.{digits}f} {reading.unit}", f"± {reading.doubt:.{digits}f} {reading.unit}"


def _finding(finding: Finding, wording: Wording) -> FindingView:
    reading, limits = finding.reading, finding.limits
    value, doubt = value_and_doubt(reading) if reading else ("", "")
    return FindingView(
        promised=wording.plain(finding.promised),
        limits=str(limits) if limits else "",
        value=value,
        doubt=doubt,
        seen=_seen(finding, wording),
        bar=reading_bar(reading, limits, finding.verdict) if reading and limits else "",
        mark=mark_of(finding.verdict),
    )


def _seen(finding: Finding, wording: Wording) -> str:
    """What was seen, in words, where value and doubt do not say it already; and what widened the reading."""
    if finding.reading is None:
        return wording.plain(finding.seen)
    beyond = finding.seen.removeprefix(str(finding.reading)).lstrip(" :;,")
    because = finding.reading.because if finding.reading.because not in beyond else ""
    return wording.plain("; ".join(part for part in (beyond, because) if part))
