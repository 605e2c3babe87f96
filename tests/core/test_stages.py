"""Situations: what a leg may begin from, and what it leaves. Held against a table written out by hand."""

import pytest

from hil.core.stages import STORES, Anywhere, Connected, Off, Setup, Situation, Unknown

ACCEPTS = [
    (Anywhere(), Off("erased"), True),
    (Anywhere(), Unknown(), True),
    (Anywhere(), Connected("bench network"), True),
    (Anywhere("defaults"), Setup("defaults"), True),
    (Anywhere("defaults"), Setup("erased"), False),
    (Off("erased"), Off("erased"), True),
    (Off("erased"), Off("defaults"), False),
    (Off("erased"), Off("unknown"), False),
    (Off("erased"), Setup("erased"), False),
    (Off(), Off("unknown"), True),
    (Setup(), Setup("bench network"), True),
    (Setup(), Unknown(), False),
    (Connected("bench network"), Connected("bench network"), True),
]


@pytest.mark.parametrize(("begins", "unit", "fits"), ACCEPTS, ids=str)
def test_what_a_leg_may_begin_from(begins: Situation, unit: Situation, fits: bool) -> None:
    assert begins.accepts(unit) is fits


@pytest.mark.parametrize(
    ("ends", "begin", "after"),
    [
        (Setup(), Off("bench network"), Setup("bench network")),
        (Setup("defaults"), Off("erased"), Setup("defaults")),
        (Off(), Connected("bench network"), Off("bench network")),
        (Anywhere(), Setup("defaults"), Setup("defaults")),
        (Anywhere("erased"), Setup("defaults"), Setup("erased")),
    ],
    ids=str,
)
def test_as_it_was_is_filled_in_from_the_beginning(ends: Situation, begin: Situation, after: Situation) -> None:
    assert ends.after(begin) == after


def test_a_store_that_no_leg_could_know_is_refused() -> None:
    with pytest.raises(ValueError, match="'formatted'") as refusal:
        Off("formatted")
    assert all(store in str(refusal.value) for store in STORES)


def test_a_situation_in_words() -> None:
    assert str(Setup("defaults")) == "setup (defaults)"
    assert str(Off()) == "off"


def test_an_unknown_situation_fits_no_leg_but_one_from_anywhere() -> None:
    assert not any(begins.accepts(Unknown()) for begins in (Off(), Setup(), Connected()))
    assert Anywhere().accepts(Unknown())
