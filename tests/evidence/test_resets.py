"""The ledger of resets: one order allows one start, whatever code the chip prints with it."""

import pytest
from support.records import line, make, moment, power, product_with, start_line, states

from hil.core.moments import Moment
from hil.evidence.console import ConsoleView
from hil.evidence.resets import ResetsView

OPENED = moment(50.0, "console", "opened", port="loop://")
ON = power("on", 101.0)
FORM = moment(110.0, "ledger", "asked", asked_by="form")


def view(*moments: Moment) -> ResetsView:
    window = make([OPENED, *states(100.0, 131.0), *moments]).window(100.0, 130.0)
    return ResetsView(window, ConsoleView(window))


def ledger(*moments: Moment) -> list[tuple[float, str | None]]:
    return [(booked.time_s, booked.asked_by) for booked in view(*moments).ledger]


@pytest.mark.parametrize(
    "order",
    [ON, moment(101.0, "console", "reset line", asked_by="leg"), moment(101.0, "ledger", "asked", asked_by="leg")],
)
def test_a_start_after_an_order_was_asked_for(order: Moment) -> None:
    assert ledger(order, start_line(101.3)) == [(101.3, "leg")]
    assert view(OPENED, order, start_line(101.3)).none_unasked().holds is True


def test_a_start_without_an_order_was_not() -> None:
    seen = view(ON, start_line(101.3), start_line(118.0)).none_unasked()
    assert (seen.holds, seen.at_s) == (False, 118.0)
    assert "118.00 s" in seen.text


def test_a_start_that_the_supply_may_have_caused_is_not_held_against_the_unit() -> None:
    """A supply whose state nobody read back may have blinked; so may one whose order was not recorded."""
    window = make([OPENED, ON, start_line(101.3), start_line(118.0)]).window(100.0, 130.0)
    seen = ResetsView(window, ConsoleView(window)).none_unasked()
    assert seen.holds is None
    assert "power asleep" in seen.text
    off = view(ON, start_line(101.3), power("off", 110.0), start_line(118.0)).none_unasked()
    assert off.holds is None
    assert "power" in off.text


def test_one_order_allows_one_start() -> None:
    assert ledger(FORM, start_line(111.0), start_line(112.0)) == [(111.0, "form"), (112.0, None)]


@pytest.mark.parametrize("code", ["0x1 (POWERON_RESET)", "0xc (SW_CPU_RESET)", "0x10 (RTCWDT_RTC_RESET)"])
def test_the_code_is_not_believed(code: str) -> None:
    """A chip may repeat the last code: a start nobody asked for fails though it says "power on"."""
    assert ledger(ON, start_line(101.3), start_line(118.0, code))[-1] == (118.0, None)


def test_each_start_takes_the_newest_order() -> None:
    orders = (ON, start_line(101.3), FORM, start_line(111.0))
    assert ledger(*orders) == [(101.3, "leg"), (111.0, "form")]


def test_an_order_that_led_to_nothing_is_no_credit_for_later() -> None:
    """Power on without a start, then the form with two: the old order does not cover the second."""
    assert ledger(ON, FORM, start_line(111.0), start_line(112.0)) == [(111.0, "form"), (112.0, None)]


def test_a_start_ahead_of_every_order_was_not_asked_for() -> None:
    assert ledger(start_line(105.0), FORM, start_line(111.0)) == [(105.0, None), (111.0, "form")]


def test_a_banner_may_be_stamped_a_little_before_its_order() -> None:
    assert ledger(start_line(109.9), FORM) == [(109.9, "form")]
    assert ledger(start_line(109.5), FORM) == [(109.5, None)]


def test_a_mute_console_tells_nothing() -> None:
    seen = view(ON).none_unasked()
    assert seen.holds is None
    assert "console" in seen.text


def test_an_unasked_start_fails_though_the_console_slept_elsewhere() -> None:
    lost = moment(120.0, "console", "lost")
    assert view(ON, start_line(101.3), start_line(118.0), lost).none_unasked().holds is False


def test_a_unit_that_speaks_but_never_announced_its_start_tells_nothing() -> None:
    assert view(ON, line(105.0, "hello")).none_unasked().holds is None


def test_what_the_chip_says_to_the_flasher_is_no_start() -> None:
    """While the flasher has the port, nobody hears the program: resets by it are its own."""
    session = [ON, start_line(101.2), moment(102.0, "console", "closed"), moment(109.0, "console", "opened")]
    assert ledger(*session) == [(101.2, "leg")]
    assert view(*session).none_unasked().holds is True


class TestStartsAfter:
    """Just one start after an order of one origin."""

    def test_one(self) -> None:
        seen = view(ON, start_line(101.3), FORM, start_line(112.0)).starts_after("form")
        assert (seen.holds, seen.at_s) == (True, 112.0)

    def test_two(self) -> None:
        seen = view(ON, start_line(101.3), FORM, start_line(112.0), start_line(113.0)).starts_after("form")
        assert (seen.holds, seen.at_s) == (False, 113.0)

    def test_none_while_the_console_was_heard(self) -> None:
        assert view(ON, start_line(101.3), FORM).starts_after("form").holds is False

    def test_none_and_nothing_heard(self) -> None:
        assert view(FORM).starts_after("form").holds is None

    def test_never_asked(self) -> None:
        seen = view(ON, start_line(101.3)).starts_after("form")
        assert seen.holds is None
        assert "form" in seen.text

    def test_a_console_lost_before_the_restart_tells_nothing(self) -> None:
        lost = moment(109.0, "console", "lost")
        assert view(ON, start_line(101.3), lost, FORM).starts_after("form").holds is None

    def test_one_seen_and_then_lost_tells_nothing(self) -> None:
        lost = moment(115.0, "console", "lost")
        assert view(ON, start_line(101.3), FORM, start_line(112.0), lost).starts_after("form").holds is None


def test_each_order_of_an_origin_is_answered_by_one_start() -> None:
    """Two saves, two starts; one start too few or too many is told (common practice, no source)."""
    again = moment(115.0, "ledger", "asked", asked_by="form")
    both = (ON, start_line(101.3), FORM, start_line(112.0), again, start_line(117.0))
    assert view(*both).one_start_for_each("form").holds is True
    few = view(*both[:-1]).one_start_for_each("form")
    assert (few.holds, few.text) == (False, "1 starts after 2 orders of the form")
    many = view(*both, start_line(119.0)).one_start_for_each("form")
    assert (many.holds, "nobody asked for" in many.text) == (False, True)


def test_without_an_order_or_a_console_nobody_can_say() -> None:
    assert view(ON, start_line(101.3)).one_start_for_each("form").holds is None
    closed = moment(105.0, "console", "lost", why="unplugged")
    assert view(ON, start_line(101.3), closed, FORM).one_start_for_each("form").holds is None


@pytest.mark.parametrize(("instrument", "holds"), [("", False), ("access point", None)])
def test_starts_of_saves_that_the_leg_never_made_are_not_taken_for_good(instrument: str, holds: bool | None) -> None:
    whole = [ON, start_line(101.3), FORM, start_line(111.0)]
    assert view(*whole).one_start_for_each("form").holds is True
    left = moment(125.0, "leg", "gave up", why="it did not come back", instrument=instrument)
    assert view(*whole, left).one_start_for_each("form").holds is holds


class TestAUnitThatJoinsAtOnce:
    """A product that promises no restart after a save: a save orders no start, and any start is one too many."""

    JOINS = product_with({"limits": {"restart_s": None}, "form": {"saved": {"then": "joins"}}})
    SAID = line(112.0, "stage: joining")

    def view(self, *moments: Moment) -> ResetsView:
        window = make([OPENED, *states(100.0, 131.0), *moments], product=self.JOINS).window(105.0, 130.0)
        return ResetsView(window, ConsoleView(window))

    def test_no_start_is_as_promised(self) -> None:
        view = self.view(ON, FORM, self.SAID)
        assert (view.starts_after("form").holds, view.one_start_for_each("form").holds) == (True, True)

    def test_a_start_is_one_nobody_asked_for(self) -> None:
        seen = self.view(ON, FORM, start_line(112.0)).starts_after("form")
        assert (seen.holds, "nobody asked for" in seen.text) == (False, True)

    def test_where_nothing_was_saved_or_nobody_listened_nothing_is_told(self) -> None:
        assert self.view(ON, self.SAID).starts_after("form").holds is None
        assert self.view(ON, FORM).starts_after("form").holds is None
        assert self.view(ON, FORM, self.SAID, moment(115.0, "console", "lost")).starts_after("form").holds is None

    @pytest.mark.parametrize(("instrument", "holds"), [("", False), ("access point", None)])
    def test_a_leg_that_gave_up_does_not_pass(self, instrument: str, holds: bool | None) -> None:
        left = moment(125.0, "leg", "gave up", why="it did not come back", instrument=instrument)
        assert self.view(ON, FORM, self.SAID, left).one_start_for_each("form").holds is holds
