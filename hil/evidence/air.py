"""What the air monitor heard."""

from collections.abc import Sequence
from functools import cached_property
from itertools import pairwise
from math import hypot

import numpy as np

from hil.core.awake import Asleep, asleep, first_within
from hil.core.moments import Json, Moment
from hil.core.readings import Occurrence, Reading
from hil.evidence.seen import Seen, absent, asleep_text, first_seen
from hil.evidence.window import Window

CONTROL_GAP_S = 0.5
AROUND_S = 10.0  # beacons so long before and after a leg speak for it still; several times any control's longest gap
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
        return (
            sorted(gaps, key=lambda gap: gap.begin_s)
            if channels
            else [Asleep(window.begin_s, window.end_s, woke=False)]
        )

    def _control_times_s(self, channel: Json) -> list[float]:
        name = self._window.record.fact("trial", "control_network")
        heard = (m for m in self._heard_around if m.data.get("name") == name and m.data.get("channel") == channel)
        return [moment.time_s for moment in heard]

    def times_of_s(self, bssid: str) -> list[float]:
        """When, in the leg and somewhat before and after it, fresh beacons of a sender were heard."""
        return [moment.time_s for moment in self._heard_around if moment.text("bssid") == bssid]

    @cached_property
    def _heard_around(self) -> Sequence[Moment]:
        return self._window.part_of(self._window.record.fresh_beacons, AROUND_S)

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
        """Beacons of the leg, each heard once."""
        return tuple(self._window.part_of(self._window.record.fresh_beacons))

    def beacons_of(self, bssid: str) -> tuple[Moment, ...]:
        """Beacons of a sender."""
        return tuple(m for m in self._beacons if m.text("bssid") == bssid)

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
            because = asleep_text(self.witness, gap) if gap else ""
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
        """Whether every beacon of the hotspot announced that security, if perhaps along with a better one."""
        odd = [m for m in self.hotspot_beacons if security not in m.text("security").split(" and ")]
        if odd:
            return Seen(False, f"a beacon announces {odd[0].text('security')}", odd[0].time_s)
        return self._heard(self.hotspot_beacons, f"beacon that announces {security}")

    def secured_throughout(self, security: str) -> Seen:
        """The same, with the monitor awake over the whole leg: a beacon that nobody heard may have announced another."""
        seen = self.secured_as(security)
        return Seen.untold(asleep_text(self.witness, self.asleep[0])) if seen.holds and self.asleep else seen

    def seeks_network(self) -> Seen:
        """Whether the unit's station looked for a network at all."""
        return self._heard(self.unit_seeks, "frame of the unit to a network")

    def asks_by_name(self) -> Seen:
        """Whether the unit's station asked for its saved network by name, as only that finds a hidden one."""
        name = self._window.record.fact("trial", "network")
        asked = tuple(m for m in self.unit_seeks if m.kind == "seeks" and m.data.get("name") == name)
        return self._heard(asked, f"probe request for {name!r}")

    def silent_after(self, when: Occurrence) -> Seen:
        """Whether no beacon of the hotspot was heard after an occurrence."""
        if not when.seen:
            return Seen.untold(when.because) if when.because else Seen(False, "it never came to that")
        late = tuple(m for m in self.hotspot_beacons if m.time_s > when.latest_s)
        gaps = [g for g in self.asleep if g.meets(when.latest_s, self._window.end_s)]
        return absent(late, "beacon of the hotspot", gaps, self.witness)

    def on_air_throughout(self) -> Seen:
        """Whether the hotspot was on the air from the leg's begin to its end, and is the one that it was at first.

        A beacon's time stamp counts on from when its network began (IEEE 802.11-2020, 9.4.1.10): a unit that restarts, or
        opens its hotspot anew, begins again.
        """
        own = self.hotspot_beacons
        anew = next((later for one, later in pairwise(own) if later.number("tsf") < one.number("tsf")), None)
        if anew is not None:
            return Seen(False, f"the hotspot's time stamp began anew at {anew.time_s:.2f} s", anew.time_s)
        times_s = [m.time_s for m in own]
        quiet_s = BEACONS_LOST * self._interval_s(times_s)
        for quiet in asleep(times_s, self._window.begin_s, self._window.end_s, quiet_s):
            gap = first_within(self.asleep, quiet.begin_s, quiet.end_s)
            if gap is None:
                text = f"no beacon of the hotspot from {quiet.begin_s:.1f} s to {quiet.end_s:.1f} s"
                return Seen(False, text, quiet.begin_s)
        if self.asleep:
            return Seen.untold(asleep_text(self.witness, self.asleep[0]))
        return Seen(True, f"{len(own)} beacons, time stamps rising")

    def longest_silence(self) -> Reading | Seen:
        """The longest time in the leg between two beacons of the hotspot, its begin and end counted as such.

        At least the longest over which the monitor was awake, at most the longest of all.
        """
        if not self.hotspot_beacons:
            return self._heard((), f"beacon of {self.hotspot_name!r}")
        marks = [(m.time_s, m.doubt_s) for m in self.hotspot_beacons]
        marks = [(self._window.begin_s, 0.0), *marks, (self._window.end_s, 0.0)]
        low_s, high_s, at_s, because = 0.0, 0.0, 0.0, ""
        for (from_s, one_s), (to_s, other_s) in pairwise(marks):
            length_s, doubt_s = to_s - from_s, hypot(one_s, other_s)
            gap = first_within(self.asleep, from_s, to_s)
            if gap is None:
                low_s = max(low_s, length_s - doubt_s)
            if length_s + doubt_s > high_s:
                high_s, at_s, because = length_s + doubt_s, from_s, asleep_text(self.witness, gap) if gap else ""
        return Reading(low_s, high_s, "s", because, at_s)

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
