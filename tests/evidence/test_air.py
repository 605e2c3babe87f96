"""The air's view. The control's longest gap is 0.5 s by the design's table; a beacon interval is 100 time units of
1024 µs (IEEE 802.11-2020 9.4.1.3 and clause 3)."""

from collections.abc import Iterable
from dataclasses import replace

import pytest
from support.records import (
    BEACON_S,
    CONTROL,
    HOTSPOT,
    NETWORK,
    UNIT,
    awake,
    beacon,
    beacons,
    make,
    moment,
    seeks,
    without,
)

from hil.core.moments import Moment
from hil.core.readings import Occurrence
from hil.evidence.air import AirView

BEGIN_S, END_S = 100.0, 130.0
HEARING = awake(98.0, 132.0)


def view(*parts: Iterable[Moment], end_s: float = END_S) -> AirView:
    return AirView(make([m for part in parts for m in part]).window(BEGIN_S, end_s))


def test_it_is_awake_while_the_control_is_heard_on_every_channel() -> None:
    assert view(HEARING).asleep == []


@pytest.mark.parametrize("channel", [1, 6])
def test_deaf_on_one_channel_is_deaf(channel: int) -> None:
    deaf = [m for m in HEARING if not (m.data.get("channel") == channel and 110.0 < m.time_s < 112.0)]
    gaps = view(deaf).asleep
    assert len(gaps) == 1
    assert gaps[0].begin_s == pytest.approx(110.0, abs=BEACON_S)
    assert gaps[0].end_s == pytest.approx(112.0, abs=BEACON_S)


def test_a_time_stamp_that_stands_still_proves_nothing() -> None:
    """A monitor that replays an old frame, or a queue that is stuck, hears the same stamp again."""
    stuck = [beacon(m.time_s, CONTROL, channel=6, tsf=5) for m in HEARING if m.data.get("channel") == 6]
    gaps = view([m for m in HEARING if m.data.get("channel") != 6], stuck).asleep
    assert [(gap.begin_s, gap.end_s) for gap in gaps] == [(BEGIN_S, END_S)]


def test_another_network_is_no_control() -> None:
    other = [m for m in HEARING if m.data.get("name") != CONTROL]
    gaps = view(other, beacons(98.0, 132.0, "control-of-a-stranger")).asleep
    assert gaps[0].begin_s == BEGIN_S


def test_without_watched_channels_there_is_no_control() -> None:
    facts = {"unit": {"radio address": UNIT}, "trial": {"control_network": CONTROL, "control_channels": []}}
    window = make(HEARING, facts=facts).window(BEGIN_S, END_S)
    assert [(gap.begin_s, gap.end_s) for gap in AirView(window).asleep] == [(BEGIN_S, END_S)]


def test_the_first_beacon_has_the_moment_s_time_and_doubt() -> None:
    air = view(HEARING, beacons(120.0, END_S))
    seen = air.first(air.hotspot_beacons, BEGIN_S)
    assert (seen.earliest_s, seen.latest_s) == (pytest.approx(119.988), pytest.approx(120.012))
    assert seen.measured


def test_a_beacon_after_a_deaf_stretch_may_have_come_any_time_since() -> None:
    """The row "deaf 118 to 129, beacon at 129.5" of the design's table."""
    deaf = without(HEARING, CONTROL, 118.0, 129.0)
    air = view(deaf, beacons(129.5, END_S))
    seen = air.first(air.hotspot_beacons, BEGIN_S)
    assert not seen.measured
    assert seen.earliest_s == pytest.approx(118.0, abs=BEACON_S)
    assert seen.latest_s == pytest.approx(129.512)
    assert "air monitor asleep from 11" in seen.because


def test_no_beacon_while_awake_is_not_before_the_end() -> None:
    air = view(HEARING)
    seen = air.first(air.hotspot_beacons, BEGIN_S)
    assert (seen.earliest_s, seen.seen, seen.because) == (END_S, False, "")


def test_no_beacon_with_the_control_lost_says_from_when() -> None:
    air = view(without(HEARING, CONTROL, 118.0, 132.0))
    seen = air.first(air.hotspot_beacons, BEGIN_S)
    assert not seen.seen
    assert seen.earliest_s == pytest.approx(118.0, abs=BEACON_S)
    assert "air monitor asleep" in seen.because


def test_the_same_stamp_twice_is_one_beacon() -> None:
    air = view(HEARING, [beacon(120.0, HOTSPOT), beacon(120.3, HOTSPOT, tsf=130_000_000)])
    assert len(air.hotspot_beacons) == 1


class TestHotspotGone:
    """When the hotspot fell silent."""

    def test_between_its_last_beacon_and_the_next_due(self) -> None:
        on_air = beacons(100.0, 115.0)
        last_s = on_air[-1].time_s
        gone = view(HEARING, on_air).hotspot_gone(110.0)
        assert gone.measured
        assert gone.earliest_s == pytest.approx(last_s, abs=0.02)
        assert gone.latest_s == pytest.approx(last_s + BEACON_S, abs=0.02)

    def test_its_end_is_found_though_it_comes_back(self) -> None:
        on_air = beacons(100.0, 115.0)
        gone = view(HEARING, on_air, beacons(120.0, END_S)).hotspot_gone(110.0)
        assert gone.earliest_s == pytest.approx(on_air[-1].time_s, abs=0.02)
        assert gone.latest_s < 116.0

    def test_a_few_beacons_lost_are_not_its_end(self) -> None:
        on_air = [m for m in beacons(100.0, 115.0) if not 111.0 < m.time_s < 111.5]
        assert view(HEARING, on_air).hotspot_gone(110.0).earliest_s > 114.5

    def test_one_that_never_falls_silent_is_not_gone(self) -> None:
        gone = view(HEARING, beacons(100.0, 131.0)).hotspot_gone(110.0)
        assert not gone.seen
        assert gone.earliest_s > END_S - 0.2
        assert gone.because == ""

    def test_a_deaf_monitor_cannot_tell(self) -> None:
        deaf = without(HEARING, CONTROL, 114.5, 118.0)
        gone = view(deaf, beacons(100.0, 114.5), beacons(118.0, 131.0)).hotspot_gone(110.0)
        assert not gone.seen
        assert "air monitor asleep" in gone.because
        assert gone.earliest_s == pytest.approx(114.5, abs=0.2)

    def test_one_that_was_never_heard_cannot_fall_silent(self) -> None:
        gone = view(HEARING).hotspot_gone(110.0)
        assert not gone.seen
        assert "not heard before" in gone.because


class TestNamed:
    """The promised name, and no other."""

    def test_the_promised_name(self) -> None:
        assert view(HEARING, beacons(110.0, END_S)).named().holds is True

    def test_another_name_is_a_failure_and_told(self) -> None:
        seen = view(HEARING, beacons(110.0, END_S), beacons(110.0, END_S, "mossgate-0000", channel=1)).named()
        assert seen.holds is False
        assert "mossgate-0000" in seen.text

    @pytest.mark.parametrize("name", ["", "mossgate-A731", "mossgate-a731 "])
    def test_nearly_the_name_is_another(self, name: str) -> None:
        assert view(HEARING, beacons(110.0, END_S, name)).named().holds is False

    def test_the_bench_s_own_networks_are_not_the_unit_s(self) -> None:
        air = view(HEARING, beacons(110.0, END_S), beacons(100.0, END_S, NETWORK, channel=1))
        assert air.named().holds is True

    def test_nothing_heard_while_awake_is_a_failure(self) -> None:
        assert view(HEARING).named().holds is False

    def test_nothing_heard_while_deaf_tells_nothing(self) -> None:
        seen = view(without(HEARING, CONTROL, 105.0, 120.0)).named()
        assert seen.holds is None
        assert "air monitor" in seen.text


class TestSecured:
    """The security that beacons announce."""

    def test_every_beacon_counts(self) -> None:
        on_air = beacons(110.0, 120.0)
        assert view(HEARING, on_air).secured_as("wpa2").holds is True
        assert view(HEARING, beacons(0.0, END_S, security="wpa2 and wpa3")).secured_as("wpa2").holds is True
        assert view(HEARING, beacons(0.0, END_S, security="wpa3")).secured_as("wpa2").holds is False
        seen = view(HEARING, on_air, beacons(120.0, END_S, security="open")).secured_as("wpa2")
        assert seen.holds is False
        assert "open" in seen.text
        assert seen.at_s == pytest.approx(120.0)

    def test_none_heard_is_a_failure_or_untold(self) -> None:
        assert view(HEARING).secured_as("wpa2").holds is False
        assert view().secured_as("wpa2").holds is None


class TestSilentAfter:
    """No beacon after something happened."""

    def test_silence_before_an_awake_monitor(self) -> None:
        assert view(HEARING, beacons(100.0, 110.0)).silent_after(Occurrence.at(111.0, 0.1)).holds is True

    def test_one_beacon_breaks_it(self) -> None:
        seen = view(HEARING, beacons(100.0, 110.0), [beacon(121.0, HOTSPOT)]).silent_after(Occurrence.at(111.0, 0.1))
        assert seen.holds is False
        assert seen.at_s == 121.0

    def test_deaf_afterwards_tells_nothing_and_deaf_before_does_not_matter(self) -> None:
        late = without(HEARING, CONTROL, 120.0, 122.0)
        early = without(HEARING, CONTROL, 102.0, 104.0)
        assert view(late).silent_after(Occurrence.at(111.0, 0.1)).holds is None
        assert view(early).silent_after(Occurrence.at(111.0, 0.1)).holds is True

    def test_what_never_came_is_a_failure_and_what_nobody_saw_is_untold(self) -> None:
        assert view(HEARING).silent_after(Occurrence.not_before(130.0, "")).holds is False
        seen = view(HEARING).silent_after(Occurrence.not_before(130.0, "access point asleep"))
        assert (seen.holds, seen.text) == (None, "access point asleep")


def test_the_unit_seeks_with_its_own_address_in_any_case() -> None:
    stranger = seeks(103.0, sender="02:00:00:00:00:99")
    own = [seeks(104.0, kind, sender=UNIT.upper()) for kind in ("seeks", "authenticates", "associates")]
    air = view(HEARING, [stranger, *own])
    assert air.unit_seeks == tuple(own)
    assert air.seeks_network().holds is True
    assert view(HEARING, [stranger]).seeks_network().holds is False
    assert view([stranger]).seeks_network().holds is None


def test_octets_are_the_names_and_dhcp_messages_of_the_leg() -> None:
    dhcp = [moment(112.0, "air", "dhcp", message="request", octets="00ff61"), moment(90.0, "air", "dhcp", octets="ee")]
    octets = view([beacon(111.0, HOTSPOT), seeks(111.5), *dhcp]).octets()
    assert octets == [HOTSPOT.encode(), NETWORK.encode(), b"\x00\xffa"]


class TestOnAirThroughout:
    """The hotspot on the air over the whole leg; a time stamp counts from its network's begin (IEEE 802.11-2020, 9.4.1.10)."""

    def test_beacons_to_the_end(self) -> None:
        assert view(HEARING, beacons(98.0, 132.0)).on_air_throughout().holds is True

    @pytest.mark.parametrize("spans", [((98.0, 120.0),), ((110.0, 132.0),), ((98.0, 110.0), (112.0, 132.0))])
    def test_a_silence_is_the_unit_s_before_an_awake_monitor(self, spans: tuple[tuple[float, float], ...]) -> None:
        heard = [m for begin_s, end_s in spans for m in beacons(begin_s, end_s)]
        seen = view(HEARING, heard).on_air_throughout()
        assert seen.holds is False
        assert "no beacon of the hotspot from 1" in seen.text
        assert view(HEARING).on_air_throughout().holds is False

    def test_a_few_beacons_lost_are_no_silence(self) -> None:
        heard = [m for m in beacons(98.0, 132.0) if not 111.0 < m.time_s < 111.5]
        assert view(HEARING, heard).on_air_throughout().holds is True

    def test_a_restart_between_two_beacons_shows_in_the_time_stamp(self) -> None:
        again = [beacon(m.time_s, HOTSPOT, tsf=round((m.time_s - 115.0) * 1e6)) for m in beacons(115.3, 132.0)]
        seen = view(HEARING, beacons(98.0, 115.2), again).on_air_throughout()
        assert seen.holds is False
        assert "began anew at 115.3" in seen.text

    def test_a_deaf_monitor_cannot_tell(self) -> None:
        deaf = without(HEARING, CONTROL, 114.5, 118.0)
        seen = view(deaf, beacons(98.0, 114.5), beacons(118.0, 132.0)).on_air_throughout()
        assert seen.holds is None
        assert "air monitor asleep" in seen.text
        assert view().on_air_throughout().holds is None


def test_a_beacon_of_long_before_that_is_repeated_is_not_heard_anew() -> None:
    """A monitor that stands still shows what it heard of the hotspot in another leg, minutes ago."""
    stale = AirView(make([beacon(20.0, HOTSPOT), replace(beacon(20.0, HOTSPOT), time_s=101.0)]).window(100.0, 130.0))
    assert stale.hotspot_beacons == ()
    fresh = AirView(make([beacon(20.0, HOTSPOT), beacon(101.0, HOTSPOT)]).window(100.0, 130.0))
    assert len(fresh.hotspot_beacons) == 1
