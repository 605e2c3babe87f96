"""Networks of one name: which of them the unit joined, how strongly each was heard, and that it kept off a weaker one."""

from collections.abc import Sequence
from statistics import median

from hil.core.awake import first_within
from hil.evidence.air import AirView
from hil.evidence.gave_up import gave_up
from hil.evidence.seen import Seen, absent, asleep_text
from hil.evidence.starts import Start, starts_of
from hil.evidence.stations import AccessPointView, Span
from hil.evidence.window import Window

CLEAR_DB = 20.0  # so much stronger, no reader of a signal takes the one for the other; common practice, no source
LEAST_BEACONS = 5


class SameNameView:
    """The networks of a leg, before the access point and the air monitor; the monitor stands beside the unit."""

    def __init__(self, window: Window, access_point: AccessPointView, air: AirView) -> None:
        """Read a leg."""
        self._window, self._access_point, self._air = window, access_point, air

    def stronger_joined(self) -> dict[str, Seen]:
        """Whether the unit joined the stronger of two networks of its name, by start."""
        starts, left = starts_of(self._window), gave_up(self._window)
        if not starts:
            return {"the first start": left or Seen.untold("no start was recorded")}
        return {start.words: self._joined(start) for start in starts}

    def _joined(self, start: Start) -> Seen:
        joined = next(
            (m for m in self._access_point.of_unit("joined") if start.begin_s <= m.time_s <= start.until_s), None
        )
        until_s = joined.time_s if joined else start.until_s
        asleep = self._access_point_asleep(start.begin_s, until_s)
        if asleep is not None or joined is None:
            return asleep or Seen(False, "the unit joined neither", start.begin_s)
        there = [span for span in self._access_point.spans if span.meets(start.begin_s, until_s)]
        if len(there) != 2:
            return Seen.untold(f"{self._access_point.witness}: {len(there)} networks were on the air, not two")
        stronger = self._stronger(there, start.begin_s, until_s)
        if isinstance(stronger, Seen):
            return stronger
        chose_it = joined.text("bssid") == stronger.bssid
        return Seen(chose_it, f"joined the {'stronger' if chose_it else 'weaker'} one", joined.time_s)

    def _stronger(self, there: Sequence[Span], begin_s: float, end_s: float) -> Span | Seen:
        """The stronger of two networks over a stretch; untold where the monitor heard too little of one, or no difference."""
        heard_dbm = [self._strength_dbm(span.bssid, begin_s, end_s) for span in there]
        told = [(dbm, span) for dbm, span in zip(heard_dbm, there, strict=True) if dbm is not None]
        if len(told) < len(there):
            gap = first_within(self._air.asleep, begin_s, end_s)
            hardly = f"{self._air.witness}: a network was hardly heard"
            return Seen.untold(asleep_text(self._air.witness, gap) if gap else hardly)
        (weak_dbm, _), (strong_dbm, strong) = sorted(told, key=lambda pair: pair[0])
        if strong_dbm - weak_dbm < CLEAR_DB:
            return Seen.untold(f"{self._air.witness}: heard the networks only {strong_dbm - weak_dbm:.0f} dB apart")
        return strong

    def _strength_dbm(self, bssid: str, begin_s: float, end_s: float) -> float | None:
        heard = [m.number("signal_dbm") for m in self._air.beacons_of(bssid) if begin_s <= m.time_s <= end_s]
        return median(heard) if len(heard) >= LEAST_BEACONS else None

    def kept_off_open(self) -> Seen:
        """Whether the unit looked for its network, and never came to an open one of that name that was the stronger."""
        begin_s, end_s = self._window.begin_s, self._window.end_s
        there = [span for span in self._access_point.spans if span.meets(begin_s, end_s)]
        opened = next((span for span in there if span.security == "open"), None)
        secured = next(
            (span for span in there if opened and span.security != "open" and span.begin_s > opened.begin_s), None
        )
        if opened is None or secured is None:
            untold = Seen.untold(f"{self._access_point.witness}: no two networks, one of them open, were on the air")
            return self._access_point_asleep(begin_s, end_s) or gave_up(self._window) or untold
        kept = self._never_at(opened.bssid)
        if not kept.holds:
            return kept
        if not any(m.time_s >= opened.begin_s for m in self._air.unit_seeks):
            return Seen(False, "the unit never looked for its network", opened.begin_s)
        stronger = self._stronger([opened, secured], secured.begin_s, min(opened.end_s, secured.end_s, end_s))
        if isinstance(stronger, Seen):
            return stronger
        return kept if stronger is opened else Seen.untold(f"{self._air.witness}: the open network was the weaker one")

    def _never_at(self, bssid: str) -> Seen:
        """Whether neither the access point nor the air monitor saw the unit come to a network, both awake throughout."""
        inside = tuple(
            m for kind in ("joined", "leased") for m in self._access_point.of_unit(kind) if m.text("bssid") == bssid
        )
        sent = tuple(m for m in self._air.unit_seeks if m.kind != "seeks" and m.text("bssid").lower() == bssid)
        seen = [
            absent(found, "unit at the open network", view.asleep, view.witness)
            for found, view in ((inside, self._access_point), (sent, self._air))
        ]
        return min(seen, key=lambda one: (one.holds is not False, one.holds is not None))

    def _access_point_asleep(self, begin_s: float, end_s: float) -> Seen | None:
        witness, gap = self._access_point.witness, first_within(self._access_point.asleep, begin_s, end_s)
        return Seen.untold(asleep_text(witness, gap)) if gap else None
