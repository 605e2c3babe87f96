"""What evidence says of a promise: it holds, it does not, or a witness was asleep and nobody can say.

A `Seen` with `holds=None` is a result that could not be had, with its reason; one that is not `promised` judges nothing.
The judge alone turns it into a verdict. `accepted` names the finding that a product file accepts: it holds by that alone.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from hil.core.awake import Asleep, first_within
from hil.core.moments import Moment
from hil.core.readings import Occurrence
from hil.core.text import count
from hil.lamp.bench_lamp import TOO_REGULAR


@dataclass(frozen=True, slots=True)
class Seen:
    """Whether something holds, in words what was seen, and where on the timeline."""

    holds: bool | None
    text: str
    at_s: float | None = None
    promised: bool = True
    accepted: str = ""

    @classmethod
    def not_promised(cls) -> "Seen":
        """The product file promises nothing of the kind: there is nothing to judge."""
        return cls(None, "not promised by the product file", promised=False)

    @classmethod
    def untold(cls, reason: str) -> "Seen":
        """Nobody can say, for a reason that names the witness."""
        return cls(None, reason)


def absent(found: Sequence[Moment], describe: str, gaps: Sequence[Asleep], witness: str) -> Seen:
    """Judge an absence: anything found breaks it; else the witness must have been awake all the time.

    Args:
        found: What should not be there.
        describe: What such a moment is called, in words.
        gaps: When the witness was asleep.
        witness: Its name.
    """
    if found:
        return Seen(
            False, f"{describe}, {count(len(found), 'time')}, first at {found[0].time_s:.2f} s", found[0].time_s
        )
    if gaps:
        return Seen.untold(asleep_text(witness, gaps[0]))
    return Seen(True, f"no {describe}")


def asleep_text(witness: str, gap: Asleep) -> str:
    """Why a witness cannot speak for a stretch, and whether it could again later."""
    until = f"to {gap.end_s:.1f} s" if gap.woke else "on"
    return f"{witness} asleep from {gap.begin_s:.1f} s {until}" + (f": {gap.why}" if gap.why else "")


def tells_of_sleep(reason: str) -> bool:
    """Whether a reason is a witness that slept."""
    return " asleep " in reason


def worth_another_take(reason: str) -> bool:
    """Whether a reason is one that chance gave: a witness that slept for a while, or a rhythm that told no delay."""
    return re.search(r" asleep from \S+ s to ", reason) is not None or TOO_REGULAR in reason


def first_seen(
    moments: Iterable[Moment], after_s: float, until_s: float, gaps: Sequence[Asleep], witness: str
) -> Occurrence:
    """When the first of some moments was, allowing for a witness that was asleep before it.

    Args:
        moments: Candidates in order of time.
        after_s: Only those from here on count.
        until_s: How long the bench watched.
        gaps: When the witness was asleep.
        witness: Its name.

    Returns:
        The moment's time and doubt where the witness was awake up to it; an interval from the beginning of its sleep
        where it was not; "not before the end of the watch" where nothing came and it was awake throughout.
    """
    first = next((m for m in moments if m.time_s >= after_s - m.doubt_s), None)
    gap = first_within(gaps, after_s, first.time_s if first else until_s)
    if first is None:
        return Occurrence.not_before(gap.begin_s if gap else until_s, asleep_text(witness, gap) if gap else "")
    if gap is None:
        return Occurrence.at(first.time_s, first.doubt_s)
    return Occurrence(gap.begin_s, first.time_s + first.doubt_s, measured=False, because=asleep_text(witness, gap))
