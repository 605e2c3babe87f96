"""Which moments of a run go on which lane of the timeline picture."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from hil.core.moments import Moment
from hil.core.product import Product
from hil.evidence.console import ConsoleView
from hil.evidence.quiet_starts import signs_of_starts
from hil.evidence.resets import ResetsView
from hil.evidence.window import Record, Window

UNASKED = "not asked for"
DRAWN_ELSEWHERE = {"air", "console", "power", "leg", "stage", "ledger", "verdict"}
CONTROL_KINDS = {"answering", "switched", "started"}
USUAL = ("access point", "probe", "pages")


@dataclass(frozen=True, slots=True)
class Lane:
    """A named row of instants, in unit seconds; one without words is drawn as density."""

    name: str
    times_s: tuple[float, ...]
    words: tuple[str, ...] | None = None


def lanes_of(record: Record) -> list[Lane]:
    """All lanes but legs, power and lamp, which are stretches.

    The lanes of witnesses are kept when empty: that nothing was seen says something. A source that has no lane of its
    own gets one where it saw anything, so that nothing is lost.
    """
    moments, is_hotspot = record.moments, _hotspot_test(record.product)
    beacons = [m for m in moments if m.is_("air", "beacon")]
    shown = [m for m in moments if m.kind not in CONTROL_KINDS and m.source not in DRAWN_ELSEWHERE]
    others = sorted({m.source for m in shown} - set(USUAL))
    return [
        _dense("Hotspot beacons", [m for m in beacons if is_hotspot(m)]),
        _dense("Bench’s own beacons", [m for m in beacons if not is_hotspot(m)]),
        *(_worded(source, [m for m in shown if m.source == source]) for source in [*USUAL, *others]),
        _dense("Console (claims)", [m for m in moments if m.is_("console", "line")]),
        _starts(record),
    ]


def _hotspot_test(product: Product) -> Callable[[Moment], bool]:
    pattern = re.escape(product.hotspot.name).replace(re.escape("{address_tail}"), "[0-9a-fA-F]{4}")
    name = re.compile(pattern)
    return lambda moment: name.fullmatch(moment.text("name")) is not None


def _dense(name: str, found: Sequence[Moment]) -> Lane:
    return Lane(name, tuple(m.time_s for m in found))


def _worded(source: str, found: Sequence[Moment]) -> Lane:
    return Lane(source[:1].upper() + source[1:], tuple(m.time_s for m in found), tuple(m.kind for m in found))


def _starts(record: Record) -> Lane:
    """The ledger of resets over the whole run: each start that was heard, and who asked for it."""
    times = [m.time_s for m in record.moments] or [0.0]
    window = Window("the run", min(times), max(times), record)
    ledger = ResetsView(window, signs_of_starts(window, ConsoleView(window))).ledger
    words = tuple(line.asked_by or UNASKED for line in ledger)
    return Lane("Starts, asked for by", tuple(line.time_s for line in ledger), words)
