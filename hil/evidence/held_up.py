"""Stretches in which the bench's own machine held the bench up: what was late there may have been the bench's fault."""

from hil.core.awake import Asleep
from hil.evidence.window import Window

NOTICEABLE_S = 0.25  # unit seconds: no limit is tighter, and no stage or flash phase is told by less


def held_up(window: Window) -> list[Asleep]:
    """The noticeable stretches within a window, in order; none where the bench kept up all the time."""
    booked = window.record.by_kind.get(("bench", "held up"), ())
    stretches = [Asleep(moment.time_s, moment.time_s + moment.number("for_s", 0.0)) for moment in booked]
    return [
        stretch
        for stretch in stretches
        if stretch.end_s - stretch.begin_s >= NOTICEABLE_S and stretch.meets(window.begin_s, window.end_s)
    ]
