"""The page of a challenge: what a series of units whose right verdict is known says of the bench; one HTML file."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from hil.core.moments import Json
from hil.core.text import count
from hil.core.verdicts import Verdict
from hil.judge.challenged import Challenged, Outcome, Rate, Sums, never_caught, sums_of
from hil.sheet.challenge_units import PLAIN, UnitView, mark_like, name_parts, title_of, unit_view
from hil.sheet.check_views import Mark
from hil.sheet.front import Panel
from hil.sheet.html_sheet import rendered
from hil.sheet.wording import clock_time, sentence

MEANING = {
    Outcome.BY_INTENDED: "caught as intended: by every check meant for them",
    Outcome.IN_PART: "caught in part: by some of the checks meant for them",
    Outcome.BY_ANOTHER: "caught by another check only",
    Outcome.UNDECIDED: "undecided, and counted in no rate",
    Outcome.NO_RUN: "without a whole run, and counted in no rate",
}
WHAT_UNITS_ARE = (
    "Each known-bad unit carries one fault, put into the firmware on purpose, and its patch file states which checks must "
    "fail and on which side of their limits; a golden unit carries none and must pass. A unit whose fault comes only now and "
    "then is driven several times, and each of its checks must fail so in one run at least."
)
WHAT_MARKS_ARE = (
    "A tick stands beside a unit of which exactly the stated checks came out as stated and every other check passed; "
    "anything else has another mark, and says in what it differs."
)
WHAT_BOUNDS_ARE = (
    "A bound is the highest true rate at which a count so low still comes in one of twenty such series (Clopper and "
    "Pearson, one-sided, 95 %); it speaks of faults like these, which were chosen and not drawn by lot, and of a "
    "known-bad unit only the legs that concern its fault were driven."
)


LEGS, LEGS_BRIEF = "the legs of the checks meant for them", "the legs of the first check meant for each"


@dataclass(frozen=True, slots=True)
class Challenge:
    """A series: its units as far as they came to a result, the number `asked` for, and whether those are all there are.

    `titles` are those of the suite's checks, by name; `facts` what the record of one of the runs states. `brief`: of each
    known-bad unit only the legs of the first check that must fail were driven.
    """

    number: str
    began: str
    ended: str
    part: str
    profile: str
    units: tuple[Challenged, ...]
    asked: int
    all_units: bool
    titles: Mapping[str, str]
    facts: Mapping[str, Mapping[str, Json]]
    brief: bool = False

    @property
    def complete(self) -> bool:
        """Whether every unit asked for came to a result."""
        return _whole(self.units) == self.asked

    @property
    def tells_never(self) -> bool:
        """Whether it can be told which checks caught nothing."""
        return self.all_units and self.complete and not self.brief


@dataclass(frozen=True, slots=True)
class SumRow:
    """A line of the sums; `bound` is empty where none can be given."""

    what: str
    count: int
    of: str
    bound: str
    weighty: bool = False


@dataclass(frozen=True, slots=True)
class Page:
    """All that the page says, in its order."""

    number: str
    mark: Mark
    sentence: str
    notices: tuple[str, ...]
    how_to_read: tuple[str, ...]
    panels: tuple[Panel, ...]
    sums: tuple[SumRow, ...]
    bad: tuple[UnitView, ...]
    golden: tuple[UnitView, ...]
    never: tuple[tuple[str, str, str], ...]
    never_note: str


def _whole(units: Sequence[Challenged]) -> int:
    """How many came to a result."""
    return sum(unit.outcome is not Outcome.NO_RUN for unit in units)


def challenge_page(challenge: Challenge) -> str:
    """Render it."""
    return rendered("challenge.html.j2", ("sheet.css", "challenge.css"), page=build_page(challenge))


def build_page(challenge: Challenge) -> Page:
    """Put a series into words and pictures."""
    sums = sums_of(challenge.units)
    never = never_caught(challenge.units, challenge.titles) if challenge.tells_never else ()
    return Page(
        number=PLAIN.plain(challenge.number),
        mark=_mark_of_series(challenge),
        sentence=_sentence(challenge, sums),
        notices=tuple(_notices(challenge)),
        how_to_read=(WHAT_UNITS_ARE, WHAT_MARKS_ARE, WHAT_BOUNDS_ARE),
        panels=tuple(_panels(challenge)),
        sums=tuple(_sums(sums)),
        bad=tuple(unit_view(unit, challenge.titles) for unit in challenge.units if not unit.golden),
        golden=tuple(unit_view(unit, challenge.titles) for unit in challenge.units if unit.golden),
        never=tuple((PLAIN.plain(title_of(name, challenge.titles)), *name_parts(name)) for name in never),
        never_note=_never_note(challenge, len(never)),
    )


def _mark_of_series(challenge: Challenge) -> Mark:
    odd = {unit.outcome for unit in challenge.units if not unit.exact} - {Outcome.NO_RUN}
    if odd - {Outcome.UNDECIDED}:
        return mark_like("not as expected", Verdict.FAIL)
    if odd:
        return mark_like("undecided", Verdict.UNJUDGED)
    if not challenge.complete or not challenge.units:
        return mark_like("not complete", Verdict.UNJUDGED)
    return mark_like("as expected", Verdict.PASS)


def _sentence(challenge: Challenge, sums: Sums) -> str:
    parts = []
    if sums.bad:
        intended = sums.outcomes[Outcome.BY_INTENDED]
        parts.append(f"{intended} of {count(sums.bad, 'known-bad unit')} caught by the checks meant for them")
        more = sum(unit.outcome is Outcome.BY_INTENDED and not unit.exact for unit in challenge.units)
        if more:
            parts.append(f"{more} of these by others too, or not exactly as stated")
        parts.append(f"{sums.missed.count} missed")
    if sums.golden:
        alarms = count(sums.false_alarms.count, "false alarm")
        parts.append(f"{alarms} in {count(sums.false_alarms.of, 'golden run')}")
    lacking = challenge.asked - _whole(challenge.units)
    if lacking:
        parts.append(f"{lacking} of {count(challenge.asked, 'unit')} without a result")
    return f"{sentence(', '.join(parts))}."


def _notices(challenge: Challenge) -> Iterator[str]:
    if not challenge.complete:
        yield "The series did not come to its end: what is shown is what it has so far."
    if not challenge.all_units:
        part = f": part {PLAIN.plain(challenge.part)} of them" if challenge.part else ""
        yield f"Not all known units were asked for{part}."
    tools = {unit.driven.tool_revision for unit in challenge.units if unit.driven.tool_revision}
    if len(tools) > 1:
        yield f"The tool was changed while the series ran: {'; '.join(PLAIN.plain(tool) for tool in sorted(tools))}."
    if challenge.facts.get("bench", {}).get("kind") == "virtual":
        yield (
            "The bench is virtual: the units' firmware ran on a simulated board, before simulated air and lamp. What is "
            "proven is how the bench judges what its instruments give it, not the instruments of another bench."
        )


def _panels(challenge: Challenge) -> Iterator[Panel]:
    units, facts = challenge.units, challenge.facts
    bench, product, instruments = (facts.get(name, {}) for name in ("bench", "product", "instruments"))
    tools = dict.fromkeys(unit.driven.tool_revision for unit in units if unit.driven.tool_revision)
    runs, minutes = sum(unit.runs for unit in units), sum(unit.unit_time_s for unit in units) / 60.0
    yield Panel(
        "Series",
        (
            PLAIN.row("began", clock_time(challenge.began)),
            PLAIN.row("ended", clock_time(challenge.ended)),
            PLAIN.row("units", f"{_whole(units)} of {challenge.asked} with a result, in {count(runs, 'run')}"),
            PLAIN.row("unit time", f"{minutes:.0f} min"),
            PLAIN.row("golden units", f"{challenge.profile} profile"),
            PLAIN.row("known-bad units", LEGS_BRIEF if challenge.brief else LEGS),
        ),
    )
    yield Panel(
        "Tool", (PLAIN.row("revision", "; ".join(tools) if len(tools) < 2 else f"{len(tools)} of them, as above"),)
    )
    yield Panel(
        "Bench",
        (
            *(PLAIN.row(label, bench.get(label)) for label in ("name", "kind", "slot", "speed")),
            *(PLAIN.row(label, instruments[label]) for label in ("board",) if label in instruments),
            PLAIN.row("bench file", bench.get("sha256"), short=True),
        ),
    )
    yield Panel(
        "Product",
        (
            *(PLAIN.row(label, product.get(label)) for label in ("name", "model", "file")),
            PLAIN.row("product file", product.get("sha256"), short=True),
        ),
    )


def _sums(sums: Sums) -> Iterator[SumRow]:
    if sums.bad:
        for outcome in (Outcome.BY_INTENDED, Outcome.IN_PART, Outcome.BY_ANOTHER):
            yield SumRow(f"Known-bad units {MEANING[outcome]}", sums.outcomes[outcome], str(sums.bad), "")
        yield _rated("Known-bad units missed: the bench passed them", sums.missed)
    if sums.golden:
        yield _rated("False alarms: golden units that the bench failed", sums.false_alarms)
    for outcome in (Outcome.UNDECIDED, Outcome.NO_RUN):
        if sums.outcomes[outcome]:
            yield SumRow(f"Units {MEANING[outcome]}", sums.outcomes[outcome], str(sums.bad + sums.golden), "")
    yield _rated("Checks that failed with no fault before them, over all units", sums.unprovoked)


def _rated(what: str, rate: Rate) -> SumRow:
    bound = f"{rate.below_percent:.1f} %" if rate.of else "nothing decided"
    return SumRow(what, rate.count, str(rate.of), bound, weighty=True)


def _never_note(challenge: Challenge, number: int) -> str:
    if not challenge.tells_never:
        return "Not told: this needs a result of every unit there is, over all its legs."
    if not number:
        return "None: every check has caught a fault."
    they = "it" if number == 1 else "they"
    return f"{count(number, 'check')} failed on no known-bad unit as stated: that {they} can fail is not shown here."
