"""What the sheet says of the lamp camera as a measuring instrument: the colours it saw, their doubt, how far they lie apart."""

from collections.abc import Sequence
from dataclasses import dataclass

from hil.core.run_folder import LegRecord
from hil.core.text import count
from hil.evidence.lamp_by_eye import is_by_eye
from hil.evidence.lamp_colours import ColourSeen, LampColours, colours_seen, stages_by_colour
from hil.evidence.window import Record
from hil.sheet.colour_picture import colour_picture
from hil.sheet.wording import Row


@dataclass(frozen=True, slots=True)
class ColoursPart:
    """The diagram, empty where no colour was seen, and what stands beside it."""

    picture: str
    rows: tuple[Row, ...]


def colours_part(record: Record, legs: Sequence[LegRecord]) -> ColoursPart:
    """Put the colours of a run into a picture and words."""
    if not legs:
        return ColoursPart("", ())
    found = colours_seen(record, min(leg.begin_s for leg in legs), max(leg.end_s for leg in legs))
    promised = stages_by_colour(record.product)
    rows = [Row(one.word.capitalize(), _told(one, promised.get(one.word, ()))) for one in found.seen]
    if is_by_eye(record):
        rows.append(Row("Not measured", "A person looked at the lamp, and named its looks."))
    elif found.reason:
        rows.append(Row("Not measured", f"{found.reason}."))
    elif found.lit:
        rows.append(Row("All", f"{_all(found)} {_apart(found)}".rstrip()))
    return ColoursPart(colour_picture(found.seen, promised) if found.seen else "", tuple(rows))


def _told(one: ColourSeen, stages: Sequence[str]) -> str:
    promised = f"Promised for {', '.join(stages)}" if stages else "Not promised"
    u, v = one.middle
    seen = f"seen in {count(one.frames, 'frame')} at u′ {u:.3f}, v′ {v:.3f}"
    return f"{promised}; {seen}. A frame’s own doubt ± {one.doubt:.3f}; frames scatter by ± {one.scatter:.3f}."


def _all(found: LampColours) -> str:
    untold = f"{found.untold} of them showed none that could be told" if found.untold else "each showed a colour"
    return f"{count(found.lit, 'lit frame')} from all over the legs, {untold}. CIE 1976 u′v′, doubts at 95 %."


def _apart(found: LampColours) -> str:
    near = found.apart()
    if near is None:
        return ""
    one, other, distance, times = near
    return f"Nearest to each other: {one} and {other}, {distance:.3f} apart, {times:.1f} times the doubt and scatter of both."
