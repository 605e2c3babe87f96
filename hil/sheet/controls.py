"""How the witnesses' controls went over the legs: the same views say it that the checks were judged by."""

from collections.abc import Callable, Iterable, Sequence
from typing import Protocol

from hil.core.awake import Asleep
from hil.core.run_folder import LegRecord
from hil.core.text import count
from hil.evidence.air import AirView
from hil.evidence.console import ConsoleView
from hil.evidence.lamp_by_eye import is_by_eye, lamp_of
from hil.evidence.power import PowerView
from hil.evidence.stations import AccessPointView
from hil.evidence.window import Record, Window
from hil.sheet.wording import Row

MOST_GAPS = 3
LEAST_GAP_S = 0.05  # a leg may be as short as nothing: a gap in it would read "48.7 to 48.7 s"


class Watched(Protocol):
    """A view that tells when its witness was asleep."""

    @property
    def asleep(self) -> list[Asleep]:
        """Stretches without a good control."""


CONTROLS: list[tuple[str, str, Callable[[Window], Watched]]] = [
    ("Power", "its state read back", PowerView),
    ("Access point", "its daemon answers, its beacon is heard", AccessPointView),
    ("Air monitor", "hears the bench’s own second network", AirView),
    ("Lamp camera", "sees the bench’s own lamp change", lamp_of),
    ("Console", "its port read, nothing lost, a line after each start", ConsoleView),
]


BY_EYE = "Lamp by eye", "they say after each leg that they saw all of it"


def control_rows(record: Record, legs: Sequence[LegRecord]) -> tuple[Row, ...]:
    """A line a witness: its control, and whether it was good over all legs or when it was not."""
    windows = [Window(leg.name, leg.begin_s, leg.end_s, record) for leg in legs]
    controls = [
        (*BY_EYE, view) if view is lamp_of and is_by_eye(record) else (name, told, view)
        for name, told, view in CONTROLS
    ]
    return tuple(
        Row(name, f"Control: {control}. {_told([view(window).asleep for window in windows])}")
        for name, control, view in controls
        if windows
    )


def _told(asleep_by_leg: Sequence[Iterable[Asleep]]) -> str:
    all_gaps = [(number, gap) for number, gaps in enumerate(asleep_by_leg, 1) for gap in gaps]
    gaps = [(number, gap) for number, gap in all_gaps if gap.end_s - gap.begin_s > LEAST_GAP_S]
    if not gaps:
        return f"Good throughout, {count(len(asleep_by_leg), 'leg')}."
    shown = [f"{gap.begin_s:.1f} to {gap.end_s:.1f} s (leg {number})" for number, gap in gaps[:MOST_GAPS]]
    more = f", and {len(gaps) - MOST_GAPS} more" if len(gaps) > MOST_GAPS else ""
    return f"Asleep {', '.join(shown)}{more}."
