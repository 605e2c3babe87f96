"""The time since start that a unit states, held against the bench's clock: a restart it hides makes it too short."""

import re

from hil.core.moments import Moment
from hil.core.readings import Occurrence
from hil.evidence.seen import Seen

WHOLE_SECOND_S = 1.0  # a page may state whole seconds, rounded either way
START_S = 1.5  # the supply is on a little before the program counts
CLOCK_SHARE = 0.01  # a unit's own clock may be off by this share; common practice, no source


def compare_running_time(stated: str, page: Moment, began: Occurrence) -> Seen:
    """Compare; the first number stated counts as seconds."""
    number = re.search(r"\d+(?:\.\d+)?", stated)
    if number is None:
        return Seen(False, f"states {stated!r}, no number of seconds", page.time_s)
    said_s = float(number.group())
    longest_s = page.time_s + page.number("total_s", 0.0) - began.earliest_s
    shortest_s = page.time_s - began.latest_s
    room_s = WHOLE_SECOND_S + CLOCK_SHARE * longest_s
    agrees = shortest_s - room_s - START_S <= said_s <= longest_s + room_s
    text = f"states {said_s:g} s, by our clock {shortest_s:.1f} to {longest_s:.1f} s"
    return Seen(agrees, text, page.time_s)
