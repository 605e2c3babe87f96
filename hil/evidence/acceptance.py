"""A finding that the product file accepts by name passes by that alone, and says so; for as long as it is accepted."""

from dataclasses import replace

from hil.core.accepted import day_of, named_finding
from hil.core.errors import OurBug
from hil.evidence.seen import Seen
from hil.evidence.window import Record


def named(seen: Seen, name: str, record: Record) -> Seen:
    """What was seen, with the provision it goes against where it does not hold, and its acceptance where there is one.

    Held against the day on which the run began, whenever it is judged.

    Raises:
        OurBug: no finding is called so.
    """
    finding = named_finding(name)
    if finding is None:
        raise OurBug(f"A check names the finding {name!r}, which nobody could accept.")
    if seen.holds is not False:
        return seen
    given = record.product.accepted.get(name)
    if given is None:
        return replace(seen, text=f"{seen.text}, {finding.against}")
    if given.holds_on(day_of(record.began)):
        said = f"accepted until {given.until} by {given.by}: {given.reason}"
        return replace(seen, holds=True, text=f"{seen.text}; {said}; {finding.against}", accepted=name)
    began = record.began[:10] or "at no stated time"
    said = f"accepted by {given.by} until {given.until} only, and this run began {began}"
    return replace(seen, text=f"{seen.text}; {said}; {finding.against}")
