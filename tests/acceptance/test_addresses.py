"""An address fixed by hand: taken, kept over a cut of the supply, and undone by clearing it; a wrong one refused."""

from hil_acceptance.steady import judge_no_leak, judge_steady
from hil_acceptance.test_form_contract import judge_refusals
from hil_acceptance.texts import saved_values

from hil.core.product import Product
from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge
from hil.judge.needs import needs

FIXED, CLEARED, CUT = "fixed address", "cleared address", "the cut"


@needs("pages", "access_point")
def test_fixed_address_is_taken(address_fixed: LegEvidence, judge: Judge) -> None:
    """The unit takes the address that is typed, and shows its settings there."""
    change = address_fixed.kept_change(FIXED)
    judge.holds(address_fixed.pages.served(FIXED), "the form takes it")
    judge.holds(change.at_fixed_address(change.saved), "the unit announces it")
    judge.holds(change.served_there(address_fixed.pages, f"form after {FIXED}"), "the settings page is there")


@needs("access_point")
def test_asks_for_no_lease_with_fixed_address(address_fixed: LegEvidence, judge: Judge) -> None:
    """The unit asks for no lease while its address is fixed, whatever started it."""
    change = address_fixed.kept_change(FIXED)
    judge.holds(change.asks_for_no_lease(change.saved), "no request for a lease up to the clearing")


@needs("pages")
def test_status_page_states_fixed_address(address_fixed: LegEvidence, product: Product, judge: Judge) -> None:
    """The status page states the fixed address, after saving and after a cut of the supply."""
    typed = address_fixed.saves.typed_as(FIXED, "fixed address")
    for purpose in (FIXED, CUT):
        stated = address_fixed.pages.states(f"status after {purpose}", product.status.address, typed)
        judge.holds(stated, f"the address typed, after {purpose}")


@needs("pages", "access_point", "power")
def test_fixed_address_outlives_cut(address_fixed: LegEvidence, judge: Judge) -> None:
    """The unit is at its fixed address again after a cut of the supply."""
    change = address_fixed.kept_change(FIXED)
    judge.holds(change.at_fixed_address(change.cut(address_fixed.power)), "the unit announces it again")
    judge.holds(change.served_there(address_fixed.pages, f"form after {CUT}"), "the settings page is there")


@needs("access_point", "power")
def test_fixed_address_held_in_time_after_cut(address_fixed: LegEvidence, product: Product, judge: Judge) -> None:
    """The unit is connected in time at its fixed address after a cut of the supply."""
    reading = address_fixed.kept_change(FIXED).connected_after_cut("announced", address_fixed.power)
    judge.within(product.limits.connected_s, reading, "power on → address announced")


@needs("pages", "access_point")
def test_fixed_address_is_undone(address_fixed: LegEvidence, product: Product, judge: Judge) -> None:
    """Clearing the fixed address undoes it: the unit has an address given by its network again, and says so."""
    pages = address_fixed.pages
    judge.holds(address_fixed.saves.joined(CLEARED), "an address is given again")
    judge.holds(pages.shows(f"form after {CLEARED}", product.form.address_values()), "the form shows none")
    given = address_fixed.access_point.leased_address
    judge.holds(pages.states(f"status after {CLEARED}", product.status.address, given), "the address that was given")


@needs("pages")
def test_fixed_address_keeps_the_rest(address_fixed: LegEvidence, product: Product, judge: Judge) -> None:
    """All other settings are as they were: with the fixed address, after a cut, and without it."""
    saved, typed = saved_values(address_fixed, product), address_fixed.saves.typed(FIXED)
    for purpose, expected in {FIXED: saved | typed, CUT: saved | typed, CLEARED: saved}.items():
        judge.holds(address_fixed.pages.shows(f"form after {purpose}", expected), f"settings after {purpose}")


@needs("resets", "console")
def test_one_restart_a_change_of_address(address_fixed: LegEvidence, judge: Judge) -> None:
    """Each change of address restarts the unit once; nothing crashes."""
    judge.holds(address_fixed.resets.one_start_for_each("form"), "one start for each save")
    judge_steady(address_fixed, judge)


@needs("pages", "console", "air")
def test_no_secret_leaks_with_fixed_address(address_fixed: LegEvidence, judge: Judge) -> None:
    """No canary secret is in a page, on the console or in the air while the address is fixed and cleared."""
    judge_no_leak(address_fixed, judge)


@needs("pages")
def test_impossible_addresses_are_refused(form_refuses: LegEvidence, judge: Judge) -> None:
    """An address, netmask or gateway that leads nowhere is refused with a message."""
    judge_refusals(form_refuses, judge, "no such address", "a fixed address")
