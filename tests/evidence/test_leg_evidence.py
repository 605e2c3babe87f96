"""The evidence of a leg as a check reads it: views behind their names, and the time between two events."""

from collections.abc import Callable
from math import inf
from typing import ClassVar

import pytest
from support.records import (
    CONTROL,
    SECRETS,
    UNIT,
    answered,
    awake,
    beacons,
    make,
    moment,
    power,
    seeks,
    states,
    without,
)

from hil.core.errors import OurBug
from hil.core.moments import Moment
from hil.core.readings import Reading
from hil.evidence.events import (
    Event,
    HotspotBeacon,
    HotspotGone,
    Joined,
    Leased,
    PowerOn,
    SettingsSaved,
    UnitSeeks,
    lamp_shows,
)
from hil.evidence.leg_evidence import LegEvidence
from hil.evidence.seen import Seen
from hil.evidence.views import WITNESSES, Gate

BEGIN_S, END_S = 100.0, 145.0
ON = power("on", 100.5)
AWAKE = awake(98.0, 147.0)


def evidence(*moments: Moment, hearing: list[Moment] = AWAKE) -> LegEvidence:
    return make([*hearing, *moments]).evidence(BEGIN_S, END_S)


def read(found: Reading | Seen) -> Reading:
    assert isinstance(found, Reading)
    return found


class TestGate:
    """A view that a check did not name refuses to be read."""

    @pytest.mark.parametrize("view", WITNESSES)
    def test_every_view_has_its_name(self, view: str) -> None:
        made = make(AWAKE)
        assert getattr(made.evidence(BEGIN_S, END_S, view), view) is not None
        others = [name for name in WITNESSES if name != view]
        with pytest.raises(OurBug, match=f"{view!r}, which its @needs does not name"):
            getattr(made.evidence(BEGIN_S, END_S, *others), view)

    READS: ClassVar[dict[str, tuple[Callable[[LegEvidence], object], set[str]]]] = {
        "between": (lambda e: e.between(PowerOn, HotspotBeacon), {"power", "air"}),
        "leaks": (lambda e: e.leaks(), {"pages", "console", "air"}),
        "lamp order": (lambda e: e.lamp_order_since(PowerOn, []), {"power", "lamp"}),
        "running time": (
            lambda e: e.running_time_agrees(PowerOn, "status", make([]).record.product.status),
            {"power", "pages"},
        ),
    }

    @pytest.mark.parametrize("name", READS)
    def test_what_joins_views_asks_for_each(self, name: str) -> None:
        reads, needed = self.READS[name]
        made = make([*AWAKE, ON])
        reads(made.evidence(BEGIN_S, END_S, *needed))
        for left_out in needed:
            with pytest.raises(OurBug, match=f"{left_out!r}"):
                reads(made.evidence(BEGIN_S, END_S, *(needed - {left_out}), "flash"))

    @pytest.mark.parametrize(
        ("event", "view"),
        [(PowerOn, "power"), (UnitSeeks, "air"), (HotspotBeacon, "air"), (HotspotGone, "air"), (Joined, "access_point"),
         (Leased, "access_point"), (SettingsSaved, "pages"), (lamp_shows("setup"), "lamp")],
    )  # fmt: skip
    def test_an_event_is_found_in_the_view_it_names(self, event: Event, view: str) -> None:
        gate = Gate(frozenset({view}))
        event.find(LegEvidence(make([*AWAKE, ON]).window(BEGIN_S, END_S), gate), BEGIN_S)
        assert gate.read == {view}

    def test_outside_a_check_nothing_is_refused(self) -> None:
        assert evidence().air is not None


class TestBetween:
    """The time between two events; the rows are those of the design's table, with power on at 100.5."""

    def test_both_seen(self) -> None:
        reading = read(evidence(ON, *beacons(127.9, END_S)).between(PowerOn, HotspotBeacon))
        assert reading.value == pytest.approx(27.4)
        assert reading.doubt == pytest.approx((0.02**2 + 0.012**2) ** 0.5)

    def test_never_seen_by_an_awake_witness(self) -> None:
        reading = read(evidence(ON).between(PowerOn, HotspotBeacon))
        assert (reading.low, reading.high, reading.because) == (pytest.approx(44.48), inf, "")

    def test_never_seen_before_the_bench_switched_the_supply_off(self) -> None:
        reading = read(evidence(ON, power("off", 130.0)).between(PowerOn, HotspotBeacon))
        assert (reading.low, reading.high, reading.because) == (pytest.approx(29.46), inf, "")

    def test_never_seen_and_the_control_lost(self) -> None:
        reading = read(evidence(ON, hearing=without(AWAKE, CONTROL, 118.0, 150.0)).between(PowerOn, HotspotBeacon))
        assert reading.high == inf
        assert reading.low == pytest.approx(17.4, abs=0.2)
        assert "air monitor asleep" in reading.because

    def test_seen_after_a_deaf_stretch(self) -> None:
        hearing = without(AWAKE, CONTROL, 118.0, 129.0)
        reading = read(evidence(ON, *beacons(129.5, END_S), hearing=hearing).between(PowerOn, HotspotBeacon))
        assert reading.low == pytest.approx(17.4, abs=0.2)
        assert reading.high == pytest.approx(29.032)

    def test_the_second_is_looked_for_after_the_first(self) -> None:
        early = beacons(100.0, 100.4)
        reading = read(evidence(*early, ON, *beacons(127.9, END_S)).between(PowerOn, HotspotBeacon))
        assert reading.value == pytest.approx(27.4)

    def test_a_first_that_never_came_before_an_awake_witness_is_the_unit_s_failure(self) -> None:
        seen = evidence(ON, *beacons(127.9, END_S)).between(UnitSeeks, HotspotBeacon)
        assert isinstance(seen, Seen)
        assert seen.holds is False
        assert "the unit's first frame to a network" in seen.text
        assert "air monitor" in seen.text

    def test_a_first_that_nobody_could_see_tells_nothing(self) -> None:
        hearing = without(AWAKE, CONTROL, 99.0, 150.0)
        reading = read(evidence(ON, hearing=hearing).between(UnitSeeks, HotspotBeacon))
        assert reading.low == -inf
        assert "air monitor asleep" in reading.because

    def test_seeking_to_lease(self) -> None:
        lease = moment(112.0, "access point", "leased", doubt_s=0.1, address=UNIT, ip="198.51.100.2")
        reading = read(evidence(ON, seeks(103.0), lease).between(UnitSeeks, Leased))
        assert reading.value == pytest.approx(9.0)


class TestSupply:
    """A time since power on counts only while the supply stayed on."""

    BEACONS = tuple(beacons(127.9, END_S))

    def test_a_supply_that_blinked(self) -> None:
        blinked = moment(110.2, "power", "state", on=False)
        reading = read(evidence(ON, blinked, *self.BEACONS).between(PowerOn, HotspotBeacon))
        assert (reading.low, reading.high) == (-inf, inf)
        assert "supply" in reading.because

    def test_a_supply_nobody_read_back(self) -> None:
        hearing = [*awake(98.0, 147.0, but=["power"]), *states(98.0, 110.0), *states(113.0, 147.0)]
        reading = read(evidence(ON, *self.BEACONS, hearing=hearing).between(PowerOn, HotspotBeacon))
        assert (reading.low, reading.high) == (-inf, inf)
        assert "power asleep" in reading.because

    def test_only_up_to_the_second_event(self) -> None:
        later = moment(140.2, "power", "state", on=False)
        assert read(evidence(ON, later, *self.BEACONS).between(PowerOn, HotspotBeacon)).value == pytest.approx(27.4)

    def test_no_beacon_from_a_unit_whose_supply_failed_is_not_its_failure(self) -> None:
        failed = moment(140.2, "power", "state", on=False)
        reading = read(evidence(ON, failed).between(PowerOn, HotspotBeacon))
        assert (reading.low, reading.high) == (-inf, inf)

    def test_a_time_that_does_not_begin_with_power_is_not_concerned(self) -> None:
        lease = moment(112.0, "access point", "leased", address=UNIT, ip="198.51.100.2")
        hearing = awake(98.0, 147.0, but=["power"])
        assert read(
            evidence(ON, seeks(103.0), lease, hearing=hearing).between(UnitSeeks, Leased)
        ).value == pytest.approx(9.0)


def test_saved_to_silence() -> None:
    """Saved at 110.5 (the way there and back took 0.04 s); the last beacon at or before 112.7, the next due never came."""
    made = make(
        [*AWAKE, ON, *beacons(101.0, 112.7), moment(109.9, "probe", "reached", took_s=0.04),
         answered(110.0, "save", "s.body", total_s=0.5)],
        pages={"s.body": b"<p>saved</p>"},
    )  # fmt: skip
    reading = read(made.evidence(BEGIN_S, END_S, "pages", "air").between(SettingsSaved, HotspotGone))
    assert reading.low <= 112.7 - 110.5 + 0.1
    assert reading.high >= 112.6 - 110.5
    assert reading.high - reading.low < 0.4


def test_what_is_typed_and_what_must_not_outlive_the_run() -> None:
    seen = evidence()
    assert seen.typed["opens_at"] == "27.5"
    assert set(seen.canaries) == {*SECRETS, "network"}
    assert seen.fact("build", "version") == "1.4.0"
    assert seen.fact("no such", "fact") == ""
