"""The probe's view: the bench's own station on the unit's hotspot."""

from math import inf

import pytest
from support.records import make, moment

from hil.core.moments import Moment
from hil.core.readings import between
from hil.evidence.events import ProbeJoined, ProbeLeased
from hil.evidence.seen import Seen
from hil.evidence.stations import ProbeView

JOINED = moment(110.0, "probe", "joined", doubt_s=0.03, ssid="mossgate-a731")
LEASED = moment(112.0, "probe", "leased", doubt_s=0.04, ip="203.0.113.2")
FAILED = moment(125.0, "probe", "join failed", why="no answer to the key")


def view(*moments: Moment) -> ProbeView:
    return ProbeView(make(moments).window(100.0, 130.0))


def test_it_got_in() -> None:
    seen = view(JOINED, LEASED).got_in()
    assert (seen.holds, seen.at_s) == (True, 112.0)
    assert "203.0.113.2" in seen.text


def test_it_was_kept_out_and_why() -> None:
    seen = view(FAILED).got_in()
    assert (seen.holds, seen.at_s) == (False, 125.0)
    assert "no answer to the key" in seen.text


def test_joined_without_a_lease_is_not_in() -> None:
    assert view(JOINED, FAILED).got_in().holds is False


@pytest.mark.parametrize("moments", [(), (JOINED,)])
def test_an_attempt_of_which_nothing_is_recorded_tells_nothing(moments: tuple[Moment, ...]) -> None:
    seen = view(*moments).got_in()
    assert seen.holds is None
    assert seen.text.startswith("probe")


def test_moments_outside_the_leg_do_not_count() -> None:
    early = moment(90.0, "probe", "leased", ip="203.0.113.2")
    assert view(early).got_in().holds is None


def test_the_time_to_a_lease() -> None:
    reading = between(*view(JOINED, LEASED).lease_time())
    assert reading.value == pytest.approx(2.0)
    assert reading.doubt == pytest.approx(0.05)  # 0.03 and 0.04, root of squares (JCGM 100:2008 5.1.2)


def test_no_lease_until_the_probe_gave_up_is_longer_than_that() -> None:
    reading = between(*view(JOINED, FAILED).lease_time())
    assert (reading.low, reading.high) == (pytest.approx(14.97), inf)
    assert reading.because == ""  # the probe looked on until it gave up: a fail, where that is past the limit


def test_what_nobody_recorded_is_unknown_and_says_so() -> None:
    for moments in ((), (JOINED,)):
        reading = between(*view(*moments).lease_time())
        assert reading.high == inf
        assert "probe" in reading.because


def test_a_probe_that_was_kept_out_never_joined_and_that_is_the_unit_s_doing() -> None:
    seen = make([FAILED]).evidence(100.0, 130.0, "probe").between(ProbeJoined, ProbeLeased)
    assert isinstance(seen, Seen)
    assert seen.holds is False
