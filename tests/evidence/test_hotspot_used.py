"""The hotspot in use: the longest silence between two beacons, a stay, and what phones asked for; on records made by hand.

Beacons come every 102.4 ms (IEEE 802.11-2020: 100 time units of 1024 microseconds, the usual interval).
"""

from itertools import pairwise

import pytest
from support.records import BEACON_S, HOTSPOT, answered, awake, beacons, make, moment, without

from hil.core.moments import Moment
from hil.core.readings import Reading
from hil.evidence.seen import Seen
from hil.page.captive import CAPTIVE_PROBES

END_S = 30.0


def longest(moments: list[Moment]) -> Reading | Seen:
    return make(moments).evidence(0.0, END_S, "air").air.longest_silence()


@pytest.mark.parametrize("gap_s", [0.5, 1.5, 4.0])
def test_the_longest_silence_is_the_gap_and_the_doubt_of_both_beacons(gap_s: float) -> None:
    heard = without(beacons(0.0, END_S), HOTSPOT, 10.0, 10.0 + gap_s)
    reading = longest([*awake(0.0, END_S), *heard])
    assert isinstance(reading, Reading)
    times = [m.time_s for m in heard]
    truth = max(b - a for a, b in pairwise(times))
    assert gap_s - BEACON_S <= truth <= gap_s + 2 * BEACON_S
    assert reading.low <= truth <= reading.high
    assert reading.doubt < 0.02
    assert reading.at_s == pytest.approx(max(t for t in times if t <= 10.0))


def test_a_hotspot_that_falls_silent_for_good_is_silent_to_the_end() -> None:
    reading = longest([*awake(0.0, END_S), *beacons(0.0, 10.0)])
    assert isinstance(reading, Reading)
    assert reading.low > 19.5


def test_one_never_heard_fails_before_an_awake_monitor_alone() -> None:
    unheard = longest(awake(0.0, END_S))
    assert isinstance(unheard, Seen)
    assert unheard.holds is False
    deaf = longest(awake(0.0, END_S, but=["air monitor"]))
    assert isinstance(deaf, Seen)
    assert deaf.holds is None


def test_a_gap_of_the_monitor_is_no_gap_of_the_hotspot() -> None:
    heard = [*awake(0.0, END_S), *beacons(0.0, END_S)]
    reading = longest([m for m in heard if not (m.source == "air" and 10.0 < m.time_s < 14.0)])
    assert isinstance(reading, Reading)
    assert reading.low < 0.2
    assert reading.high > 3.9
    assert "air monitor asleep" in reading.because


def test_a_monitor_that_repeats_itself_hears_nothing() -> None:
    heard = [*awake(0.0, 5.0), *beacons(0.0, 5.0)]
    last = {name: [m for m in heard if m.data.get("name") == name][-1] for name in (HOTSPOT,)}
    repeated = [Moment(5.0 + n / 10, 0.012, "air", "beacon", last[HOTSPOT].data) for n in range(250)]
    reading = longest([*heard, *repeated])
    assert isinstance(reading, Reading)
    assert reading.high > 24.0
    assert "air monitor asleep" in reading.because


def test_one_beacon_without_security_is_one_too_many_and_a_deaf_stretch_may_have_hidden_it() -> None:
    heard = [*awake(0.0, END_S), *beacons(0.0, 10.0), *beacons(10.1, END_S)]
    assert make(heard).evidence(0.0, END_S, "air").air.secured_throughout("wpa2").holds is True
    opened = [*heard, *beacons(10.05, 10.1, security="open")]
    assert make(opened).evidence(0.0, END_S, "air").air.secured_throughout("wpa2").holds is False
    deaf = [m for m in heard if not (m.source == "air" and 10.0 < m.time_s < 14.0)]
    assert make(deaf).evidence(0.0, END_S, "air").air.secured_throughout("wpa2").holds is None


def stay(*moments: Moment, probe_awake: bool = True) -> Seen:
    alive = [moment(n / 2, "probe", "answering") for n in range(60)] if probe_awake else []
    told = [
        moment(1.0, "probe", "joined"),
        moment(1.5, "probe", "leased", ip="203.0.113.2"),
        moment(2.0, "leg", "stays on the hotspot", for_s=20.0),
        moment(22.0, "leg", "has stayed on the hotspot"),
        moment(23.0, "probe", "left"),
    ]
    return make([*alive, *told, *moments]).evidence(0.0, END_S, "probe").probe.stayed()


def test_who_is_sent_away_did_not_stay_and_who_leaves_did() -> None:
    assert stay().holds is True
    assert stay(moment(10.0, "probe", "left", reason=3)).holds is False
    unsure = stay(probe_awake=False)
    assert (unsure.holds, "probe asleep" in unsure.text) == (None, True)


def test_who_never_got_in_did_not_stay() -> None:
    failed = make([moment(9.0, "probe", "join failed", why="not found")]).evidence(0.0, END_S).probe.stayed()
    assert failed.holds is False
    assert make([]).evidence(0.0, END_S).probe.stayed().holds is None


def captive(**of_first: object) -> dict[str, Seen]:
    moments = []
    for probe in CAPTIVE_PROBES:
        page = answered(3.0, probe.purpose, "", status=302, url=f"http://203.0.113.1{probe.path}")
        data = dict(page.data) | {"location": "http://203.0.113.1/"}
        if probe is CAPTIVE_PROBES[0]:
            data |= {key: value for key, value in of_first.items() if isinstance(value, str | int)}
        moments.append(Moment(page.time_s, page.doubt_s, page.source, page.kind, data))
    return make(moments).evidence(0.0, END_S, "pages").captive()


def test_every_page_asked_for_must_lead_to_the_form() -> None:
    assert {seen.holds for seen in captive().values()} == {True}
    assert len(captive()) == len(CAPTIVE_PROBES)
    for bad in ({"status": 404}, {"location": "http://203.0.113.1/welcome"}, {"status": 204}):
        assert [seen.holds for seen in captive(**bad).values()] == [False] + [True] * (len(CAPTIVE_PROBES) - 1)


def test_pages_of_which_nothing_is_recorded_are_unjudged() -> None:
    assert {seen.holds for seen in make([]).evidence(0.0, END_S).captive().values()} == {None}
    gave_up = moment(2.0, "leg", "gave up", why="the probe could not join")
    assert {seen.holds for seen in make([gave_up]).evidence(0.0, END_S).captive().values()} == {False}
