"""Pictures of what was tried many times in a leg: cuts over a save, and starts by what began them."""

from collections.abc import Sequence
from math import ceil, floor, isfinite, log10

from hil.core.product import Product
from hil.core.readings import Reading
from hil.evidence.console import ConsoleView
from hil.evidence.pages import PagesView
from hil.evidence.power import PowerView
from hil.evidence.quiet_starts import signs_of_starts
from hil.evidence.resets import ResetsView
from hil.evidence.save_cuts import CutOutcome, Held, SaveCutsView, stored_texts, told_of
from hil.evidence.seen import Seen
from hil.evidence.starts import StartsView
from hil.evidence.stations import AccessPointView
from hil.evidence.update_cuts import UpdateCutsView, told_of_updates
from hil.evidence.views import Gate, Views
from hil.evidence.window import Record, Window
from hil.judge.statistics import spread_statement
from hil.sheet.drawing import Drawing
from hil.sheet.palette import ALLOWED, FAIL_INK, INK, MUTED, PAPER, RULE
from hil.sheet.update_picture import update_picture

WIDTH, LEFT, RIGHT = 720.0, 96.0, 712.0
ROW, TOP, FOOT = 17.0, 14.0, 30.0
SIZE = 10.5
MARK, TICK = 3.6, 75.0  # half a mark; the least room from one tick to the next
CLOSE_SHARE, GUTTER = 0.68, 26.0  # of the width for cuts about the answer; the rest is for later ones
BEYOND = 2.0  # cuts up to so many times the answer's time are about the answer
HALF_LABEL = 70.0  # of the answer's
ROWS = ((Held.OLD, "old settings"), (Held.NEW, "new settings"), (Held.NEITHER, "neither"), (Held.UNTOLD, "not told"))


def tries_pictures(record: Record, leg: str, begin_s: float, end_s: float) -> list[tuple[str, str]]:
    """Caption and picture of each set of tries in a drive of a leg; none where it tried nothing many times."""
    window = Window(leg, begin_s, end_s, record)
    access_point, power = AccessPointView(window), PowerView(window)
    cuts = SaveCutsView(window, PagesView(window), access_point, power, record.product)
    starts = StartsView(window, access_point)
    found = []
    if cuts.cuts:
        outcomes = cuts.outcomes(stored_texts(record.product, record.trial_values))
        found.append((f"Cuts over the save. {told_of(outcomes)}", cuts_picture(outcomes, cuts.answer_s())))
    updates = UpdateCutsView(Views(window, Gate()))
    if updates.cuts:
        found.append(
            (f"Cuts over the update. {told_of_updates(updates.outcomes())}", update_picture(updates.outcomes()))
        )
    if starts.starts:
        console = ConsoleView(window)
        by_kind = {
            "power": starts.by_power(power),
            "reset line": starts.by_reset_line(console),
            "software": starts.by_software(ResetsView(window, signs_of_starts(window, console))),
        }
        drawn = {kind: list(timed.values()) for kind, timed in by_kind.items() if timed}
        found.append(("Time from each start to an address, by what began it", starts_picture(drawn, record.product)))
    return found


class _Panel:
    """A stretch of the picture with a time scale of its own."""

    def __init__(
        self, drawing: Drawing, left: float, right: float, begin_s: float, end_s: float, bottom: float
    ) -> None:
        self._drawing, self._left, self._right = drawing, left, right
        self._begin_s, self._end_s = begin_s, max(end_s, begin_s + 1e-3)
        self._bottom = bottom
        drawing.line((left, bottom), (right, bottom), INK, thick=0.8)
        step = _nice_step((self._end_s - self._begin_s) * TICK / (right - left))
        for count in range(ceil(self._begin_s / step - 1e-9), floor(self._end_s / step + 1e-9) + 1):
            x = self.x(count * step)
            drawing.line((x, bottom), (x, bottom + 3.0), INK, thick=0.8)
            drawing.text((x, bottom + 13.0), f"{count * step:g}", MUTED, size=SIZE - 1.0, anchor="middle")

    def x(self, time_s: float) -> float:
        share = (time_s - self._begin_s) / (self._end_s - self._begin_s)
        return self._left + (self._right - self._left) * min(1.0, max(0.0, share))

    def holds(self, time_s: float) -> bool:
        return self._begin_s <= time_s <= self._end_s


def _nice_step(rough: float) -> float:
    """The next round step."""
    power = 10.0 ** floor(log10(rough))
    return next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= rough)


def cuts_picture(outcomes: Sequence[CutOutcome], answer_s: float | None) -> str:
    """Each cut by its time since the request was sent, in the row of what was held after it."""
    placed = [(o, o.since_sent_s) for o in outcomes if o.since_sent_s is not None and isfinite(o.since_sent_s)]
    rows = [row for row in ROWS if row[0] in (Held.OLD, Held.NEW) or any(o.held is row[0] for o, _ in placed)]
    bottom = TOP + ROW * len(rows)
    drawing = Drawing(WIDTH, bottom + FOOT, f"cuts over the save: {told_of(outcomes)}")
    times_s = [time_s for _, time_s in placed] or [0.0]
    edge_s = min(max(BEYOND * answer_s if answer_s else max(times_s), 1e-3), max(*times_s, 1e-3))
    middle = LEFT + CLOSE_SHARE * (RIGHT - LEFT)
    lone = max(times_s) <= edge_s
    panels = [_Panel(drawing, LEFT, RIGHT if lone else middle, min(0.0, *times_s), edge_s, bottom)]
    if not lone:
        panels.append(_Panel(drawing, middle + GUTTER, RIGHT, edge_s, max(times_s), bottom))
    if answer_s is not None and panels[0].holds(answer_s):
        x = panels[0].x(answer_s)
        drawing.line((x, TOP - 3.0), (x, bottom), MUTED, dashes="3 2")
        room = "middle" if x < RIGHT - HALF_LABEL else "end"
        drawing.text((x, TOP - 5.0), "answer to a save without a cut", MUTED, size=SIZE - 1.5, anchor=room)
    for at, (held, word) in enumerate(rows):
        y = TOP + ROW * (at + 0.5)
        drawing.text((4.0, y + 3.5), word, INK, size=SIZE)
        for time_s in (time_s for outcome, time_s in placed if outcome.held is held):
            panel = next((panel for panel in panels if panel.holds(time_s)), panels[-1])
            _mark(drawing, panel.x(time_s), y, held)
    drawing.text(
        ((LEFT + RIGHT) / 2.0, bottom + 26.0),
        "seconds from sending to the cut",
        MUTED,
        size=SIZE - 1.0,
        anchor="middle",
    )
    return str(drawing)


def _mark(drawing: Drawing, x: float, y: float, held: Held) -> None:
    if held in (Held.OLD, Held.NEW):
        drawing.circle((x, y), MARK, PAPER if held is Held.OLD else INK, line=INK)
        return
    ink = FAIL_INK if held is Held.NEITHER else MUTED
    drawing.path([(x - MARK, y - MARK), (x + MARK, y + MARK)], ink, thick=1.8)
    drawing.path([(x + MARK, y - MARK), (x - MARK, y + MARK)], ink, thick=1.8)


def starts_picture(by_kind: dict[str, list[Reading | Seen]], product: Product) -> str:
    """Each start's time to an address, a row for each kind with its figures; one that never ended is a cross at the right."""
    limit_s = product.limits.connected_s.upper or product.limits.connected_s.lower or 1.0
    timed = {kind: [r for r in all_ if isinstance(r, Reading)] for kind, all_ in by_kind.items()}
    end_s = max([1.1 * limit_s, *(1.05 * r.value for rs in timed.values() for r in rs if r.value is not None)])
    bottom = TOP + 2.0 * ROW * len(by_kind)
    drawing = Drawing(WIDTH, bottom + FOOT, "time from start to address, by what began it")
    panel = _Panel(drawing, LEFT, RIGHT, 0.0, end_s, bottom)
    drawing.rectangle(panel.x(0.0), TOP - 3.0, panel.x(limit_s) - panel.x(0.0), bottom - TOP + 3.0, ALLOWED)
    drawing.line((panel.x(limit_s), TOP - 3.0), (panel.x(limit_s), bottom), INK, thick=1.6)
    for at, (kind, readings) in enumerate(by_kind.items()):
        top = TOP + 2.0 * ROW * at
        if at:
            drawing.line((4.0, top - 3.0), (RIGHT, top - 3.0), RULE, thick=0.6)
        drawing.text((4.0, top + 12.0), kind, INK, size=SIZE)
        drawing.text((LEFT + 4.0, top + 10.0), _figures(readings, timed[kind]), INK, size=SIZE - 1.0)
        _draw_times(drawing, panel, timed[kind], top + 16.0)
    drawing.text(
        ((LEFT + RIGHT) / 2.0, bottom + 26.0),
        "seconds from start to address; pale: allowed",
        MUTED,
        size=SIZE - 1.0,
        anchor="middle",
    )
    return str(drawing)


def _draw_times(drawing: Drawing, panel: _Panel, readings: Sequence[Reading], top: float) -> None:
    """A dot a time, crosses from the right for those that never ended; in three heights, so that equal times stay countable."""
    never = 0
    for number, reading in enumerate(readings):
        y = top + 4.5 * (number % 3)
        if reading.value is not None:
            drawing.circle((panel.x(reading.value), y), MARK - 1.4, INK)
        else:
            x = RIGHT - MARK - 2.6 * MARK * never
            _mark(drawing, x, top + 4.5, Held.UNTOLD if reading.because else Held.NEITHER)
            never += 1


def _figures(all_: Sequence[Reading | Seen], timed: Sequence[Reading]) -> str:
    closed = [reading for reading in timed if reading.value is not None]
    untimed = f"{len(all_) - len(closed)} without a time" if len(closed) < len(all_) else ""
    figures = spread_statement(closed).replace(f"of {len(closed)}:", f"{len(closed)} starts:", 1)
    return "; ".join(part for part in (figures, untimed) if part)
