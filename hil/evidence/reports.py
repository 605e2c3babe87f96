"""What came of a unit's reports while their receiver answered, was silent, or refused; and what became of its lease meanwhile."""

from dataclasses import dataclass
from functools import cached_property

from hil.core.leases import USUAL_S, renewal
from hil.core.moments import Moment
from hil.core.product import Bound
from hil.core.readings import Occurrence, Reading, between
from hil.evidence.gave_up import cut_short
from hil.evidence.seen import Seen, absent, asleep_text, first_seen
from hil.evidence.stations import AccessPointView
from hil.evidence.window import Window, occurrence

BEARER = "Bearer "  # RFC 6750, 2.1


@dataclass(frozen=True, slots=True)
class Phase:
    """A stretch in which reports were taken in one manner."""

    manner: str
    begin: Moment
    end_s: float


class ReportsView:
    """The reports of a leg, as the bench's access point took them."""

    def __init__(self, window: Window, access_point: AccessPointView) -> None:
        """Read a leg and its access point, which the caller opens."""
        self._window, self._access_point = window, access_point

    @cached_property
    def phases(self) -> list[Phase]:
        """The manners in which reports were taken, one after another."""
        begun = self._window.of("access point", "takes reports")
        ends_s = [*(m.time_s for m in begun[1:]), self._window.end_s]
        return [Phase(m.text("manner"), m, end_s) for m, end_s in zip(begun, ends_s, strict=False)]

    def first(self) -> Reading | Seen:
        """From the unit's address to its first report."""
        leased = self._access_point.first("leased", self._window.begin_s)
        if not leased.seen:
            return Seen.untold(leased.because) if leased.because else Seen(False, "no address was ever given")
        until_s = self.phases[0].end_s if self.phases else self._window.end_s
        return between(leased, self._first_after(leased.earliest_s, until_s))

    def again(self) -> Reading | Seen:
        """From when the receiver answered again to the next report."""
        answering = [phase for phase in self.phases if phase.manner == "answers"]
        if len(answering) < 2:
            return self._untold()
        phase = answering[-1]
        return between(occurrence(phase.begin), self._first_after(phase.begin.time_s, phase.end_s))

    def _first_after(self, after_s: float, until_s: float) -> Occurrence:
        reports = [m for m in self._window.of("access point", "report") if m.time_s <= until_s]
        return first_seen(reports, after_s, until_s, self._access_point.asleep, self._access_point.witness)

    def _untold(self) -> Seen:
        return cut_short(self._window) or Seen.untold(
            f"{self._access_point.witness}: the leg never came to where reports are taken again"
        )

    def as_typed(self, path: str, key: str | None) -> Seen:
        """Whether every report went to the path typed, and bore the key typed."""
        reports = self._window.of("access point", "report")
        if not reports:
            gaps = self._access_point.asleep
            return (
                Seen.untold(asleep_text(self._access_point.witness, gaps[0])) if gaps else Seen(False, "no report came")
            )
        for report in reports:
            if report.text("path") != path:
                return Seen(False, f"a report went to {report.text('path')!r}, typed was {path!r}", report.time_s)
            if key is not None and report.text("authorization") != BEARER + key:
                return Seen(False, "a report did not bear the key that was typed", report.time_s)
        return Seen(True, f"{len(reports)} reports, as typed")

    def tried(self) -> Seen:
        """Whether the unit called while nobody answered: else nothing can be said of how it bears that."""
        silent = next((phase for phase in self.phases if phase.manner == "is silent"), None)
        if silent is None:
            return self._untold()
        called = self._window.of("access point", "called")
        calls = first_seen(
            [m for m in called if m.time_s <= silent.end_s],
            silent.begin.time_s,
            silent.end_s,
            self._access_point.asleep,
            self._access_point.witness,
        )
        if calls.seen:
            return Seen(True, f"called at {calls.latest_s:.1f} s", calls.latest_s)
        return (
            Seen.untold(calls.because)
            if calls.because
            else Seen(False, "sent no report when one was due", silent.end_s)
        )

    def stayed(self) -> Seen:
        """Whether the unit stayed in the network from its first address to the leg's end."""
        lease = self._access_point.first("leased", self._window.begin_s)
        if not lease.seen:
            return Seen.untold(lease.because) if lease.because else Seen(False, "no address was ever given")
        gaps = [gap for gap in self._access_point.asleep if gap.meets(lease.earliest_s, self._window.end_s)]
        return absent(
            self._gone_after(lease), "farewell or another joining of the unit", gaps, self._access_point.witness
        )

    def renewed(self) -> Reading | Seen:
        """From the unit's address to its first request to keep it, which was granted; one that joined anew has asked for none."""
        lease = self._access_point.first("leased", self._window.begin_s)
        if not lease.seen:
            return Seen.untold(lease.because) if lease.because else Seen(False, "no address was ever given")
        gone = self._gone_after(lease)
        until_s = gone[0].time_s if gone else self._window.end_s
        granted = [m for m in self._access_point.of_unit("leased")[1:] if m.time_s <= until_s]
        kept = first_seen(granted, lease.latest_s, until_s, self._access_point.asleep, self._access_point.witness)
        if not kept.seen and gone and not kept.because:
            return Seen(False, f"{gone[0].kind} before it had asked to keep its address", gone[0].time_s)
        if not kept.seen and not kept.because and (left := cut_short(self._window)) is not None:
            return left
        return between(lease, kept)

    def _gone_after(self, lease: Occurrence) -> tuple[Moment, ...]:
        """Farewells of the unit, and its joinings anew, after it was given its address."""
        found = (*self._access_point.of_unit("left"), *self._access_point.of_unit("joined"))
        return tuple(m for m in sorted(found, key=lambda m: m.time_s) if m.time_s > lease.latest_s)

    @property
    def renewal(self) -> Bound:
        """By when it must have asked, by the lease of the network that was put on the air first in this leg."""
        first = next(iter(self._window.of("access point", "up")), None)
        return renewal(first.number("lease_s", USUAL_S) if first else USUAL_S)
