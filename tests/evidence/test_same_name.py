"""What evidence says of networks of one name: which was joined, whether it was the stronger, and of an open one, never.

Signals are made by hand; 25 dB apart is a figure of field reports, the 20 dB from which it counts common practice.
"""

from collections.abc import Iterable, Sequence

import pytest
from support.records import BEACON_S, NETWORK, UNIT, awake, make, moment, seeks, without

from hil.core.moments import Moment
from hil.core.readings import Reading
from hil.evidence.events import LeasedByOther, LeasedInstead, NetworkTakenAway, OtherNetworkUp
from hil.evidence.leg_evidence import LegEvidence
from hil.evidence.seen import Seen

BEGIN_S, END_S = 100.0, 130.0
NEAR, FAR = "02:00:00:00:00:01", "02:00:00:00:00:02"


def up(at_s: float, bssid: str, *, security: str = "wpa2") -> Moment:
    radio, channel = (0, 1) if bssid == NEAR else (1, 6)
    data = {"name": NETWORK, "channel": channel, "bssid": bssid, "security": security, "radio": radio}
    return Moment(at_s, 0.0, "access point", "up", data)


def down(at_s: float, bssid: str) -> Moment:
    return moment(at_s, "access point", "down", radio=0 if bssid == NEAR else 1, bssid=bssid)


def ap(at_s: float, kind: str, bssid: str) -> Moment:
    return moment(at_s, "access point", kind, doubt_s=0.05, address=UNIT, bssid=bssid, ip="198.51.100.2")


def heard(bssid: str, begin_s: float, end_s: float, dbm: int, security: str = "wpa2") -> list[Moment]:
    """Beacons of a network as the air monitor hears them, up and down by 2 dB about a level."""
    count = int((end_s - begin_s) / BEACON_S)
    data = {"bssid": bssid, "from": bssid, "name": NETWORK, "name_octets": NETWORK.encode().hex(), "security": security}
    return [
        Moment(
            begin_s + n * BEACON_S,
            0.012,
            "air",
            "beacon",
            {**data, "channel": 1 if bssid == NEAR else 6, "signal_dbm": dbm + n % 5 - 2, "tsf": n * 102_400},
        )
        for n in range(count)
    ]


def start(at_s: float, number: int = 1) -> Moment:
    return moment(at_s, "leg", "starts the unit", number=number, restart="power")


TWINS: Sequence[Moment] = [
    up(100.5, NEAR),
    up(100.6, FAR),
    *heard(NEAR, 100.5, END_S, -48),
    *heard(FAR, 100.6, END_S, -73),
]


def evidence(*moments: Moment, but: Iterable[str] = ()) -> LegEvidence:
    return make([*awake(98.0, 132.0, but=but), *moments]).evidence(BEGIN_S, END_S)


def stronger(*moments: Moment, but: Iterable[str] = ()) -> list[Seen]:
    return list(evidence(*moments, but=but).same_name().stronger_joined().values())


class TestTheStronger:
    """Of two that differ clearly, the unit joins the stronger."""

    @pytest.mark.parametrize(("bssid", "holds"), [(NEAR, True), (FAR, False)])
    def test_the_one_joined_is_told(self, bssid: str, holds: bool) -> None:
        (seen,) = stronger(*TWINS, start(101.5), ap(106.0, "joined", bssid))
        assert (seen.holds, "stronger" in seen.text) == (holds, holds)

    def test_each_start_is_told_by_itself(self) -> None:
        moments = [start(101.5), ap(106.0, "joined", NEAR), start(110.0, 2), ap(115.0, "joined", FAR), start(120.0, 3)]
        assert [seen.holds for seen in stronger(*TWINS, *moments)] == [True, False, False]

    def test_too_small_a_difference_says_nothing(self) -> None:
        close = [up(100.5, NEAR), up(100.6, FAR), *heard(NEAR, 100.5, END_S, -48), *heard(FAR, 100.6, END_S, -66)]
        (seen,) = stronger(*close, start(101.5), ap(106.0, "joined", FAR))
        assert (seen.holds, "air monitor: heard the networks only 18 dB apart" in seen.text) == (None, True)

    def test_a_monitor_asleep_cannot_say_which_it_is(self) -> None:
        deaf = [m for m in TWINS if m.source != "air"]
        (seen,) = stronger(*deaf, start(101.5), ap(106.0, "joined", FAR), but=["air monitor"])
        assert (seen.holds, "air monitor asleep" in seen.text) == (None, True)

    def test_an_access_point_asleep_cannot_say_who_joined(self) -> None:
        (seen,) = stronger(*TWINS, start(101.5), but=["access point"])
        assert (seen.holds, "access point asleep" in seen.text) == (None, True)

    def test_one_network_alone_is_no_choice(self) -> None:
        (seen,) = stronger(up(100.5, NEAR), *heard(NEAR, 100.5, END_S, -48), start(101.5), ap(106.0, "joined", NEAR))
        assert (seen.holds, "access point: 1 networks" in seen.text) == (None, True)

    def test_no_start_at_all(self) -> None:
        assert [seen.holds for seen in stronger(*TWINS)] == [None]


class TestBack:
    """Times of the way back through another network."""

    AWAY = (moment(110.0, "leg", "takes the network in use away", bssid=NEAR), down(110.1, NEAR))

    def test_from_the_loss_to_the_next_address(self) -> None:
        moments = (*TWINS, ap(106.0, "leased", NEAR), *self.AWAY, ap(119.6, "leased", FAR))
        reading = evidence(*moments).between(NetworkTakenAway, LeasedInstead)
        assert isinstance(reading, Reading)
        assert (reading.value, reading.doubt) == (pytest.approx(9.5), pytest.approx(0.05))

    def test_another_that_went_before_is_not_it(self) -> None:
        moments = (up(100.5, NEAR), down(105.0, NEAR), up(106.0, NEAR), *self.AWAY, ap(119.6, "leased", FAR))
        reading = evidence(*moments).between(NetworkTakenAway, LeasedInstead)
        assert isinstance(reading, Reading)
        assert reading.value == pytest.approx(9.5)

    def test_an_address_just_given_by_the_one_taken_away_is_no_way_back(self) -> None:
        """The two are hardly apart, and within the doubt of either; what counts is which network gave it."""
        just_before = ap(110.08, "leased", NEAR)
        reading = evidence(*TWINS, *self.AWAY, just_before).between(NetworkTakenAway, LeasedInstead)
        assert isinstance(reading, Reading)
        assert (reading.low, reading.value) == (pytest.approx(19.9), None)

    def test_never_taken_away_before_an_awake_access_point(self) -> None:
        seen = evidence(*TWINS).between(NetworkTakenAway, LeasedInstead)
        assert isinstance(seen, Seen)
        assert seen.holds is False

    def test_never_taken_away_before_one_asleep(self) -> None:
        reading = evidence(but=["access point"]).between(NetworkTakenAway, LeasedInstead)
        assert isinstance(reading, Reading)
        assert "access point asleep" in reading.because

    def test_only_an_address_of_the_other_radio_s_network_counts(self) -> None:
        """The one given by the first radio is that of an impostor, or of the network before it moved."""
        moments = [up(101.0, NEAR), ap(104.0, "leased", NEAR), up(110.0, FAR), ap(112.0, "leased", NEAR)]
        moments += [*heard(NEAR, 101.0, 132.0, -48), *heard(FAR, 110.0, 132.0, -48)]
        reading = evidence(*moments).between(OtherNetworkUp, LeasedByOther)
        assert isinstance(reading, Reading)
        assert (reading.low, reading.value) == (pytest.approx(20.0), None)
        reading = evidence(*moments, ap(118.0, "leased", FAR)).between(OtherNetworkUp, LeasedByOther)
        assert isinstance(reading, Reading)
        assert reading.value == pytest.approx(8.0)


IMPOSTOR: Sequence[Moment] = [
    up(100.5, NEAR, security="open"),
    up(110.0, FAR),
    *heard(NEAR, 100.5, END_S, -48, "open"),
    *heard(FAR, 110.0, END_S, -73),
    seeks(104.0),
]


def kept_off(*moments: Moment, but: Iterable[str] = ()) -> Seen:
    return evidence(*moments, but=but).same_name().kept_off_open()


class TestImpostor:
    """The unit keeps off an open network of its network's name."""

    def test_who_looked_and_joined_its_own_kept_off(self) -> None:
        assert kept_off(*IMPOSTOR, ap(114.0, "joined", FAR)).holds is True

    @pytest.mark.parametrize("kind", ["joined", "leased"])
    def test_who_was_in_it_did_not(self, kind: str) -> None:
        assert kept_off(*IMPOSTOR, ap(106.0, kind, NEAR)).holds is False

    @pytest.mark.parametrize("kind", ["authenticates", "associates"])
    def test_nor_did_who_was_turned_away(self, kind: str) -> None:
        """What the monitor heard is enough, whatever the access point made of it."""
        came = Moment(106.0, 0.012, "air", kind, {"from": UNIT, "to": NEAR, "bssid": NEAR})
        assert kept_off(*IMPOSTOR, came).holds is False
        own = Moment(106.0, 0.012, "air", kind, {"from": UNIT, "to": FAR, "bssid": FAR})
        assert kept_off(*IMPOSTOR, own).holds is True

    @pytest.mark.parametrize("witness", ["access point", "air monitor"])
    def test_both_must_have_been_awake(self, witness: str) -> None:
        seen = kept_off(*IMPOSTOR, but=[witness])
        assert (seen.holds, f"{witness} asleep" in seen.text) == (None, True)

    def test_who_never_looked_is_not_excused(self) -> None:
        silent = [m for m in IMPOSTOR if m.kind != "seeks"]
        assert kept_off(*silent).holds is False

    def test_a_weak_impostor_tempts_nobody(self) -> None:
        weak = [m for m in IMPOSTOR if m.text("bssid") != NEAR or m.source != "air"]
        seen = kept_off(*weak, *heard(NEAR, 100.5, END_S, -95, "open"))
        assert (seen.holds, "air monitor: the open network was the weaker one" in seen.text) == (None, True)

    def test_an_impostor_that_was_never_on_the_air(self) -> None:
        assert kept_off(up(100.5, NEAR), *heard(NEAR, 100.5, END_S, -48), seeks(104.0)).holds is None


def test_a_radio_s_network_is_on_the_air_until_that_radio_is_switched() -> None:
    """What the other radio does ends nothing; and a network that is not heard puts its access point to sleep."""
    view = evidence(up(100.5, NEAR), up(104.0, FAR), down(110.0, NEAR)).access_point
    assert [(span.bssid, span.begin_s, span.end_s) for span in view.spans] == [
        (NEAR, 100.5, 110.0),
        (FAR, 104.0, float("inf")),
    ]
    gone = without([*TWINS], NETWORK, 110.0, 115.0)
    assert [(gap.begin_s < 111.0, gap.end_s > 114.0) for gap in evidence(*gone).access_point.asleep] == [
        (True, True)
    ] * 2
