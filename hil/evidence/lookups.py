"""What came of the probe's questions for names on the hotspot."""

from collections.abc import Iterable
from dataclasses import dataclass
from math import inf

from hil.core.awake import first_within
from hil.core.moments import Moment
from hil.core.readings import Reading
from hil.evidence.gave_up import gave_up
from hil.evidence.seen import Seen, asleep_text
from hil.evidence.stations import ProbeView
from hil.evidence.window import Window

NO_ERROR = 0  # RFC 1035, 4.1.1


@dataclass(frozen=True)
class Lookup:
    """A question, and its outcome where one was recorded."""

    asked: Moment
    outcome: Moment | None

    @property
    def answered(self) -> bool:
        """Whether anything came back."""
        return self.outcome is not None and self.outcome.kind == "name answered"

    @property
    def trouble(self) -> str:
        """Why what came back is no good answer; empty where it is one."""
        if self.outcome is None:
            return "no outcome"
        if self.outcome.text("trouble"):
            return self.outcome.text("trouble")
        if self.outcome.data.get("matches") is not True:
            return "an answer to another question"
        status = self.outcome.number("status", -1.0)
        return "" if status == NO_ERROR else f"an answer with error {status:.0f}"

    @property
    def addresses(self) -> list[str]:
        """The addresses in the answer."""
        told = self.outcome.data.get("addresses") if self.outcome is not None else None
        return [str(address) for address in told] if isinstance(told, list) else []


class LookupsView:
    """The questions of a leg; of a name that was asked for several times, the last."""

    def __init__(self, window: Window, probe: ProbeView) -> None:
        """Read a leg."""
        self._window, self._probe = window, probe
        outcomes = {m.number("number"): m for m in window.of(probe.witness, "name answered", "name unanswered")}
        self._lookups = {
            (m.text("name"), m.text("type")): Lookup(m, outcomes.get(m.number("number")))
            for m in window.of(probe.witness, "asks for a name")
        }

    def lead_to(self, address: str, names: Iterable[str]) -> dict[str, Seen]:
        """Whether each name has that address, and no other."""
        return {name: self._judged(name, "A", [address]) for name in names}

    def say_nothing(self, name: str, kinds: Iterable[str]) -> dict[str, Seen]:
        """Whether a question of another kind is answered, and with no record: who is kept waiting for one shows no page."""
        return {kind: self._judged(name, kind, []) for kind in kinds}

    def times(self, asked: Iterable[tuple[str, str]]) -> dict[str, Reading | Seen]:
        """How long each answer took; the questions as name and kind."""
        return {f"{name}, {kind}": self._time(name, kind) for name, kind in asked}

    def _judged(self, name: str, kind: str, addresses: list[str]) -> Seen:
        lookup = self._outcome_of(name, kind)
        if isinstance(lookup, Seen):
            return lookup
        assert lookup.outcome is not None
        at_s = lookup.outcome.time_s
        if not lookup.answered:
            return Seen(False, "no answer", at_s)
        if lookup.trouble:
            return Seen(False, lookup.trouble, at_s)
        answers = int(lookup.outcome.number("answers", 0.0))
        told = ", ".join(lookup.addresses) or f"{answers} records"
        return Seen(lookup.addresses == addresses and (bool(addresses) or answers == 0), told, at_s)

    def _time(self, name: str, kind: str) -> Reading | Seen:
        lookup = self._outcome_of(name, kind)
        if isinstance(lookup, Seen):
            return lookup
        assert lookup.outcome is not None
        if not lookup.answered:
            return Reading(lookup.outcome.time_s - lookup.asked.time_s, inf, "s", at_s=lookup.asked.time_s)
        # What came late on the bench's own way makes the true time shorter, never longer.
        took_s = lookup.outcome.time_s - lookup.asked.time_s
        return Reading(max(took_s - lookup.outcome.doubt_s, 0.0), took_s, "s", at_s=lookup.asked.time_s)

    def _outcome_of(self, name: str, kind: str) -> Lookup | Seen:
        """A question with its outcome; else why there is none, where silence counts only from a probe that was awake."""
        lookup = self._lookups.get((name, kind))
        if lookup is None:
            return gave_up(self._window) or Seen.untold(f"{self._probe.witness}: no question for {name} was recorded")
        if lookup.outcome is None:
            return Seen.untold(f"{self._probe.witness}: what came of the question for {name} was not recorded")
        gap = first_within(self._probe.asleep, lookup.asked.time_s, lookup.outcome.time_s)
        if gap is not None and not lookup.answered:
            return Seen.untold(asleep_text(self._probe.witness, gap))
        return lookup


def lease_names(probe: ProbeView, address: str) -> dict[str, Seen]:
    """Whether the probe's lease told an address as router and as name server (options 3 and 6: RFC 2132, 3.5 and 3.8)."""
    lease = probe.leased()
    if lease is None:
        seen = probe.got_in()
        return {"router": seen, "name server": seen}
    return {
        "router": _told(lease, "router", address),
        "name server": _told(lease, "name_server", address),
    }


def _told(lease: Moment, key: str, address: str) -> Seen:
    told = lease.text(key)
    return Seen(told == address, told or "none told", lease.time_s)
