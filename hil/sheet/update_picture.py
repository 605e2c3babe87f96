"""The picture of cuts while a unit was updated: how much of the image was sent, or what came later, and what started after."""

from collections.abc import Sequence

from hil.evidence.update_cuts import Started, UpdateCutOutcome, told_of_updates
from hil.sheet.drawing import Drawing
from hil.sheet.palette import FAIL_INK, INK, MUTED, PAPER

WIDTH, LEFT, RIGHT = 720.0, 96.0, 712.0
ROW, TOP, FOOT = 17.0, 8.0, 30.0
SIZE = 10.5
MARK = 3.6  # half a mark
SENDING_SHARE, GUTTER = 0.62, 26.0  # of the width for cuts while the image was sent; the rest is for later ones
ROWS = (
    (Started.OLD, "old version"),
    (Started.NEW, "new version"),
    (Started.SAME, "the one version"),
    (Started.NEITHER, "neither"),
    (Started.UNTOLD, "none seen"),
)


def update_picture(outcomes: Sequence[UpdateCutOutcome]) -> str:
    """Each cut by the share of the image that was sent, later ones by name, in the row of what started after it."""
    usual = (Started.OLD, Started.NEW)
    rows = [row for row in ROWS if row[0] in usual or any(outcome.started is row[0] for outcome in outcomes)]
    bottom = TOP + ROW * len(rows)
    drawing = Drawing(WIDTH, bottom + FOOT, f"cuts over the update: {told_of_updates(outcomes)}")
    middle = LEFT + SENDING_SHARE * (RIGHT - LEFT)
    _draw_scale(drawing, middle, bottom)
    heights = {started: TOP + ROW * (at + 0.5) for at, (started, _) in enumerate(rows)}
    for started, word in rows:
        drawing.text((4.0, heights[started] + 3.5), word, INK, size=SIZE)
    later = [outcome for outcome in outcomes if outcome.cut.share is None]
    for outcome in outcomes:
        if outcome.cut.share is not None:
            _mark(drawing, LEFT + outcome.cut.share * (middle - LEFT), heights[outcome.started], outcome)
    step = (RIGHT - middle - GUTTER) / max(len(later), 1)
    for at, outcome in enumerate(later):
        x = middle + GUTTER + step * (at + 0.5)
        _mark(drawing, x, heights[outcome.started], outcome)
        drawing.text((x, bottom + 13.0), outcome.cut.when, MUTED, size=SIZE - 1.5, anchor="middle")
    drawing.line((middle + GUTTER, bottom), (RIGHT, bottom), INK, thick=0.8)
    return str(drawing)


def _draw_scale(drawing: Drawing, middle: float, bottom: float) -> None:
    drawing.line((LEFT, bottom), (middle, bottom), INK, thick=0.8)
    for percent in range(0, 101, 20):
        x = LEFT + percent / 100.0 * (middle - LEFT)
        drawing.line((x, bottom), (x, bottom + 3.0), INK, thick=0.8)
        drawing.text((x, bottom + 13.0), f"{percent}", MUTED, size=SIZE - 1.0, anchor="middle")
    words = "per cent of the image sent at the cut"
    drawing.text(((LEFT + middle) / 2.0, bottom + 26.0), words, MUTED, size=SIZE - 1.0, anchor="middle")


def _mark(drawing: Drawing, x: float, y: float, outcome: UpdateCutOutcome) -> None:
    """A disc where all is as promised, hollow for the old version; else a cross."""
    if outcome.seen.holds:
        drawing.circle((x, y), MARK, PAPER if outcome.started is Started.OLD else INK, line=INK)
        return
    ink = FAIL_INK if outcome.seen.holds is False else MUTED
    drawing.path([(x - MARK, y - MARK), (x + MARK, y + MARK)], ink, thick=1.8)
    drawing.path([(x + MARK, y - MARK), (x - MARK, y + MARK)], ink, thick=1.8)
