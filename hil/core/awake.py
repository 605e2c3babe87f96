"""When a witness was asleep: the gaps between its controls that are longer than its control promises."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise


@dataclass(frozen=True, slots=True)
class Asleep:
    """A stretch in which a witness had no good control, in unit seconds; `woke`: it had one again after it.

    `why` says what kept it from seeing, where more is known than that there was no control.
    """

    begin_s: float
    end_s: float
    woke: bool = True
    why: str = ""

    def meets(self, begin_s: float, end_s: float) -> bool:
        """Whether it overlaps a window."""
        return self.begin_s < end_s and begin_s < self.end_s


def asleep(control_times_s: Iterable[float], begin_s: float, end_s: float, longest_gap_s: float) -> list[Asleep]:
    """Stretches of a window without a good control.

    Args:
        control_times_s: When the control was good, rising; may reach beyond the window.
        begin_s: Begin of the window.
        end_s: End of the window.
        longest_gap_s: The longest time between two controls that still proves the witness awake.

    Returns:
        Each gap longer than that, clipped to the window; the whole window where there was no control at all. A gap
        counts from the last control before the window, or to the first after it; where there is none, the window's own
        end stands for it.
    """
    times = list(control_times_s)
    if bisect_left(times, begin_s - longest_gap_s) == bisect_right(times, end_s + longest_gap_s):
        return [Asleep(begin_s, end_s, woke=False)]
    first, last = bisect_right(times, begin_s), bisect_left(times, end_s)
    before = times[:first][-1:] or [begin_s]
    after = times[last : last + 1] or [end_s]
    inside = times[first:last]
    ends_awake = last < len(times)
    gaps = ((a, b) for a, b in pairwise([*before, *inside, *after]) if b - a > longest_gap_s)
    clipped = (Asleep(max(a, begin_s), min(b, end_s), woke=ends_awake or b < end_s) for a, b in gaps)
    return [gap for gap in clipped if gap.end_s > gap.begin_s]


def first_within(gaps: Sequence[Asleep], begin_s: float, end_s: float) -> Asleep | None:
    """The first stretch that overlaps a window."""
    return next((gap for gap in gaps if gap.meets(begin_s, end_s)), None)
