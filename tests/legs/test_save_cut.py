"""Where the cuts of a save are spread, and what each save changes. The demands are the leg's own; no outside source."""

import math
from itertools import pairwise

import pytest

from hil.core.product import load_product
from hil.core.trial import draw
from hil.legs.save_cut import BEYOND, CLOSE_CUTS, LATE_CUTS, LEAST_SPAN_S, changes, delays_s
from hil.virtual import DEMO_PRODUCT

PRODUCT = load_product(DEMO_PRODUCT)
TRIAL = dict(draw(PRODUCT).values)


@pytest.mark.parametrize("answer_s", [0.0, 0.02, 0.11, 0.4, 1.5])
@pytest.mark.parametrize("restart_s", [0.05, 2.1, 4.0, math.inf])
def test_thirty_cuts_from_the_sending_to_the_restart(answer_s: float, restart_s: float) -> None:
    delays = delays_s(answer_s, restart_s)
    assert len(delays) == CLOSE_CUTS + LATE_CUTS == 30
    assert delays[0] == 0.0
    assert delays == sorted(set(delays))
    assert all(math.isfinite(delay) for delay in delays)
    assert delays[CLOSE_CUTS - 1] == pytest.approx(max(BEYOND * answer_s, LEAST_SPAN_S))
    if restart_s > 2.0 * delays[CLOSE_CUTS - 1]:
        assert delays[-1] < restart_s


@pytest.mark.parametrize("answer_s", [0.05, 0.11, 0.25])
def test_no_gap_is_wide_enough_for_a_short_danger(answer_s: float) -> None:
    """A save that is unsafe for 60 ms is met twice at least, wherever that is up to the answer."""
    close = delays_s(answer_s, 2.0)[:CLOSE_CUTS]
    assert max(later - earlier for earlier, later in pairwise(close)) < 0.06 / 2.0


def test_every_save_is_told_from_the_ones_before_it() -> None:
    shown = [changes(PRODUCT, TRIAL, number) for number in range(32)]
    texts = [values["unit_name"] for values in shown]
    assert len({*texts, TRIAL["unit_name"]}) == len(texts) + 1
    assert {len(text) for text in texts} == {len(TRIAL["unit_name"])}


def test_neighbouring_saves_differ_in_every_setting_they_change() -> None:
    """So a mixture of two of them is neither of them."""
    for number in range(31):
        now, then = changes(PRODUCT, TRIAL, number), changes(PRODUCT, TRIAL, number + 1)
        assert now.keys() == then.keys()
        assert len(now) >= 5
        assert not [name for name in now if now[name] == then[name]]


def test_nothing_of_the_network_nor_of_the_secrets_is_changed() -> None:
    changed = {name for number in range(4) for name in changes(PRODUCT, TRIAL, number)}
    assert not [name for name in changed if PRODUCT.form.settings[name].role or PRODUCT.form.settings[name].secret]


def test_a_text_that_ends_as_the_new_one_would_becomes_another() -> None:
    trial = TRIAL | {"unit_name": "unit-name-abcd07"}
    assert changes(PRODUCT, trial, 7)["unit_name"] == "unit-name-abcdzz"
