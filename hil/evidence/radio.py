"""What the air, the access point and the probe witnessed."""

from functools import cached_property

import numpy as np

from hil.core.awake import Asleep, asleep
from hil.core.moments import Json, Moment
from hil.core.readings import Occurrence
from hil.evidence.seen import Seen, absent, asleep_text, first_seen
from hil.evidence.window import Window

CONTROL_GAP_S = 0.5
STATUS_GAP_S = 2.0
TU_S = 1024e-6  # IEEE 802.11-2020 clause 3: a time unit is 1024 microseconds
BEACONS_LOST = 8  # beacons missed in a row that mean a network is gone


class AirView:
    """Frames the air monitor heard."""

    witness = "air monitor"

    def __init__(self, window: Window) -> None:
        """Read from a window."""
        self._window = window

    @cached_property
    def asleep(self) -> list[Asleep]:
        """Stretches in which, on some watched channel, no fresh beacon of the control network was heard.

        A beacon with a stale time stamp proves nothing.
        """
        record, window = self._window.record, self._window
        channels = record.facts.get("trial", {}).get("control_channels", [])
        gaps = []
        for channel in channels if isinstance(channels, list) else []:
            gaps += asleep(self._control_times_s(channel), window.begin_s, window.end_s, CONTROL_GAP_S)
        return sorted(gaps, key=lambda gap: gap.begin_s) if channels else [Asleep(window.begin_s, window.end_s)]

    def _control_times_s(self, channel: Json) -> list[float]:
        name = self._window.record.fact("trial", "control_network")
        times, newest = [], -1.0
        for moment in self._window.all("air", "beacon"):
            is_control = moment.data.get("name") == name and moment.data.get("channel") == channel
            if is_control and moment.number("tsf") > newest:
                newest = moment.number("tsf")
                times.append(moment.time_s)
        return times

    @property
    def hotspot_name(self) -> str:
        """The name the unit's hotspot must have."""
        return self._window.record.hotspot_name

    @property
    def _own_names(self) -> set[str]:
        record = self._window.record
        return {record.fact("trial", "network"), record.fact("trial", "control_network")}

    @cached_property
    def _beacons(self) -> tuple[Moment, ...]:
        """Beacons of the leg, each heard once: a repeated time stamp is a monitor that stands still.

        What was heard last may have been heard in an earlier leg.
        """
        fresh, last = [], dict[str, float]()
        for moment in self._window.all("air", "beacon"):
            sender, stamp = moment.text("bssid"), moment.number("tsf")
            if last.get(sender) != stamp and self._window.begin_s <= moment.time_s <= self._window.end_s:
                fresh.append(moment)
            last[sender] = stamp
        return tuple(fresh)

    @cached_property
    def hotspot_beacons(self) -> tuple[Moment, ...]:
        """Beacons of the promised name."""
        return tuple(m for m in self._beacons if m.data.get("name") == self.hotspot_name)

    @cached_property
    def other_beacons(self) -> tuple[Moment, ...]:
        """Beacons of neither the promised name nor the bench's networks."""
        known = self._own_names | {self.hotspot_name}
        return tuple(m for m in self._beacons if m.data.get("name") not in known)

    @cached_property
    def unit_seeks(self) -> tuple[Moment, ...]:
        """Frames with which the unit's station looks for a network or joins one."""
        address = self._window.record.fact("unit", "radio address").lower()
        return tuple(
            m
            for m in self._window.of("air", "seeks", "authenticates", "associates")
            if m.text("from").lower() == address
        )

    def first(self, moments: tuple[Moment, ...], after_s: float) -> Occurrence:
        """The first of some moments after a time."""
        return first_seen(moments, after_s, self._window.end_s, self.asleep, self.witness)

    def hotspot_gone(self, after_s: float) -> Occurrence:
        """When the hotspot fell silent after a time: between its last beacon and the one that was due next.

        Either may have been as late as a frame may be.
        """
        own = [m.time_s for m in self.hotspot_beacons]
        before = [t for t in own if t <= after_s]
        later = [t for t in own if t > after_s]
        interval_s = self._interval_s(own)
        last_s = before[-1] if before else None
        for time_s in later:
            if last_s is not None and time_s - last_s > BEACONS_LOST * interval_s:
                break
            last_s = time_s
        if last_s is None:
            return Occurrence.not_before(self._window.begin_s, f"{self.witness}: the hotspot was not heard before")
        quiet_until_s = last_s + BEACONS_LOST * interval_s
        gap = next((g for g in self.asleep if g.meets(last_s, min(quiet_until_s, self._window.end_s))), None)
        if gap is not None or quiet_until_s > self._window.end_s:
            because = f"{self.witness} asleep from {gap.begin_s:.1f} s" if gap else ""
            return Occurrence.not_before(last_s, because)
        middle_s = last_s + interval_s / 2.0
        late_s = max(m.doubt_s for m in self.hotspot_beacons if m.time_s == last_s)
        return Occurrence.at(middle_s, interval_s / 2.0 + late_s)

    @staticmethod
    def _interval_s(times_s: list[float]) -> float:
        return float(np.median(np.diff(times_s))) if len(times_s) > 2 else 100 * TU_S

    def named(self) -> Seen:
        """Whether the hotspot was heard under its promised name, and under no other."""
        if self.other_beacons:
            other = self.other_beacons[0]
            return Seen(False, f"heard {other.text('name')!r}", other.time_s)
        return self._heard(self.hotspot_beacons, f"beacon of {self.hotspot_name!r}")

    def secured_as(self, security: str) -> Seen:
        """Whether every beacon of the hotspot announced that security."""
        odd = [m for m in self.hotspot_beacons if m.data.get("security") != security]
        if odd:
            return Seen(False, f"a beacon announces {odd[0].text('security')}", odd[0].time_s)
        return self._heard(self.hotspot_beacons, f"beacon that announces {security}")

    def seeks_network(self) -> Seen:
        """Whether the unit's station looked for a network at all."""
        return self._heard(self.unit_seeks, "frame of the unit to a network")

    def silent_after(self, when: Occurrence) -> Seen:
        """Whether no beacon of the hotspot was heard after an occurrence."""
        if not when.seen:
            return Seen.untold(when.because) if when.because else Seen(False, "it never came to that")
        late = tuple(m for m in self.hotspot_beacons if m.time_s > when.latest_s)
        gaps = [g for g in self.asleep if g.meets(when.latest_s, self._window.end_s)]
        return absent(late, "beacon of the hotspot", gaps, self.witness)

    def _heard(self, moments: tuple[Moment, ...], what: str) -> Seen:
        if moments:
            return Seen(True, f"{len(moments)} times a {what}", moments[0].time_s)
        if self.asleep:
            return Seen.untold(asleep_text(self.witness, self.asleep[0]))
        return Seen(False, f"no {what}")

    def octets(self) -> list[bytes]:
        """Names and DHCP messages heard, as bytes, to search for secrets."""
        names = [bytes.fromhex(m.text("name_octets")) for m in self._window.of("air", "beacon", "seeks", "associates")]
        return [*names, *(bytes.fromhex(m.text("octets")) for m in self._window.of("air", "dhcp"))]


class AccessPointView:
    """The access point's list of clients and leases."""

    witness = "access point"

    def __init__(self, window: Window) -> None:
        """Read from a window."""
        self._window = window
        self._address = window.record.fact("unit", "radio address").lower()

    @cached_property
    def asleep(self) -> list[Asleep]:
        """Stretches in which the daemon did not answer."""
        times = [m.time_s for m in self._window.all(self.witness, "answering")]
        return asleep(times, self._window.begin_s, self._window.end_s, STATUS_GAP_S)

    def of_unit(self, kind: str) -> tuple[Moment, ...]:
        """Moments of a kind that concern the unit."""
        return tuple(m for m in self._window.of(self.witness, kind) if m.text("address").lower() == self._address)

    def first(self, kind: str, after_s: float) -> Occurrence:
        """The first `joined`, `leased`, `left` or `wrong key` of the unit after a time."""
        return first_seen(self.of_unit(kind), after_s, self._window.end_s, self.asleep, self.witness)

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
        return absent(found, "unit joining the bench's network", self.asleep, self.witness)


class ProbeView:
    """The bench's own station, on the unit's hotspot."""

    witness = "probe"

    def __init__(self, window: Window) -> None:
        """Read from a window."""
        self._window = window

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
