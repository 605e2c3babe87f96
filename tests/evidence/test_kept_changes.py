"""A change of address or network, judged on records made by hand.

RFC 5227 2.3 says what an announcement is; RFC 2131 3.1 which messages a client sends that wants a lease. What the views
must say of them is the suite's own matter.
"""

import pytest
from support.forms import form_with
from support.records import UNIT, Made, answered, awake, beacons, make, moment, power, states

from hil.core.moments import Moment
from hil.core.readings import Reading
from hil.evidence.kept_changes import KeptChange, Stretch
from hil.evidence.seen import Seen

SPARE, GIVEN, OPEN_NAME = "198.51.100.240", "198.51.100.2", "bench-q7-open"
TYPED = {"fixed_address": SPARE, "netmask": "255.255.255.0", "gateway": "198.51.100.1"}
OFF_S, ON_S, CLEARED_S, END_S = 20.0, 21.0, 40.0, 60.0


def ap(time_s: float, kind: str, **data: str) -> Moment:
    return moment(time_s, "access point", kind, address=UNIT, **data)


def saves(typed: dict[str, str], purpose: str = "fixed address") -> list[Moment]:
    return [
        moment(10.0, "leg", "saves", purpose=purpose, typed=dict(typed)),
        moment(CLEARED_S, "leg", "saves", purpose="cleared address", typed=dict.fromkeys(typed, "")),
    ]


CUT = [power("off", OFF_S), power("on", ON_S)]
SUPPLY = [*states(0.0, OFF_S), *states(OFF_S + 0.1, ON_S, on=False, every_s=0.3), *states(ON_S + 0.1, END_S)]
TAKEN = [ap(15.0, "joined"), ap(15.2, "announced", ip=SPARE), ap(17.2, "announced", ip=SPARE)]
KEPT = [ap(25.0, "joined"), ap(25.2, "announced", ip=SPARE)]


def leg(*more: Moment, typed: dict[str, str] = TYPED, asleep: tuple[str, ...] = (), cut: bool = True) -> Made:
    """A save at 10 s, a cut at 20 s, the next save at 40 s; whoever is not asleep is awake."""
    bench = awake(0.0, END_S, but=(*asleep, "power"))
    supply = [*CUT, *SUPPLY] if cut else list(states(0.0, END_S))
    pages = {"form": form_with()}
    return make([*bench, *saves(typed), *([] if "power" in asleep else supply), *more], pages=pages)


def change(made: Made, purpose: str = "fixed address") -> KeptChange:
    return made.evidence(0.0, END_S).kept_change(purpose)


def after_cut(made: Made) -> Stretch | Seen:
    return change(made).cut(made.evidence(0.0, END_S).power)


class TestFixedAddress:
    """Where the unit is, by its own announcement."""

    def test_announced_after_the_save_and_after_the_cut(self) -> None:
        made = leg(*TAKEN, *KEPT)
        found = change(made)
        assert found.at_fixed_address(found.saved).holds is True
        kept = found.at_fixed_address(after_cut(made))
        assert (kept.holds, kept.at_s) == (True, 25.2)

    def test_a_lease_instead_is_the_unit_s_failure(self) -> None:
        made = leg(*TAKEN, ap(25.0, "joined"), ap(25.3, "leased", ip=GIVEN))
        assert change(made).at_fixed_address(change(made).saved).holds is True
        lost = change(made).at_fixed_address(after_cut(made))
        assert (lost.holds, GIVEN in lost.text, SPARE in lost.text) == (False, True, True)

    def test_a_lease_of_the_very_address_is_no_fixed_one(self) -> None:
        made = leg(ap(15.0, "leased", ip=SPARE))
        assert change(made).at_fixed_address(change(made).saved).holds is False

    def test_another_address_announced_is_not_the_one_typed(self) -> None:
        made = leg(ap(15.0, "announced", ip="198.51.100.241"))
        assert change(made).at_fixed_address(change(made).saved).holds is False

    def test_of_another_station_it_says_nothing(self) -> None:
        stranger = moment(15.0, "access point", "announced", address="02:00:00:00:00:77", ip=SPARE)
        assert change(leg(stranger)).at_fixed_address(change(leg(stranger)).saved).holds is False

    def test_an_access_point_that_slept_before_it_leaves_it_untold(self) -> None:
        for moments in ((), tuple(TAKEN)):
            made = leg(*moments, asleep=("access point",))
            seen = change(made).at_fixed_address(change(made).saved)
            assert (seen.holds, "access point asleep" in seen.text) == (None, True)

    def test_a_cut_that_no_supply_tells_of_leaves_it_untold(self) -> None:
        for made in (leg(*TAKEN, *KEPT, cut=False), leg(*TAKEN, *KEPT, asleep=("power",))):
            seen = change(made).at_fixed_address(after_cut(made))
            assert (seen.holds, seen.text.startswith("power")) == (None, True)

    def test_a_supply_never_read_back_as_off_is_no_cut(self) -> None:
        made = make([*awake(0.0, END_S), *saves(TYPED), *CUT, *TAKEN, *KEPT])
        assert change(made).at_fixed_address(after_cut(made)).holds is None

    def test_a_save_that_never_came_says_why(self) -> None:
        nothing, gave_up = make([]), make([moment(5.0, "leg", "gave up", why="no form", instrument="")])
        for made, holds in ((nothing, None), (gave_up, False)):
            found = change(made)
            assert found.at_fixed_address(found.saved).holds is holds
            assert found.asks_for_no_lease(found.saved).holds is holds


class TestNoLease:
    """Whether the unit left the DHCP server alone."""

    def test_none_asked_for(self) -> None:
        made = leg(*TAKEN, *KEPT)
        assert change(made).asks_for_no_lease(change(made).saved).holds is True

    @pytest.mark.parametrize("kind", ["lease asked", "leased"])
    @pytest.mark.parametrize("time_s", [15.1, 38.0])
    def test_one_at_any_time_up_to_the_clearing_breaks_it(self, kind: str, time_s: float) -> None:
        made = leg(*TAKEN, *KEPT, ap(time_s, kind))
        assert change(made).asks_for_no_lease(change(made).saved).holds is False

    def test_those_before_the_save_and_after_the_clearing_are_right(self) -> None:
        renewal = ap(11.0, "lease asked")  # saved, and not restarted yet
        made = leg(
            *TAKEN, *KEPT, ap(5.0, "lease asked"), renewal, ap(45.0, "lease asked"), ap(45.2, "leased", ip=GIVEN)
        )
        assert change(made).asks_for_no_lease(change(made).saved).holds is True

    def test_a_unit_that_never_joined_had_nothing_to_ask(self) -> None:
        seen = change(leg()).asks_for_no_lease(change(leg()).saved)
        assert (seen.holds, "never joined" in seen.text) == (False, True)

    def test_a_sleeping_access_point_leaves_it_untold(self) -> None:
        made = leg(*TAKEN, asleep=("access point",))
        assert change(made).asks_for_no_lease(change(made).saved).holds is None


class TestServedThere:
    """Whether a page came from the address that was typed."""

    @pytest.mark.parametrize(("host", "holds"), [(SPARE, True), (GIVEN, False), ("203.0.113.1", False)])
    def test_it_is_the_host_of_the_page(self, host: str, holds: bool) -> None:
        page = answered(16.0, "form after fixed address", "form", url=f"http://{host}/settings")
        made = leg(*TAKEN, page)
        pages = made.evidence(0.0, END_S).pages
        assert change(made).served_there(pages, "form after fixed address").holds is holds

    def test_a_page_that_was_not_recorded_leaves_it_untold(self) -> None:
        made = leg(*TAKEN)
        seen = change(made).served_there(made.evidence(0.0, END_S).pages, "form after fixed address")
        assert (seen.holds, seen.text.startswith("pages")) == (None, True)


class TestOpenNetwork:
    """On which network the unit got its address."""

    @pytest.mark.parametrize(
        ("name", "security", "holds"),
        [
            (OPEN_NAME, "open", True),
            (OPEN_NAME, "wpa2", False),
            ("bench-q7", "open", False),
            ("bench-q7", "wpa2", False),
        ],
    )
    def test_it_is_the_one_on_the_air_last(self, name: str, security: str, holds: bool) -> None:
        heard = beacons(12.0, END_S, name, channel=1, security=security)
        up = moment(12.0, "access point", "up", name=name, security=security, channel=1, bssid=heard[0].text("bssid"))
        made = leg(up, *heard, ap(15.0, "leased", ip=GIVEN), typed={"network": OPEN_NAME, "network_key": ""})
        assert change(made).on_open_network(change(made).saved).holds is holds

    def test_without_an_address_it_was_not_joined(self) -> None:
        made = leg(typed={"network": OPEN_NAME, "network_key": ""})
        assert change(made).on_open_network(change(made).saved).holds is False


class TestInTime:
    """Power on → address, as far as the bench waited."""

    def test_it_is_the_time_to_the_first_announcement(self) -> None:
        made = leg(*TAKEN, *KEPT)
        reading = change(made).connected_after_cut("announced", made.evidence(0.0, END_S).power)
        assert isinstance(reading, Reading)
        assert (reading.low, reading.high) == (
            pytest.approx(4.18),
            pytest.approx(4.22),
        )  # 25.2 - 21 s, doubt of the switch

    def test_an_address_after_the_next_save_is_not_that_of_the_cut(self) -> None:
        made = leg(*TAKEN, ap(45.0, "announced", ip=SPARE))
        seen = change(made).connected_after_cut("announced", made.evidence(0.0, END_S).power)
        assert isinstance(seen, Seen)
        assert (seen.holds, "no address was announced" in seen.text) == (False, True)

    @pytest.mark.parametrize("witness", ["access point", "power"])
    def test_a_witness_that_slept_leaves_it_untold(self, witness: str) -> None:
        made = leg(*TAKEN, asleep=(witness,))
        seen = change(made).connected_after_cut("announced", made.evidence(0.0, END_S).power)
        assert isinstance(seen, Seen)
        assert (seen.holds, witness in seen.text) == (None, True)

    def test_a_supply_that_went_again_leaves_it_untold(self) -> None:
        made = leg(*TAKEN, *KEPT, power("off", 23.0), power("on", 23.5))
        seen = change(made).connected_after_cut("announced", made.evidence(0.0, END_S).power)
        assert isinstance(seen, Seen)
        assert seen.holds is None
