"""The course of a leg: the few steps that tell what happened, in order, for a comparison with another drive of that leg.

Significant steps alone: the supply, starts and stages told on the console, the hotspot on the air, joins and leases, the
lamp's stages, each page asked for. No counters, no repetitions. It tells what instruments saw, and makes no verdict: whether
an instrument was awake is not asked here.
"""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf, isfinite

from hil.core.moments import Moment
from hil.evidence.lamp import LEAST_TELLING_S
from hil.evidence.lamp_by_eye import lamp_of
from hil.evidence.window import Window
from hil.page.loads import kind_of_load

QUIET_S = 1.5  # without a beacon for so long, a network was gone: some fifteen beacons at the usual interval
CUT_SOON_S = 0.5
LEAST_SURE_S = 1.5 * LEAST_TELLING_S  # a stage that the lamp shows for hardly longer than it takes to tell it
BENCH_DID = {
    ("power", "on"): "supply on",
    ("power", "off"): "supply off",
    ("console", "reset line released"): "reset line let go",
    ("access point", "up"): "network on the air",
    ("access point", "down"): "network off the air",
}
START = "start of the chip"
UNIT_DID = {
    ("access point", "joined"): "join to the network",
    ("access point", "leased"): "address given to the unit",
    ("access point", "left"): "farewell to the network",
    ("access point", "wrong key"): "join with a wrong key",
    ("probe", "joined"): "joining of the hotspot by the probe",
    ("probe", "leased"): "address given to the probe",
    ("probe", "left"): "leaving of the hotspot by the probe",
    ("probe", "join failed"): "failure of the probe to join",
}
FIRST_FRAMES = {
    ("air", "seeks"): "first frame to look for a network",
    ("air", "authenticates"): "first frame to join a network",
}


@dataclass(frozen=True, slots=True)
class Step:
    """One step: what it is, in a noun; seconds since the leg began; how a page was answered.

    `turn` tells it from others of those words: the start of the leg it comes after, and which it is since then. Words and
    turn are the same in every drive of the leg, so that they pair steps off. One that is not `sure` may be missed by chance;
    a `claim` is what the unit says of itself.
    """

    words: str
    time_s: float
    doubt_s: float = 0.0
    outcome: str = ""
    sure: bool = True
    claim: bool = False
    turn: tuple[int, int] = (0, 0)


def course_of(window: Window) -> tuple[Step, ...]:
    """The steps of a leg, in order of time."""
    steps = [
        *_told_by_instruments(window),
        *_told_on_console(window),
        *_hotspot(window),
        *_lamp(window),
        *_pages(window),
    ]
    return tuple(_in_turn(sorted(steps, key=lambda step: step.time_s)))


def _in_turn(steps: Iterable[Step]) -> Iterator[Step]:
    """The same with their turns."""
    over_all, since = Counter[str](), Counter[str]()
    for step in steps:
        over_all[step.words] += 1
        if step.words == START:
            since.clear()
        since[step.words] += 1
        of_all = step.words in (START, *BENCH_DID.values())
        yield replace(step, turn=(0, over_all[step.words]) if of_all else (over_all[START], since[step.words]))


def _step(window: Window, words: str, moment: Moment, outcome: str = "") -> Step:
    return Step(words, moment.time_s - window.begin_s, moment.doubt_s, outcome)


def _told_by_instruments(window: Window) -> Iterator[Step]:
    """Switchings, joins and leases; of the unit's frames the first of each kind."""
    address = window.record.fact("unit", "radio address").lower()
    for (source, kind), words in (BENCH_DID | UNIT_DID).items():
        for moment in window.of(source, kind):
            stranger = source == "access point" and (source, kind) in UNIT_DID and not _is(moment, "address", address)
            if not stranger:
                yield _step(window, words, moment)
    # Looks for a network from the hotspot come at any time: those after a start alone have their place.
    started_s = next((moment.time_s for moment in window.of("power", "on")), inf)
    for (source, kind), words in FIRST_FRAMES.items():
        frames = (m for m in window.of(source, kind) if _is(m, "from", address) and m.time_s > started_s)
        for moment in list(frames)[:1]:
            yield _step(window, words, moment)


def _is(moment: Moment, key: str, address: str) -> bool:
    return moment.text(key).lower() == address


def _told_on_console(window: Window) -> Iterator[Step]:
    """Starts of the chip and stages, as the unit itself tells them."""
    console = window.record.product.console
    patterns = {START: console.start, **{f"stage {s} on the console": p for s, p in console.stages.items()}}
    for moment in window.of("console", "line"):
        for words, pattern in patterns.items():
            if re.search(pattern, moment.text("text")):
                yield replace(_step(window, words, moment), claim=words != START)


def _hotspot(window: Window) -> Iterator[Step]:
    """When the unit's own network came on the air and fell silent."""
    name = window.record.hotspot_name
    beacons = [m for m in window.part_of(window.record.fresh_beacons, QUIET_S) if m.data.get("name") == name]
    for before, moment in zip([None, *beacons], [*beacons, None], strict=True):
        quiet = before is None or moment is None or moment.time_s - before.time_s > QUIET_S
        if quiet and moment is not None and window.begin_s < moment.time_s < window.end_s:
            yield _step(window, "hotspot on the air", moment)
        if quiet and before is not None and window.begin_s < before.time_s < window.end_s - QUIET_S:
            yield _step(window, "hotspot silent", before)


def _lamp(window: Window) -> Iterator[Step]:
    """Stages that the lamp showed, as camera or person saw them begin."""
    shown = ""
    for span in lamp_of(window).stages:
        known = span.stage in window.record.product.stages
        if known and span.stage != shown and isfinite(span.begin_doubt_s) and span.begin_s > window.begin_s:
            begin_s, sure = span.begin_s - window.begin_s, span.end_s - span.begin_s > LEAST_SURE_S
            yield Step(f"lamp in stage {span.stage}", begin_s, span.begin_doubt_s, sure=sure)
        shown = span.stage if known else shown


def _pages(window: Window) -> Iterator[Step]:
    """The first request for each purpose, and the best that came of it in all its tries: an answer, and of the lowest status."""
    kinds = sorted({kind for source, kind in window.record.by_kind if source == "pages"})
    tries: dict[str, list[Moment]] = {}
    for moment in sorted(window.of("pages", *kinds) if kinds else (), key=lambda m: m.time_s):
        if not kind_of_load(moment.text("purpose")):
            tries.setdefault(moment.text("purpose"), []).append(moment)
        elif moment.kind not in ("answered", "hung up"):  # of many loads alike, those that came to nothing
            yield _step(window, "load without an answer", moment, moment.kind)
    cuts_s = [moment.time_s for moment in window.of("power", "off")]
    for purpose, moments in tries.items():
        outcomes = [_outcome(moment, tries) for moment in moments if not _was_cut(moment, cuts_s)]
        yield _step(window, f"request for the {purpose}", moments[0], min(outcomes, default=""))


def _outcome(moment: Moment, tries: Mapping[str, Sequence[Moment]]) -> str:
    """What came of a request; of one beside others, which of them gets which status is chance."""
    others = (other for purpose, moments in tries.items() if purpose != moment.text("purpose") for other in moments)
    if moment.kind != "answered" or any(_overlap(moment, other) for other in others):
        return moment.kind
    return f"answered with status {moment.text('status')}"


def _overlap(one: Moment, other: Moment) -> bool:
    return one.time_s < _end_s(other) and other.time_s < _end_s(one)


def _end_s(request: Moment) -> float:
    return request.time_s + request.number("total_s", 0.0)


def _was_cut(moment: Moment, cuts_s: Sequence[float]) -> bool:
    """Whether the bench cut the supply while the answer was under way: chance says then what came of it."""
    return any(moment.time_s - CUT_SOON_S <= cut_s <= _end_s(moment) + CUT_SOON_S for cut_s in cuts_s)
