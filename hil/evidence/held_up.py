"""Stretches in which the bench's own machine held the bench up: what was late there may have been the bench's fault."""

from hil.core.awake import Asleep
from hil.evidence.window import Window

NOTICEABLE_S = 0.3  # unit seconds; every limit leaves more room, and no stage or flash phase is told by less


def held_up(window: Window) -> Asleep | None:
    """The first noticeable stretch within a window; None where the bench kept up all the time."""
    for moment in window.record.by_kind.get(("bench", "held up"), ()):
        stretch = Asleep(moment.time_s, moment.time_s + moment.number("for_s", 0.0))
        if stretch.end_s - stretch.begin_s >= NOTICEABLE_S and stretch.meets(window.begin_s, window.end_s):
            return stretch
    return None
