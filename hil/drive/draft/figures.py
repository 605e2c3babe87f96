"""Lamps, times and console of a watched unit, read from the evidence the watch left: the draft's figures."""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from math import ceil, floor, isfinite

from hil.core.moments import Moment
from hil.core.product import Bound, Console, Flash, Lamp, PromisedTimes, StageName
from hil.core.readings import Occurrence, Reading
from hil.drive.draft.draft import Draft, Proposal
from hil.drive.draft.form_told import tell_stored
from hil.drive.draft.lines import Said, readable, stage_patterns, start_pattern, version_pattern
from hil.drive.draft.status_told import tell_running_time
from hil.drive.draft.watch import ABSENT, CUT, FORM_AS_SHIPPED, PAGES, SAVED, SHIPPED, STATUS_FOUND, Watched
from hil.evidence.events import (
    Event,
    HotspotBeacon,
    HotspotGone,
    Leased,
    PowerOn,
    ProbeJoined,
    ProbeLeased,
    SettingsSaved,
    UnitSeeks,
    lamp_shows,
)
from hil.evidence.leg_evidence import LegEvidence
from hil.evidence.pages import Fetched
from hil.evidence.seen import Seen
from hil.evidence.views import Gate
from hil.lamp import OFF, Appearance, Look, looks

MARGIN = 1.25
LEAST_MARGIN_S = 0.5
ROUNDED_TO_S = 0.5
JUST_NOW_S = 1.5  # a look that reaches to this before the end of a part is the one it ended with
FORM_STORED = "form with settings"  # as the shipped leg calls it
MARGIN_RULE = (
    f"seen × {MARGIN:g}, at least {LEAST_MARGIN_S:g} s more, rounded up to {ROUNDED_TO_S:g} s "
    f"(a lower end: seen ÷ {MARGIN:g}, at least {LEAST_MARGIN_S:g} s less, rounded down)"
)
Find = Callable[[LegEvidence], Reading | Seen]


def tell_figures(watched: Watched, typed: Mapping[str, str], version: str) -> None:
    """Complete the draft from what was recorded."""
    draft = watched.draft
    _tell_lamps(watched)
    parts = {name: evidence for name in watched.spans_s if (evidence := _evidence(watched, name)) is not None}
    _tell_limits(draft, parts)
    if ABSENT in parts:
        tell_stored(draft, parts[ABSENT].pages, FORM_STORED, dict(typed))
    if SAVED in parts and draft.status is not None:
        tell_running_time(draft, _running_times(parts))
    _tell_console(draft, parts, version)


def _evidence(watched: Watched, name: str) -> LegEvidence | None:
    window = watched.window(name)
    return LegEvidence(window, Gate()) if window else None


def _tell_lamps(watched: Watched) -> None:
    """Name each look by the stage that the witnesses confirm at its time."""
    draft, seen = watched.draft, dict[StageName, Look | None]()
    for stage, evidence in _ends(watched):
        shown = looks(evidence.lamp.spans)
        seen[stage] = shown[-1] if shown and shown[-1].end_s > evidence.end_s - JUST_NOW_S else None
        if evidence.lamp.trouble:
            draft.note("stages", evidence.lamp.trouble)
    absent = _evidence(watched, ABSENT)
    if absent is not None:
        seen |= _way_to_setup(absent)
    for stage, look in seen.items():
        lamp = lamp_of(look.appearance) if look else None
        if lamp is not None:
            _take_lamp(draft, stage, lamp)


def _ends(watched: Watched) -> Iterator[tuple[StageName, LegEvidence]]:
    """The parts that ended in a stage that a witness confirms: its hotspot was heard; its lease was given."""
    shipped, saved = _evidence(watched, SHIPPED), _evidence(watched, SAVED)
    if shipped is not None and shipped.air.hotspot_beacons:
        yield "setup", shipped
    if saved is not None and saved.access_point.of_unit("leased"):
        yield "connected", saved


def _way_to_setup(absent: LegEvidence) -> dict[StageName, Look | None]:
    """Starting: from power on to the unit's first frame to a network. Joining: from there to the hotspot's beacon."""
    shown = looks(absent.lamp.spans)
    on = absent.power.last_on()
    seeks = absent.air.first(absent.air.unit_seeks, absent.begin_s)
    beacon = absent.air.first(absent.air.hotspot_beacons, absent.begin_s)
    if not (on.seen and seeks.seen and beacon.seen):
        return {}
    return {
        "starting": _longest(shown, on.latest_s, seeks.earliest_s),
        "joining": _longest(shown, seeks.latest_s, beacon.earliest_s),
    }


def _longest(shown: Sequence[Look], begin_s: float, end_s: float) -> Look | None:
    """The lit look shown for longest between two times."""
    inside = [(min(look.end_s, end_s) - max(look.begin_s, begin_s), look) for look in shown]
    lit = [pair for pair in inside if pair[0] > 0.0 and pair[1].appearance.colour != OFF]
    return max(lit, key=lambda pair: pair[0])[1] if lit else None


def _take_lamp(draft: Draft, stage: StageName, lamp: Lamp) -> None:
    other = next((name for name, known in draft.stages.items() if known == lamp), None)
    if other is None:
        draft.stages[stage] = lamp
    else:
        draft.ask(
            f"stages.{stage}", f"the lamp looked as in {other} ({lamp}): do the two differ, or is there one only?"
        )


def lamp_of(appearance: Appearance) -> Lamp:
    """As a product file says it."""
    if appearance.sequence:
        parts = [{"colour": _colour(colour), "for_s": seconds} for colour, seconds in appearance.sequence]
        return Lamp(sequence=tuple(Flash.model_validate(part) for part in parts))
    given: dict[str, object] = {"colour": _colour(appearance.colour)}
    if appearance.flash_hz is not None:
        given["flash_hz"] = appearance.flash_hz
        given |= {"duty": appearance.duty} if appearance.duty != Lamp.model_fields["duty"].default else {}
    return Lamp.model_validate(given)


def _colour(word: str) -> str:
    return "dark" if word == OFF else word


def _between(first: Event, then: Event) -> Find:
    return lambda evidence: evidence.between(first, then)


# Each limit: the parts it was seen in, how, and whether a product promises a lower end too.
_LIMITS: Mapping[str, tuple[tuple[tuple[str, Find], ...], bool]] = {
    "lamp_on_s": (tuple((part, _between(PowerOn, lamp_shows("starting"))) for part in (ABSENT, SHIPPED)), False),
    "joining_s": (((ABSENT, _between(PowerOn, UnitSeeks)),), False),
    "first_hotspot_s": (((SHIPPED, _between(PowerOn, HotspotBeacon)),), False),
    "gives_up_s": (((ABSENT, _between(UnitSeeks, lamp_shows("setup"))),), True),
    "hotspot_up_s": (((ABSENT, _between(PowerOn, HotspotBeacon)),), False),
    "lease_s": (((SHIPPED, _between(ProbeJoined, ProbeLeased)),), False),
    "first_octet_s": (((SHIPPED, lambda evidence: evidence.pages.first_octet(FORM_AS_SHIPPED)),), False),
    "restart_s": (((SAVED, _between(SettingsSaved, HotspotGone)),), False),
    "connected_s": (((SAVED, _between(HotspotGone, Leased)), (CUT, _between(PowerOn, Leased))), False),
}
_LAMP_STAGE = {"lamp_on_s": "starting", "gives_up_s": "setup"}


def _tell_limits(draft: Draft, parts: Mapping[str, LegEvidence]) -> None:
    for name, (sources, two_sided) in _LIMITS.items():
        known = (
            name not in _LAMP_STAGE or _LAMP_STAGE[name] in draft.stages
        )  # else the lamp's stage itself was not seen
        readings = [(part, find(parts[part])) for part, find in sources if known and part in parts]
        told = [(part, r) for part, r in readings if isinstance(r, Reading) and _tells(r, two_sided=two_sided)]
        if not told:
            is_needed = PromisedTimes.model_fields[name].is_required()
            rest = "what is promised? A product file needs it" if is_needed else "leave it out if nothing is promised"
            draft.ask(f"limits.{name}", f"not seen: {rest}")
            continue
        bound = proposed(min(r.low for _, r in told), max(r.high for _, r in told), two_sided=two_sided)
        asleep = [reading.because for _, reading in told if reading.because]
        if asleep:
            draft.ask(f"limits.{name}", f"is it less? {asleep[0]}")
        draft.limits[name] = Proposal(bound, "seen " + ", ".join(f"{reading} ({part})" for part, reading in told))


def _tells(reading: Reading, *, two_sided: bool) -> bool:
    """Whether a reading can make a limit: one of a witness that was asleep has an upper end at best."""
    return isfinite(reading.low) and isfinite(reading.high) and not (two_sided and reading.because)


def proposed(low_s: float, high_s: float, *, two_sided: bool) -> Bound:
    """A limit round what was seen, by the rule that the file states."""
    upper_s = ceil(max(high_s * MARGIN, high_s + LEAST_MARGIN_S) / ROUNDED_TO_S) * ROUNDED_TO_S
    lower_s = floor(min(low_s / MARGIN, low_s - LEAST_MARGIN_S) / ROUNDED_TO_S) * ROUNDED_TO_S
    return Bound(lower=max(lower_s, 0.0), upper=upper_s) if two_sided else Bound(upper=upper_s)


def _running_times(parts: Mapping[str, LegEvidence]) -> list[tuple[Fetched | None, Occurrence]]:
    """The status page each time it was fetched, with when the unit had started."""
    times: list[tuple[Fetched | None, Occurrence]] = []
    if PAGES in parts:
        saved = parts[SAVED]
        answered = saved.pages.answered_at("save")
        gone = saved.air.hotspot_gone(answered.earliest_s if answered.seen else saved.begin_s)
        times.append((parts[PAGES].pages.of(STATUS_FOUND), gone))
    if CUT in parts:
        times.append((parts[CUT].pages.of("status"), parts[CUT].power.last_on()))
    return times


def _own_texts(parts: Mapping[str, LegEvidence]) -> list[str]:
    """Texts of this unit or this run alone."""
    texts = []
    for evidence in parts.values():
        texts += [evidence.fact("unit", "serial number"), evidence.fact("unit", "radio address")]
        texts += [evidence.fact("trial", "network"), evidence.air.hotspot_name]
        texts += [evidence.access_point.leased_address or ""]
    return [text for text in dict.fromkeys(texts) if text]


def _tell_console(draft: Draft, parts: Mapping[str, LegEvidence], version: str) -> None:
    own = _own_texts(parts)
    starts = [_said(parts[name]) for name in (SHIPPED, CUT, ABSENT) if name in parts]
    lines = [line for said in starts for line in said.lines]
    if not lines:
        draft.console = Console(speaks=False)
        draft.ask("console.speaks", "nothing was heard: is the console silent, or is its port or rate another?")
        return
    if not readable(lines):
        draft.ask(
            "console.baud", f"much of what was heard at {draft.console.baud} baud is no text: is the rate another?"
        )
    pattern, usual = start_pattern(starts, draft.console.start)
    if not usual:
        draft.ask("console.start", "which pattern has the line that announces each start, and no other?")
    spoken = [Said(said.on_s, _but(said.lines, pattern)) for said in starts]
    told = version_pattern(lines, version)
    if told is None:
        draft.ask(
            "console.version", f"no line said {version!r}: leave it out where the console does not tell the version"
        )
    stages = stage_patterns(spoken, _begins(parts), own)
    draft.console = Console(baud=draft.console.baud, start=pattern or Console().start, version=told, stages=stages)
    draft.note(
        "console.start",
        f"seen: {sum(bool(re.search(draft.console.start, m.text('text'))) for m in lines)} times in {len(starts)} starts",
    )


def _said(evidence: LegEvidence) -> Said:
    on_s = evidence.power.last_on().earliest_s
    return Said(on_s, tuple(line for line in evidence.console.lines if line.time_s >= on_s))


def _but(lines: Sequence[Moment], pattern: str) -> tuple[Moment, ...]:
    return tuple(line for line in lines if not pattern or not re.search(pattern, line.text("text")))


def _begins(parts: Mapping[str, LegEvidence]) -> dict[StageName, list[float]]:
    """When witnesses saw each stage begin, in the parts with a power on of their own."""
    events: tuple[tuple[StageName, Event, tuple[str, ...]], ...] = (
        ("starting", PowerOn, (SHIPPED, CUT, ABSENT)),
        ("joining", UnitSeeks, (CUT, ABSENT)),
        ("setup", HotspotBeacon, (SHIPPED, ABSENT)),
        ("connected", Leased, (CUT,)),
    )
    found: dict[StageName, list[float]] = {}
    for stage, event, names in events:
        times = [event.find(parts[name], parts[name].begin_s) for name in names if name in parts]
        if seen := [time.earliest_s for time in times if time.seen]:
            found[stage] = seen
    return found
