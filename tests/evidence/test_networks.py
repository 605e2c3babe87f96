"""What evidence says of a unit before networks that let it down: tried, waited for, come back to, and shown by its lamp.

Times are made by hand; a doubt of 0.05 s is the access point's, the camera's follow from the frames made.
"""

from collections.abc import Iterable

import pytest
from support.records import (
    NETWORK,
    UNIT,
    Made,
    Plan,
    awake,
    beacons,
    lamp_frames,
    make,
    moment,
    power,
    seeks,
    states,
    switchings,
)

from hil.core.moments import Moment
from hil.core.readings import Occurrence, Reading
from hil.evidence.events import Leased, NetworkUp
from hil.evidence.leg_evidence import LegEvidence
from hil.evidence.stations import AccessPointView
from hil.evidence.views import Gate

BEGIN_S, END_S = 100.0, 130.0
AWAKE = awake(98.0, 132.0)


def ap(time_s: float, kind: str, **data: str) -> Moment:
    return moment(time_s, "access point", kind, doubt_s=0.05, address=UNIT, **data)


def up(time_s: float, lease_delay_s: float | None = 0.0) -> Moment:
    return moment(time_s, "access point", "up", name=NETWORK, channel=11, bssid="02::1", lease_delay_s=lease_delay_s)


def made(*moments: Moment, but: Iterable[str] = ()) -> Made:
    return make([*awake(98.0, 132.0, but=but), *moments])


def access_point(*moments: Moment, but: Iterable[str] = ()) -> AccessPointView:
    return AccessPointView(made(*moments, but=but).window(BEGIN_S, END_S))


class TestOnTheAir:
    """The time from a network's going on the air, and what it kept back."""

    def test_the_last_time_it_was_put_on_the_air_counts(self) -> None:
        moments = (up(101.0), moment(110.0, "access point", "down"), up(115.0), ap(121.0, "leased", ip="198.51.100.2"))
        reading = made(*moments).evidence(BEGIN_S, END_S, "access_point").between(NetworkUp, Leased)
        assert isinstance(reading, Reading)
        assert (reading.value, reading.doubt) == (pytest.approx(6.0), pytest.approx(0.05))

    def test_a_network_that_was_not_put_up_again_is_nothing_to_come_back_to(self) -> None:
        """The lease before it went is no return, and the hotspot after it no fault."""
        lost = [up(101.0), ap(104.0, "leased", ip="198.51.100.2"), moment(110.0, "access point", "down")]
        seen = made(*lost, *beacons(115.0, 129.0)).evidence(BEGIN_S, END_S, "access_point", "air")
        reading = seen.between(NetworkUp, Leased)
        assert isinstance(reading, Reading)
        assert "access point: the network was not put on the air again" in reading.because
        assert (seen.hotspot_off(2.0).holds, "access point" in seen.hotspot_off(2.0).text) == (None, True)

    def test_a_lease_from_before_is_no_answer(self) -> None:
        moments = (ap(104.0, "leased", ip="198.51.100.2"), up(115.0))
        reading = made(*moments).evidence(BEGIN_S, END_S).between(NetworkUp, Leased)
        assert isinstance(reading, Reading)
        assert (reading.low, reading.value, reading.because) == (pytest.approx(15.0), None, "")

    def test_never_on_the_air_before_an_awake_access_point_holds_not(self) -> None:
        """A unit that never came so far that its network could be lost."""
        seen = made().evidence(BEGIN_S, END_S).between(NetworkUp, Leased)
        assert not isinstance(seen, Reading)
        assert seen.holds is False

    def test_before_one_asleep_nobody_can_say(self) -> None:
        assert "access point asleep" in access_point(but=["access point"]).last_up().because

    @pytest.mark.parametrize(("told", "delay_s"), [(10.0, 10.0), (None, 0.0)])
    def test_the_delay_is_that_of_the_first_plan(self, told: float | None, delay_s: float) -> None:
        assert access_point(up(101.0, told), up(125.0, 3.0)).lease_delay_s == delay_s
        assert access_point().lease_delay_s == 0.0


class TestTried:
    """Whether the unit came to its network before its hotspot opened."""

    OPENED = Occurrence.at(126.0, 0.01)

    @pytest.mark.parametrize("kind", ["joined", "wrong key"])
    def test_it_did(self, kind: str) -> None:
        assert access_point(ap(104.0, kind)).tried(self.OPENED).holds is True

    def test_it_did_not(self) -> None:
        assert access_point(ap(128.0, "joined")).tried(self.OPENED).holds is False

    def test_the_good_network_that_came_after_it_is_another(self) -> None:
        """The hotspot never opened: what was joined at 124 s was the network put up at 120 s."""
        never = Occurrence.not_before(END_S, "")
        assert access_point(up(101.0), up(120.0), ap(124.0, "joined")).tried(never).holds is False
        assert access_point(up(101.0), ap(114.0, "joined"), up(120.0)).tried(never).holds is True

    def test_nobody_can_say(self) -> None:
        assert access_point(but=["access point"]).tried(self.OPENED).holds is None
        any_time = Occurrence(100.0, 126.0, measured=False, because="air monitor asleep")
        assert access_point(ap(104.0, "joined")).tried(any_time).holds is None


class TestWaited:
    """Joined once, until the address was given."""

    JOINED, LEASED = ap(104.0, "joined"), ap(114.0, "leased", ip="198.51.100.2")

    def test_it_waited(self) -> None:
        assert access_point(self.JOINED, self.LEASED, ap(120.0, "left")).waited_for_lease().holds is True

    @pytest.mark.parametrize("kind", ["left", "joined"])
    def test_it_left_or_began_anew(self, kind: str) -> None:
        seen = access_point(self.JOINED, ap(109.0, kind), self.LEASED).waited_for_lease()
        assert (seen.holds, seen.at_s) == (False, 109.0)

    def test_it_waited_in_vain(self) -> None:
        seen = access_point(self.JOINED).waited_for_lease()
        assert (seen.holds, seen.text) == (False, "no address was given")

    def test_it_never_joined(self) -> None:
        assert access_point().waited_for_lease().holds is False

    def test_asleep_meanwhile_nobody_can_say(self) -> None:
        kept = [m for m in AWAKE if not (m.kind == "answering" and 105.0 < m.time_s < 109.0)]
        window = make([*kept, self.JOINED, self.LEASED]).window(BEGIN_S, END_S)
        assert AccessPointView(window).waited_for_lease().holds is None


class TestHotspotOff:
    """Silence from a time after the last address on."""

    BACK = (up(115.0), ap(121.0, "leased", ip="198.51.100.2"))

    def evidence(self, hotspot_until_s: float, *moments: Moment) -> LegEvidence:
        return made(*beacons(110.0, hotspot_until_s), *moments).evidence(BEGIN_S, END_S, "air", "access_point")

    def test_beacons_up_to_that_time_are_allowed(self) -> None:
        assert self.evidence(122.5, *self.BACK).hotspot_off(2.0).holds is True
        assert self.evidence(123.5, *self.BACK).hotspot_off(2.0).holds is False

    def test_a_leg_that_ended_too_soon_tells_nothing(self) -> None:
        """Silence in no time at all is no silence."""
        back = (up(115.0), ap(127.5, "leased", ip="198.51.100.2"))
        assert self.evidence(127.0, *back).hotspot_off(1.0).holds is True
        assert self.evidence(127.0, *back).hotspot_off(2.0).holds is None

    def test_an_address_from_before_the_loss_does_not_count(self) -> None:
        seen = self.evidence(112.0, ap(104.0, "leased", ip="198.51.100.2"), up(115.0)).hotspot_off(2.0)
        assert (seen.holds, seen.text) == (False, "it never came to that")


def test_a_hidden_network_is_asked_for_by_name() -> None:
    def asked(*moments: Moment) -> bool | None:
        return made(*moments).evidence(BEGIN_S, END_S, "air").air.asks_by_name().holds

    assert asked(seeks(104.0, name="")) is False
    assert asked(seeks(104.0, "associates")) is False
    assert asked(seeks(104.0)) is True
    assert made(but=["air monitor"]).evidence(BEGIN_S, END_S).air.asks_by_name().holds is None


class TestLampWaits:
    """A connection is claimed by the lamp no sooner than it is one."""

    GREEN_AT_112: Plan = ((102.0, "white"), (112.0, "green"))

    def seen(self, plan: Plan, *moments: Moment, camera: bool = True) -> bool | None:
        switched = switchings(92.0, 134.0) if camera else []
        frames = lamp_frames(plan, switched, 92.0, 134.0)
        supply = [power("off", 90.0), *states(90.0, 101.0, on=False), power("on", 101.0), *states(101.0, 134.0)]
        evidence = make([*awake(90.0, 134.0, but=["power"]), *supply, *switched, *moments], frames=frames)
        return LegEvidence(evidence.window(BEGIN_S, END_S), Gate()).lamp_waits_for_address().holds

    def test_at_the_address_or_later(self) -> None:
        assert self.seen(self.GREEN_AT_112, ap(112.0, "leased", ip="198.51.100.2")) is True
        assert self.seen(self.GREEN_AT_112, ap(108.0, "leased", ip="198.51.100.2")) is True

    def test_sooner(self) -> None:
        assert self.seen(self.GREEN_AT_112, ap(115.0, "leased", ip="198.51.100.2")) is False
        assert self.seen(self.GREEN_AT_112) is False

    def test_never(self) -> None:
        assert self.seen(((102.0, "white"), (112.0, "blue"))) is True

    def test_no_camera(self) -> None:
        assert self.seen(self.GREEN_AT_112, ap(112.0, "leased", ip="198.51.100.2"), camera=False) is None


def test_the_parameter_is_what_the_leg_s_name_has_in_brackets() -> None:
    assert made().evidence(BEGIN_S, END_S).parameter == ""
    window = made().window(BEGIN_S, END_S)
    named = type(window)("network_late[much later]", BEGIN_S, END_S, window.record)
    assert LegEvidence(named, Gate()).parameter == "much later"


class TestCutWhileJoining:
    """Whether a cut met the unit while it joined: it had looked for a network by then."""

    @staticmethod
    def cut(*more: Moment, but: Iterable[str] = ()) -> LegEvidence:
        """On at 101 s, off at 110 s, on for good at 112 s."""
        off = moment(111.0, "power", "state", on=False)
        return made(power("on", 101.0), power("off", 110.0), off, power("on", 112.0), *more, but=but).evidence(
            BEGIN_S, END_S, "power", "air"
        )

    def test_it_had_looked_for_a_network(self) -> None:
        assert self.cut(seeks(105.0)).joining_was_cut().holds is True

    def test_looking_after_the_cut_does_not_count(self) -> None:
        seen = self.cut(seeks(114.0)).joining_was_cut()
        assert (seen.holds, seen.text) == (False, "the unit had not looked for a network when it was cut")

    def test_a_deaf_monitor_cannot_say(self) -> None:
        for heard in ((), (seeks(114.0),)):
            seen = self.cut(*heard, but=["air monitor"]).joining_was_cut()
            assert (seen.holds, "air monitor" in seen.text) == (None, True)

    def test_a_supply_that_was_not_cut_is_untold(self) -> None:
        seen = made(power("on", 101.0), seeks(105.0)).evidence(BEGIN_S, END_S, "power", "air").joining_was_cut()
        assert (seen.holds, "power" in seen.text) == (None, True)
