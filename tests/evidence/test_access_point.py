"""The access point's view: the unit among its clients, the daemon's answers as control (longest gap 2 s)."""

from collections.abc import Iterable

import pytest
from support.records import BEACON_S, UNIT, awake, make, moment

from hil.core.moments import Moment
from hil.evidence.stations import AccessPointView

BEGIN_S, END_S = 100.0, 130.0
ANSWERING = awake(98.0, 132.0)


def ap(time_s: float, kind: str, address: str = UNIT, **data: str) -> Moment:
    return moment(time_s, "access point", kind, doubt_s=0.05, address=address, **data)


def view(*parts: Iterable[Moment]) -> AccessPointView:
    return AccessPointView(make([m for part in parts for m in part]).window(BEGIN_S, END_S))


def silent(begin_s: float, end_s: float) -> list[Moment]:
    return [m for m in ANSWERING if not (m.kind == "answering" and begin_s < m.time_s < end_s)]


def test_only_the_unit_counts_in_whatever_case() -> None:
    others = [ap(105.0, "leased", "02:00:00:00:00:77", ip="198.51.100.9")]
    own = ap(108.0, "leased", UNIT.upper(), ip="198.51.100.2")
    seen = view(ANSWERING, others, [own])
    assert seen.of_unit("leased") == (own,)
    assert seen.leased_address == "198.51.100.2"
    assert seen.first("leased", BEGIN_S).latest_s == pytest.approx(108.05)


def test_the_last_lease_is_the_one_that_counts() -> None:
    leases = [ap(105.0, "leased", ip="198.51.100.2"), ap(115.0, "leased", ip="198.51.100.3")]
    assert view(ANSWERING, leases).leased_address == "198.51.100.3"
    assert view(ANSWERING).leased_address is None


def test_asleep_is_where_the_daemon_is_silent_for_more_than_two_seconds() -> None:
    assert view(silent(110.0, 111.9)).asleep == []
    gaps = view(silent(110.0, 113.0)).asleep
    assert [(gap.begin_s, gap.end_s) for gap in gaps] == [(110.0, 113.0)]


def test_a_lease_after_silence_may_have_come_any_time_since() -> None:
    seen = view(silent(106.0, 112.0), [ap(113.0, "leased", ip="198.51.100.2")]).first("leased", BEGIN_S)
    assert (seen.earliest_s, seen.measured) == (106.0, False)
    assert "access point asleep" in seen.because


class TestLeasedAndStayed:
    """An address, and no farewell from then on."""

    LEASE = (ap(105.0, "leased", ip="198.51.100.2"),)

    def test_it_stayed(self) -> None:
        assert view(ANSWERING, self.LEASE).leased_and_stayed().holds is True

    def test_a_farewell_before_the_lease_does_not_matter(self) -> None:
        assert view(ANSWERING, self.LEASE, [ap(102.0, "left")]).leased_and_stayed().holds is True

    def test_a_farewell_after_it_does(self) -> None:
        seen = view(ANSWERING, self.LEASE, [ap(120.0, "left")]).leased_and_stayed()
        assert (seen.holds, seen.at_s) == (False, 120.0)

    def test_a_stranger_s_farewell_does_not(self) -> None:
        left = [ap(120.0, "left", "02:00:00:00:00:77")]
        assert view(ANSWERING, self.LEASE, left).leased_and_stayed().holds is True

    def test_never_leased_before_an_awake_witness_is_a_failure(self) -> None:
        assert view(ANSWERING).leased_and_stayed().holds is False

    def test_a_silent_daemon_tells_nothing(self) -> None:
        assert view(silent(99.0, 131.0)).leased_and_stayed().holds is None
        assert view(silent(110.0, 120.0), self.LEASE).leased_and_stayed().holds is None


class TestNeverJoined:
    """The unit kept off the bench's network."""

    def test_it_kept_off(self) -> None:
        assert view(ANSWERING, [ap(110.0, "joined", "02:00:00:00:00:77")]).never_joined().holds is True

    @pytest.mark.parametrize("kind", ["joined", "wrong key"])
    def test_an_attempt_breaks_it(self, kind: str) -> None:
        seen = view(ANSWERING, [ap(110.0, kind)]).never_joined()
        assert (seen.holds, seen.at_s) == (False, 110.0)

    def test_a_silent_daemon_tells_nothing(self) -> None:
        seen = view(silent(110.0, 120.0)).never_joined()
        assert seen.holds is None
        assert "access point asleep from 110.0 s to 120.0 s" in seen.text


class TestOwnBeacon:
    """While its network should be up, its beacon is heard at least every two seconds by a monitor that is awake."""

    BSSID = "02:00:00:00:00:aa"
    UP = moment(99.0, "access point", "up", name="bench-q7", channel=1, bssid=BSSID)
    DOWN = moment(120.0, "access point", "down")

    def beacons(self, *stretches: tuple[float, float], frozen: bool = False) -> list[Moment]:
        times = [
            begin_s + n * BEACON_S for begin_s, end_s in stretches for n in range(int((end_s - begin_s) / BEACON_S))
        ]
        stamps = [7 if frozen else 1 + int(time_s * 1e6) for time_s in times]
        return [
            moment(time_s, "air", "beacon", name="bench-q7", channel=1, bssid=self.BSSID, tsf=stamp)
            for time_s, stamp in zip(times, stamps, strict=True)
        ]

    def test_heard_throughout(self) -> None:
        assert view(ANSWERING, [self.UP, self.DOWN], self.beacons((99.0, 120.0))).asleep == []

    def test_silent_while_it_should_be_up(self) -> None:
        gaps = view(ANSWERING, [self.UP, self.DOWN], self.beacons((99.0, 110.0))).asleep
        assert [gap.begin_s for gap in gaps] == pytest.approx([110.0], abs=0.2)
        assert [gap.end_s for gap in gaps] == [120.0]

    def test_stamps_that_stand_still_are_silence(self) -> None:
        assert view(ANSWERING, [self.UP, self.DOWN], self.beacons((99.0, 120.0), frozen=True)).asleep != []

    def test_silent_before_a_deaf_monitor_says_nothing(self) -> None:
        deaf = [m for m in ANSWERING if not (m.source == "air" and m.time_s > 109.0)]
        assert view(deaf, [self.UP, self.DOWN], self.beacons((99.0, 110.0))).asleep == []

    def test_beacons_after_it_went_up_again_do_not_reach_back(self) -> None:
        again = moment(125.0, "access point", "up", name="bench-q7", channel=1, bssid=self.BSSID)
        down = moment(100.1, "access point", "down")
        heard = self.beacons((99.0, 100.1), (125.0, 131.0))
        assert view(ANSWERING, [self.UP, down, again], heard).asleep == []


def test_a_unit_that_was_never_started_kept_off_nothing() -> None:
    """The flasher's port was gone, and so the leg ended before the unit was started."""
    gone = moment(120.0, "leg", "gave up", why="its port is gone", instrument="console")
    window = make([*awake(98.0, 132.0), gone]).window(100.0, 130.0)
    seen = AccessPointView(window).never_joined()
    assert (seen.holds, "console" in seen.text) == (None, True)
    assert AccessPointView(make(awake(98.0, 132.0)).window(100.0, 130.0)).never_joined().holds is True
