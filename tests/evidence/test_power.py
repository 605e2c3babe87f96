"""The supply's view: orders, and the state read back as their control (longest gap 1 s, by the design's table)."""

import pytest
from support.records import make, moment, power, states

from hil.core.moments import Moment
from hil.core.readings import Occurrence, between
from hil.core.verdicts import Limits, Verdict
from hil.evidence.power import NOT_CUT, PowerView
from hil.evidence.seen import Seen
from hil.judge.rules import judge_reading

ON = [*states(0.0, 10.0, on=False), power("on", 10.0), *states(10.1, 30.0)]


def view(*moments: Moment, end_s: float = 30.0) -> PowerView:
    return PowerView(make(moments).window(5.0, end_s))


def test_the_last_switching_on_counts_with_its_doubt() -> None:
    seen = view(power("on", 8.0), power("off", 9.0), power("on", 10.0, doubt_s=0.03)).last_on()
    assert (seen.earliest_s, seen.latest_s) == (pytest.approx(9.97), pytest.approx(10.03))
    assert seen.measured


def test_no_switching_on_is_told_and_names_the_witness() -> None:
    seen = view(power("on", 2.0)).last_on()
    assert not seen.seen
    assert "power" in seen.because


def test_it_stayed_on_while_every_reading_said_so() -> None:
    assert view(*ON).stayed_on(10.2, 30.0).holds is True


def test_a_state_read_back_as_off_is_told_with_its_time() -> None:
    seen = view(*ON, moment(17.2, "power", "state", on=False)).stayed_on(10.2, 30.0)
    assert seen.holds is False
    assert seen.at_s == 17.2


def test_a_reading_that_may_be_from_before_it_was_switched_on_says_nothing() -> None:
    straddles = moment(10.24, "power", "state", doubt_s=0.05, on=False)
    assert view(*ON, straddles).stayed_on(10.2, 30.0).holds is True
    after = moment(10.26, "power", "state", doubt_s=0.05, on=False)
    assert view(*ON, after).stayed_on(10.2, 30.0).holds is False


def test_an_order_to_switch_off_counts_whatever_its_doubt() -> None:
    seen = view(*ON, power("off", 29.99, doubt_s=0.05)).stayed_on(10.2, 30.0)
    assert (seen.holds, seen.at_s) == (False, 29.99)


def test_a_supply_that_was_switched_off_did_not_stay_on() -> None:
    seen = view(*states(0.0, 17.0), power("off", 17.1), power("on", 17.3), *states(17.4, 30.0)).stayed_on(10.2, 30.0)
    assert seen.holds is False
    assert seen.at_s == 17.1


def test_without_readings_nobody_can_say() -> None:
    seen = view(power("on", 10.0), *states(10.1, 14.0), *states(16.0, 30.0)).stayed_on(10.2, 30.0)
    assert seen.holds is None
    assert "power asleep" in seen.text


def test_asleep_is_where_readings_are_more_than_a_second_apart() -> None:
    gaps = view(*states(0.0, 12.0), *states(14.0, 31.0)).asleep
    assert [(gap.begin_s, gap.end_s) for gap in gaps] == [(11.5, 14.0)]


LEFT = [*states(0.0, 29.0), power("off", 29.0)]


def test_off_at_the_end_needs_the_order_and_the_reading() -> None:
    assert view(*LEFT, moment(29.1, "power", "state", on=False)).off_at_end().holds is True


def test_a_supply_that_reads_back_as_on_was_not_switched_off() -> None:
    """A relay that sticks: the order was given, the reading says otherwise. That is the bench's trouble."""
    seen = view(*LEFT, moment(29.1, "power", "state", on=True)).off_at_end()
    assert seen.holds is None
    assert "power: switched off, and reads back as on" in seen.text


def test_a_reading_with_the_stamp_of_an_earlier_one_proves_nothing() -> None:
    stale = moment(29.1, "power", "state", on=False, stamp_s=3.0)
    seen = view(moment(20.0, "power", "state", on=False, stamp_s=3.0), *LEFT, stale).off_at_end()
    assert seen.holds is None


def test_an_order_nobody_checked_is_not_proof() -> None:
    seen = view(*LEFT).off_at_end()
    assert seen.holds is None
    assert "power" in seen.text


def test_a_supply_left_on_is_told() -> None:
    assert view(*ON).off_at_end().holds is False


def test_no_order_at_all_is_told() -> None:
    seen = view(*states(0.0, 30.0, on=False)).off_at_end()
    assert seen.holds is None


def cut(*, read_back: bool = True, kinds: tuple[str, ...] = ("on", "off", "on")) -> PowerView:
    """Orders at 10, 11 and 12 s; the state read back between the last two."""
    orders = [power(kind, 10.0 + at) for at, kind in enumerate(kinds)]
    return view(*orders, *([moment(11.5, "power", "state", on=False)] if read_back else []))


def test_a_cut_is_an_order_and_the_state_read_back() -> None:
    assert cut().was_cut().holds is True
    assert cut().was_off(11.0, 12.0).holds is True
    on_before = view(power("on", 2.0), power("off", 11.0), moment(11.5, "power", "state", on=False), power("on", 12.0))
    assert on_before.was_cut().holds is True


@pytest.mark.parametrize(
    ("seen", "said"),
    [
        (cut(read_back=False).was_cut(), "not read back as off"),
        (cut(kinds=("off", "on")).was_cut(), "not recorded"),
        (view().was_cut(), "not recorded"),
        (cut().was_off(12.5, 13.0), "not switched off"),
    ],
)
def test_a_cut_that_was_not_witnessed_is_untold(seen: Seen, said: str) -> None:
    assert seen.holds is None
    assert "power" in seen.text
    assert said in seen.text


def in_reset(kind: str, time_s: float) -> Moment:
    """What a bench books that holds the unit in reset for want of a switched supply."""
    return moment(time_s, "power", kind, in_reset=True, **({"on": False} if kind == "state" else {}))


def test_a_unit_that_was_held_in_reset_was_not_without_supply() -> None:
    held = view(in_reset("on", 8.0), in_reset("off", 9.0), in_reset("state", 9.2), in_reset("on", 10.0))
    for seen in (held.was_cut(), held.was_off(9.0, 10.0)):
        assert (seen.holds, seen.text) == (None, NOT_CUT)
    left = view(*states(0.0, 30.0), in_reset("on", 8.0), in_reset("off", 29.5), in_reset("state", 29.7))
    assert (left.off_at_end().holds, left.off_at_end().text) == (None, NOT_CUT)


def test_nothing_is_timed_from_a_supply_that_was_on_all_along() -> None:
    """However early the lease comes: a promise that begins with power on says nothing of a unit let go from reset."""
    began = view(in_reset("off", 8.0), in_reset("on", 10.0)).switched_on()
    reading = between(began, Occurrence.at(11.0, 0.1))
    assert judge_reading(reading, Limits(None, 30.0, "s"), "power on → address").verdict is Verdict.UNJUDGED
    assert reading.because == NOT_CUT
