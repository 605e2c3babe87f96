"""Units of a challenge as its page shows them: what each had to come to, what it came to, which checks caught it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import inf
from urllib.parse import quote

from hil.core.readings import Reading
from hil.core.text import count
from hil.core.verdicts import Limits, Verdict
from hil.judge.challenged import Challenged, Outcome
from hil.judge.signature import EVERY, ExpectedVerdict, Kind, SeenReading, SeenVerdict, expectations_of
from hil.sheet.check_views import Mark
from hil.sheet.palette import slug
from hil.sheet.pictures import reading_bar, verdict_mark
from hil.sheet.wording import Wording

PLAIN = Wording()
BRIEF = 200  # characters of what a check saw; the whole of it is in the run's sheet
MOST_READINGS = 3  # of one check: its leg may be driven several times
MOST_SINGLY = 3  # checks of a group; more are told as a sum


@dataclass(frozen=True, slots=True)
class CheckRow:
    """A check that a signature is about: what it had to come to, what it came to, and its reading drawn.

    `name` is that of its file and its own; `title` is empty in a further row of one check.
    """

    title: str
    name: tuple[str, str]
    expected: str
    seen: str
    limits: str
    bar: str
    came: bool


@dataclass(frozen=True, slots=True)
class UnitView:
    """A unit; `statements` say how it was driven, `differences` what its rows do not say; `at` is its place's name.

    `sheets` are those of its runs: where each lies, and its number.
    """

    at: str
    name: str
    why: str
    mark: Mark
    expected: str
    seen: str
    statements: str
    sheets: tuple[tuple[str, str], ...]
    checks: tuple[CheckRow, ...]
    differences: tuple[str, ...]
    exact: bool


def unit_view(unit: Challenged, titles: Mapping[str, str]) -> UnitView:
    """A unit as shown; `titles` are those of the checks, by name."""
    differences = [PLAIN.plain(one.text) for one in unit.differences if one.kind is not Kind.MISSING]
    return UnitView(
        at=f"unit-{quote(unit.name, safe='')}",
        name=PLAIN.plain(unit.name),
        why=PLAIN.plain(unit.why),
        mark=mark_like(_word(unit), _looks_like(unit)),
        expected=str(unit.right_verdict),
        seen=str(unit.verdict or "no verdict"),
        statements=PLAIN.plain("; ".join(_statements(unit))),
        sheets=tuple(_sheets(unit)),
        checks=tuple(row for expected in unit.expected for row in _rows(expected, unit, titles)),
        differences=(*differences, *([PLAIN.plain(unit.trouble)] if unit.trouble else [])),
        exact=unit.exact,
    )


def _sheets(unit: Challenged) -> Iterator[tuple[str, str]]:
    for folder in (take.driven.folder for take in unit.takes or (unit,)):
        if folder:
            yield quote(f"{folder}/sheet.html"), PLAIN.plain(folder.rpartition("/")[2])


def _word(unit: Challenged) -> str:
    more = unit.outcome is Outcome.BY_INTENDED and not unit.exact
    return "caught, and more" if more else str(unit.outcome)


def _looks_like(unit: Challenged) -> Verdict:
    """The verdict whose mark and colour an outcome has."""
    if unit.outcome is Outcome.NO_RUN:
        return Verdict.NOT_REACHED
    if unit.exact:
        return Verdict.PASS
    undecided = unit.outcome in (Outcome.UNDECIDED, Outcome.BY_INTENDED, Outcome.PASSED)
    return Verdict.UNJUDGED if undecided else Verdict.FAIL


def _statements(unit: Challenged) -> Iterator[str]:
    yield count(unit.runs, "run")
    if unit.takes:
        low, high = unit.caught_in.between_percent
        yield f"caught in {unit.caught_in.count} of {unit.caught_in.of}: {low:.1f} to {high:.1f} % of its runs, at 95 %"
    driven = unit.driven
    if driven.legs:
        yield f"{unit.unit_time_s / 60.0:.1f} min of unit time"
    if driven.speed is not None:
        yield f"speed {driven.speed:g}"
    if driven.build_sha256:
        yield f"build {driven.build_sha256[:12]}"
    if unit.seen:
        yield f"{count(len(unit.seen), 'check')}: {', '.join(_tally(unit.seen))}"
    if driven.legs:
        yield f"legs {' → '.join(driven.legs)}"


def _tally(seen: Sequence[SeenVerdict]) -> Iterator[str]:
    for verdict in Verdict:
        number = sum(one.verdict is verdict for one in seen)
        if number:
            yield f"{number} {verdict}"


def _fit(expected: ExpectedVerdict, unit: Challenged) -> list[SeenVerdict]:
    """The checks of the run that an expectation is about."""
    return [seen for seen in unit.telling(expected).seen if expected in expectations_of(seen.check, unit.expected)]


def _rows(expected: ExpectedVerdict, unit: Challenged, titles: Mapping[str, str]) -> Iterator[CheckRow]:
    fit = _fit(expected, unit)
    odd = {difference.check for difference in unit.differences if difference.kind is not Kind.EXTRA}
    had = _had_to(expected)
    if not fit:
        title = PLAIN.plain(title_of(expected.check, titles))
        yield CheckRow(title, name_parts(expected.check), had, "no such check in the run", "", "", came=False)
    elif expected.check.endswith(EVERY) and len(fit) > MOST_SINGLY:
        came = not any(seen.check in odd for seen in fit)
        name = name_parts(expected.check)
        title = f"All {len(fit)} checks of {name[0]}" if name[1] == EVERY else f"{len(fit)} checks named so"
        yield CheckRow(title, name, had, ", ".join(_tally(fit)), "", "", came)
    else:
        for seen in fit:
            readings = [r for r in seen.readings if r.verdict is seen.verdict][:MOST_READINGS]
            title = PLAIN.plain(title_of(seen.check, titles))
            came = seen.check not in odd
            yield from _rows_of_check(title, had, seen, readings, came=came, says=expected.says)


def _rows_of_check(
    title: str, had: str, seen: SeenVerdict, readings: Sequence[SeenReading], *, came: bool, says: str
) -> Iterator[CheckRow]:
    """A row for each reading that made the verdict; one in words where none did, among them those it had to say."""
    name = name_parts(seen.check)
    if not readings:
        brief = _brief(PLAIN.plain(seen.reason), PLAIN.plain(says))
        yield CheckRow(title, name, had, f"{seen.verdict}: {brief}" if brief else str(seen.verdict), "", "", came)
    for at, booked in enumerate(readings):
        reading = reading_of(booked)
        limits = Limits(booked.lower, booked.upper, reading.unit)
        limited = (booked.lower, booked.upper) != (None, None)
        yield CheckRow(
            title if at == 0 else "",
            name,
            had if at == 0 else "",
            f"{seen.verdict}: {reading}",
            f"limits {limits}" if limited else "",
            reading_bar(reading, limits, booked.verdict) if limited else "",
            came,
        )


def _brief(words: str, says: str) -> str:
    """The beginning of what was seen, or where that lies later, what stands about the words it had to say."""
    at = words.find(says)
    first = max(0, at - BRIEF // 2) if at + len(says) > BRIEF else 0
    ending = " …" if len(words) > first + BRIEF else ""
    return f"{'… ' if first else ''}{words[first : first + BRIEF].strip()}{ending}"


def name_parts(check: str) -> tuple[str, str]:
    """A check's file and its own name."""
    file, _, function = PLAIN.plain(check).partition("::")
    return file, function


def reading_of(booked: SeenReading) -> Reading:
    """A booked reading as a reading again."""
    low = -inf if booked.low is None else booked.low
    return Reading(low, inf if booked.high is None else booked.high, PLAIN.plain(booked.unit), booked.because)


def _had_to(expected: ExpectedVerdict) -> str:
    words = [str(expected.verdict)]
    if expected.reading is not None:
        words.append(f"{expected.reading} its limit")
    if expected.says:
        words.append(f"saying “{PLAIN.plain(expected.says)}”")
    return ", ".join(words)


def title_of(check: str, titles: Mapping[str, str]) -> str:
    """The title of a check, or of the one whose parameters it has."""
    plain = next((title for name, title in titles.items() if name.partition("[")[0] == check.partition("[")[0]), check)
    return titles.get(check, plain)


def mark_like(word: str, like: Verdict) -> Mark:
    """A word with the shape and colours of a verdict."""
    return Mark(word, slug(like), verdict_mark(like))
