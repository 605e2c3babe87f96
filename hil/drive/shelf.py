"""Where a run keeps the evidence of its legs, take by take, and why there is none."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import Enum, auto

from hil.core.errors import OurBug
from hil.core.outcomes import NotReached, Unjudged
from hil.evidence.leg_evidence import LegEvidence
from hil.evidence.views import Gate
from hil.evidence.window import Window
from hil.legs.leg import EvidenceShelf, Leg, LegCall


class Lack(Enum):
    """Why a leg has no evidence."""

    NOT_REACHED = auto()
    BENCH_BROKE = auto()


@dataclass
class _Entry:
    """Takes, and why there are no more; `whole` is how many stand in spite of that."""

    takes: list[LegEvidence] = field(default_factory=list)
    lack: tuple[Lack, str] | None = None
    whole: int = 0


class Shelf(EvidenceShelf):
    """Evidence by leg. `take` chooses which drive of a leg a check sees."""

    def __init__(self, calls: Sequence[LegCall]) -> None:
        """Prepare a place for each leg that may be wanted."""
        self.gate = Gate()
        self.take = 0
        self._calls = {(call.leg.name, repr(call.parameter)): call for call in calls}
        self._entries: dict[str, _Entry] = {}

    def put(self, call: LegCall, window: Window) -> None:
        """Put the evidence of one drive."""
        self._entries.setdefault(call.id, _Entry()).takes.append(LegEvidence(window, self.gate))

    def lack(self, call: LegCall, why: Lack, reason: str) -> None:
        """Say why a leg has no evidence from here on; what is put after that is not whole, and kept for the record."""
        entry = self._entries.setdefault(call.id, _Entry())
        if entry.lack is None:
            entry.lack, entry.whole = (why, reason), len(entry.takes)

    def takes_of(self, call: LegCall) -> int:
        """How often a leg was driven."""
        entry = self._entries.get(call.id)
        return len(entry.takes) if entry else 0

    def takes_to_judge(self, call: LegCall) -> int:
        """How many takes a check goes over: those driven, and the first one lacking of those declared."""
        driven = self.takes_of(call)
        is_short = self.lacks(call) and driven < call.leg.repeat
        return max(driven + is_short, 1)

    def lacks(self, call: LegCall) -> bool:
        """Whether it is settled that a leg has no evidence, or not all of it."""
        entry = self._entries.get(call.id)
        return bool(entry and entry.lack)

    def evidence(self, leg: Leg, parameter: object) -> "TakenEvidence":
        """What the fixture of a leg returns."""
        return TakenEvidence(self, self._calls[leg.name, repr(parameter)])

    def look_up(self, call: LegCall) -> LegEvidence:
        """The evidence of the chosen take.

        Raises:
            Unjudged: the bench broke before or in this take.
            NotReached: the unit never came to where the leg begins.
        """
        entry = self._entries.get(call.id)
        if entry is None:
            raise OurBug(f"A check asks for the leg {call.id}, which is neither driven nor given up.")
        if entry.lack is not None and self.take >= entry.whole:
            why, reason = entry.lack
            raise Unjudged(f"the bench broke: {reason}") if why is Lack.BENCH_BROKE else NotReached(reason)
        return entry.takes[min(self.take, len(entry.takes) - 1)]


class TakenEvidence:
    """Stands for the evidence of a leg, of whichever take is being judged."""

    def __init__(self, shelf: Shelf, call: LegCall) -> None:
        """Name the leg."""
        self._shelf = shelf
        self._call = call

    def __getattr__(self, name: str) -> object:
        """Hand on to the evidence of the chosen take."""
        return getattr(self._shelf.look_up(self._call), name)
