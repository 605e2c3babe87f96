"""What the bench's two stations witnessed: the access point its clients and leases, the probe the unit's hotspot."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf

from hil.core.awake import Asleep, asleep, first_within
from hil.core.moments import Moment
from hil.core.readings import Occurrence
from hil.evidence.air import AirView
from hil.evidence.gave_up import cut_short
from hil.evidence.seen import Seen, absent, asleep_text, first_seen
from hil.evidence.window import Window, occurrence

STATUS_GAP_S = 2.0


@dataclass(frozen=True, slots=True)
class Span:
    """One network on the air, from its `up` until its radio was switched otherwise."""

    up: Moment
    end_s: float

    @property
    def begin_s(self) -> float:
        """When it went on the air."""
        return self.up.time_s

    @property
    def bssid(self) -> str:
        """The radio's address."""
        return self.up.text("bssid")

    @property
    def security(self) -> str:
        """As it is announced."""
        return self.up.text("security")

    def meets(self, begin_s: float, end_s: float) -> bool:
        """Whether it was on the air in some part of a stretch."""
        return self.begin_s < end_s and begin_s < self.end_s


def _radio(switched: Moment) -> float:
    """The number of the radio; recorded before there were several: the first."""
    return switched.number("radio", 0.0)


def _end_of(up: Moment, later: Sequence[Moment]) -> float:
    return next((moment.time_s for moment in later if _radio(moment) == _radio(up)), inf)


class AccessPointView:
    """The access point's list of clients and leases."""

    witness = "access point"

    def __init__(self, window: Window) -> None:
        """Read from a window."""
        self._window = window
        self._address = window.record.fact("unit", "radio address").lower()

    @cached_property
    def asleep(self) -> list[Asleep]:
        """Stretches in which the daemon did not answer, or its network was not heard though it should be up."""
        times = [m.time_s for m in self._window.all(self.witness, "answering")]
        unanswered = asleep(times, self._window.begin_s, self._window.end_s, STATUS_GAP_S)
        return sorted([*unanswered, *self._unheard()], key=lambda gap: gap.begin_s)

    def _unheard(self) -> list[Asleep]:
        """Stretches without a beacon of the network that is up, before an air monitor that was awake."""
        air = AirView(self._window)
        gaps = [gap for span in self.spans if self._watched(span) for gap in self._unheard_within(span, air)]
        return [gap for gap in gaps if first_within(air.asleep, gap.begin_s, gap.end_s) is None]

    def _unheard_within(self, span: Span, air: AirView) -> list[Asleep]:
        """The same of one span on the air, clipped to the window; what was heard of another span says nothing of it."""
        begin_s, end_s = max(span.begin_s, self._window.begin_s), min(span.end_s, self._window.end_s)
        if begin_s >= end_s:
            return []
        heard_s = [t for t in air.times_of_s(span.bssid) if span.begin_s <= t <= span.end_s]
        return asleep(heard_s, begin_s, end_s, STATUS_GAP_S)

    @cached_property
    def spans(self) -> list[Span]:
        """Networks on the air, over the whole run, in order of their begin."""
        switched = self._window.all(self.witness, "up", "down")
        return [Span(up, _end_of(up, switched[at:])) for at, up in enumerate(switched, 1) if up.kind == "up"]

    def _watched(self, span: Span) -> bool:
        """Whether the monitor watches its channel."""
        channels = self._window.record.facts.get("trial", {}).get("control_channels", [])
        return isinstance(channels, list) and span.up.data.get("channel") in channels

    def of_unit(self, kind: str) -> tuple[Moment, ...]:
        """Moments of a kind that concern the unit."""
        return tuple(m for m in self._window.of(self.witness, kind) if m.text("address").lower() == self._address)

    def last_of_unit(self, kind: str) -> Moment | None:
        """The last moment of a kind that concerns the unit, in the run up to the end of the window."""
        found = (m for m in self._window.all(self.witness, kind) if m.text("address").lower() == self._address)
        return max((m for m in found if m.time_s <= self._window.end_s), key=lambda m: m.time_s, default=None)

    def first(self, kind: str, after_s: float) -> Occurrence:
        """The first `joined`, `leased`, `left` or `wrong key` of the unit after a time."""
        return first_seen(self.of_unit(kind), after_s, self._window.end_s, self.asleep, self.witness)

    def first_within(self, kind: str, after_s: float, until_s: float) -> Occurrence:
        """The same up to another time, which is when the bench went on."""
        moments = [m for m in self.of_unit(kind) if m.time_s <= until_s]
        return first_seen(moments, after_s, until_s, self.asleep, self.witness)

    def up_by_other_radio(self) -> Occurrence:
        """When a network was first put on the air in this leg by another radio than the first."""
        return self._switched(next((m for m in self._window.of(self.witness, "up") if _radio(m) > 0.0), None))

    def leased_by_other_radio(self, after_s: float) -> Occurrence:
        """The first address the unit was given, after a time, by another radio's network than the first's."""
        others = {m.text("bssid") for m in self._window.of(self.witness, "up") if _radio(m) > 0.0}
        leases = [m for m in self.of_unit("leased") if m.text("bssid") in others]
        return first_seen(leases, after_s, self._window.end_s, self.asleep, self.witness)

    def leased_instead(self, after_s: float) -> Occurrence:
        """The first address the unit was given, after a time, by another network than the one the leg took away."""
        booked = self._taken
        leases = [m for m in self.of_unit("leased") if booked is None or m.text("bssid") != booked.text("bssid")]
        return first_seen(leases, after_s, self._window.end_s, self.asleep, self.witness)

    @property
    def _taken(self) -> Moment | None:
        return next(iter(self._window.of("leg", "takes the network in use away")), None)

    def taken_away(self) -> Occurrence:
        """When the network that the unit used went off the air, where the leg took it away."""
        booked = self._taken
        downs = self._window.of(self.witness, "down") if booked is not None else ()
        gone = (m for m in downs if booked is not None and m.time_s >= booked.time_s)
        return self._switched(next((m for m in gone if booked and m.text("bssid") == booked.text("bssid")), None))

    def _switched(self, found: Moment | None) -> Occurrence:
        if found is not None:
            return occurrence(found)
        because = asleep_text(self.witness, self.asleep[0]) if self.asleep else ""
        return Occurrence.not_before(self._window.end_s, because)

    def last_up(self) -> Occurrence:
        """When a network was put on the air last in this leg, and left there."""
        switched = self._window.of(self.witness, "up", "down")
        if switched and switched[-1].kind == "up":
            return self._or_later(switched[-1])
        because = asleep_text(self.witness, self.asleep[0]) if self.asleep else ""
        if switched:
            because = because or f"{self.witness}: the network was not put on the air again"
        return Occurrence.not_before(self._window.begin_s, because)

    def _or_later(self, up: Moment) -> Occurrence:
        """When that was; where the access point slept after it, it may have been switched again meanwhile."""
        gap = first_within(self.asleep, up.time_s, self._window.end_s)
        if gap is None:
            return occurrence(up)
        because = asleep_text(self.witness, gap)
        return Occurrence(up.time_s - up.doubt_s, self._window.end_s, measured=False, because=because)

    @property
    def lease_delay_s(self) -> float:
        """How long the network that was put on the air first in this leg keeps its addresses back."""
        first = next(iter(self._window.of(self.witness, "up")), None)
        return first.number("lease_delay_s", 0.0) if first else 0.0

    def tried(self, until: Occurrence) -> Seen:
        """Whether the unit came to the network put up first, with whatever success, before something else was."""
        ups = self._window.of(self.witness, "up")
        until_s = min([until.earliest_s, *(m.time_s for m in ups[1:])])
        found = [m for m in (*self.of_unit("joined"), *self.of_unit("wrong key")) if m.time_s <= until_s]
        if found:
            return Seen(True, f"{found[0].kind} at {found[0].time_s:.1f} s", found[0].time_s)
        if until.because:
            return Seen.untold(until.because)
        gap = first_within(self.asleep, self._window.begin_s, until_s)
        return Seen.untold(asleep_text(self.witness, gap)) if gap else Seen(False, "the unit never came to the network")

    def waited_for_lease(self) -> Seen:
        """Whether the unit, once joined, stayed so until it got its address."""
        joined = self.first("joined", self._window.begin_s)
        if not joined.seen:
            return Seen.untold(joined.because) if joined.because else Seen(False, "the unit never joined")
        lease = self.first("leased", joined.earliest_s)
        until_s = lease.latest_s if lease.seen else self._window.end_s
        again = self.of_unit("joined")[1:]
        gone = tuple(m for m in (*self.of_unit("left"), *again) if joined.latest_s < m.time_s <= until_s)
        gaps = [g for g in self.asleep if g.meets(joined.earliest_s, min(until_s, self._window.end_s))]
        waited = absent(gone, "farewell or another joining of the unit", gaps, self.witness)
        return waited if lease.seen or not waited.holds else Seen(False, "no address was given", self._window.end_s)

    @property
    def leased_address(self) -> str | None:
        """The address the unit was given last in this leg."""
        leases = self.of_unit("leased")
        return leases[-1].text("ip") if leases else None

    def leased_within(self, begin_s: float, end_s: float) -> Seen:
        """Whether the unit got an address between two times."""
        leases = tuple(m for m in self.of_unit("leased") if m.time_s <= end_s)
        lease = first_seen(leases, begin_s, end_s, self.asleep, self.witness)
        if not lease.seen:
            return Seen.untold(lease.because) if lease.because else Seen(False, "no address was given")
        return Seen(True, f"address given at {lease.latest_s:.1f} s", lease.latest_s)

    def kept_within(self, begin_s: float, end_s: float) -> Seen:
        """Whether the unit, which was in the network, stayed there between two times, or came back after its farewell."""
        left = [m for m in self.of_unit("left") if begin_s < m.time_s <= end_s]
        if left:
            return self.leased_within(left[-1].time_s, end_s)
        gap = next((gap for gap in self.asleep if gap.meets(begin_s, end_s)), None)
        return Seen.untold(asleep_text(self.witness, gap)) if gap else Seen(True, "stayed in the network")

    def leased_and_stayed(self) -> Seen:
        """Whether the unit got an address and stayed joined from then on."""
        lease = self.first("leased", self._window.begin_s)
        if not lease.seen:
            return Seen.untold(lease.because) if lease.because else Seen(False, "no address was ever given")
        left = tuple(m for m in self.of_unit("left") if m.time_s > lease.earliest_s)
        gaps = [g for g in self.asleep if g.meets(lease.earliest_s, self._window.end_s)]
        return absent(left, "farewell of the unit", gaps, self.witness)

    def never_joined(self) -> Seen:
        """Whether the unit kept off the bench's network over the whole leg."""
        found = (*self.of_unit("joined"), *self.of_unit("wrong key"))
        left = cut_short(self._window)
        if left is not None and not found:
            return left  # the unit may not even have been started
        return absent(found, "unit joining the bench's network", self.asleep, self.witness)


class ProbeView:
    """The bench's own station, on the unit's hotspot."""

    witness = "probe"

    def __init__(self, window: Window) -> None:
        """Read from a window."""
        self._window = window

    @cached_property
    def asleep(self) -> list[Asleep]:
        """Stretches in which its daemon did not answer."""
        times = [m.time_s for m in self._window.all(self.witness, "answering")]
        return asleep(times, self._window.begin_s, self._window.end_s, STATUS_GAP_S)

    def stayed(self) -> Seen:
        """Whether the unit kept it on the hotspot for as long as the leg stayed there."""
        begun = next(iter(self._window.of("leg", "stays on the hotspot")), None)
        over = next(iter(self._window.of("leg", "has stayed on the hotspot")), None)
        if begun is None or over is None:
            return self.got_in() if self.leased() is None else Seen.untold(f"{self.witness}: no stay was recorded")
        left = tuple(m for m in self._window.of(self.witness, "left") if begun.time_s <= m.time_s <= over.time_s)
        gaps = [gap for gap in self.asleep if gap.meets(begun.time_s, over.time_s)]
        return absent(left, "farewell to the probe", gaps, self.witness)

    def joined(self) -> Moment | None:
        """When it joined."""
        return next(iter(self._window.of(self.witness, "joined")), None)

    def leased(self) -> Moment | None:
        """When it got its address."""
        return next(iter(self._window.of(self.witness, "leased")), None)

    def failed(self) -> Moment | None:
        """When, and why, it could not join."""
        return next(iter(self._window.of(self.witness, "join failed")), None)

    def got_in(self) -> Seen:
        """Whether it joined the hotspot and got an address."""
        lease, failure = self.leased(), self.failed()
        if lease is not None:
            return Seen(True, f"joined, address {lease.text('ip')}", lease.time_s)
        if failure is not None:
            return Seen(False, f"could not join the hotspot: {failure.text('why')}", failure.time_s)
        return Seen.untold(f"{self.witness}: no attempt to join was recorded")

    def lease_time(self) -> tuple[Occurrence, Occurrence]:
        """When it joined, and when it got its address."""
        joined, leased, failure = self.joined(), self.leased(), self.failed()
        begin_s = self._window.begin_s
        if joined is None:
            why = "" if failure else f"{self.witness}: no joining was recorded"
            missing = Occurrence.not_before(begin_s, why)
            return missing, missing
        start = Occurrence.at(joined.time_s, joined.doubt_s)
        if leased is not None:
            return start, Occurrence.at(leased.time_s, leased.doubt_s)
        if failure is not None:
            return start, Occurrence.not_before(failure.time_s, "")
        return start, Occurrence.not_before(
            joined.time_s, f"{self.witness}: neither a lease nor a failure was recorded"
        )
