"""A network without a key: the form can be told so, the unit joins it, and joins it again after a cut of the supply."""

from hil_acceptance.steady import judge_no_leak, judge_steady
from hil_acceptance.texts import saved_values

from hil.core.product import Product
from hil.evidence.leg_evidence import LegEvidence
from hil.judge.judge import Judge
from hil.judge.needs import needs

OPEN, BACK, CUT = "open network", "bench network", "the cut"


@needs("pages", "access_point")
def test_open_network_is_joined(network_open: LegEvidence, judge: Judge) -> None:
    """A network without a key is taken by the form, and joined."""
    change = network_open.kept_change(OPEN)
    judge.holds(network_open.pages.served(OPEN), "the form takes it")
    judge.holds(change.on_open_network(change.saved), "the unit is given an address on it")
    judge.holds(network_open.pages.served(f"form after {OPEN}"), "its settings page can be had")


@needs("access_point", "power")
def test_open_network_is_joined_again_after_cut(network_open: LegEvidence, judge: Judge) -> None:
    """The unit joins its network without a key again after a cut of the supply."""
    change = network_open.kept_change(OPEN)
    judge.holds(change.on_open_network(change.cut(network_open.power)), "the unit is given an address on it")


@needs("access_point", "power")
def test_open_network_joined_in_time_after_cut(network_open: LegEvidence, product: Product, judge: Judge) -> None:
    """The unit is connected in time to its network without a key after a cut of the supply."""
    reading = network_open.kept_change(OPEN).connected_after_cut("leased", network_open.power)
    judge.within(product.limits.connected_s, reading, "power on → address given")


@needs("pages")
def test_status_page_states_open_network(network_open: LegEvidence, product: Product, judge: Judge) -> None:
    """The status page states the network without a key, after saving and after a cut of the supply."""
    typed = network_open.saves.typed_as(OPEN, "network")
    for purpose in (OPEN, CUT):
        stated = network_open.pages.states(f"status after {purpose}", product.status.network, typed)
        judge.holds(stated, f"the network typed, after {purpose}")


@needs("pages", "access_point")
def test_back_from_open_network(network_open: LegEvidence, product: Product, judge: Judge) -> None:
    """Given its network and key again, the unit joins that, and all else is as it was throughout."""
    judge.holds(network_open.saves.joined(BACK), "the network with a key is joined")
    saved, name = saved_values(network_open, product), product.form.by_role("network") or ""
    without = {key: value for key, value in saved.items() if key != name}
    for purpose, expected in {OPEN: without, CUT: without, BACK: saved}.items():
        judge.holds(network_open.pages.shows(f"form after {purpose}", expected), f"settings after {purpose}")


@needs("resets", "console")
def test_one_restart_a_change_of_key(network_open: LegEvidence, judge: Judge) -> None:
    """Each move to a network without a key, or back, restarts the unit once; nothing crashes."""
    judge.holds(network_open.resets.one_start_for_each("form"), "one start for each save")
    judge_steady(network_open, judge)


@needs("pages", "console", "air")
def test_no_secret_leaks_on_open_network(network_open: LegEvidence, judge: Judge) -> None:
    """No canary secret is in a page, on the console or in the air while the network has no key."""
    judge_no_leak(network_open, judge)
