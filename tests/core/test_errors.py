"""Errors: one tree, and messages of the shape "where: what is wrong, with the value. What to do."."""

import pytest

from hil.core.errors import BenchError, HilError, InputError, OurBug
from hil.core.outcomes import CheckFailed, NotReached, Unjudged


@pytest.mark.parametrize("kind", [InputError, BenchError, OurBug])
def test_all_are_of_one_tree(kind: type[HilError]) -> None:
    assert issubclass(kind, HilError)
    assert kind.__bases__ == (HilError,)


def test_wrong_input_names_place_problem_and_remedy() -> None:
    error = InputError("product.toml: limits", "lower must be below upper.", "Correct it.")
    assert str(error) == "product.toml: limits: lower must be below upper. Correct it."
    assert (error.where, error.problem, error.remedy) == (
        "product.toml: limits",
        "lower must be below upper.",
        "Correct it.",
    )


def test_bench_trouble_names_the_instrument() -> None:
    assert str(BenchError("camera 0", "cannot be opened.", "Check the cable.")) == (
        "camera 0: cannot be opened. Check the cable."
    )
    assert str(BenchError("camera 0", "cannot be opened.")) == "camera 0: cannot be opened."


def test_our_bug_asks_to_be_reported() -> None:
    assert "please report" in str(OurBug("The check reads 'air', which its @needs does not name."))


def test_a_failed_check_is_no_error_of_ours() -> None:
    for outcome in (CheckFailed, NotReached, Unjudged):
        assert not issubclass(outcome, HilError)
    assert issubclass(CheckFailed, AssertionError)
