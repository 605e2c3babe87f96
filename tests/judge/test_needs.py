"""`@needs`: a check names the views it reads, by names that exist."""

import pytest

from hil.evidence.leg_evidence import LegEvidence
from hil.evidence.views import WITNESSES
from hil.judge.needs import NEEDS_ATTRIBUTE, needs


def test_it_notes_the_views_and_leaves_the_check_as_it_was() -> None:
    def check() -> None:
        """A check."""

    marked = needs("air", "power")(check)
    assert marked is check
    assert getattr(check, NEEDS_ATTRIBUTE) == frozenset({"air", "power"})


@pytest.mark.parametrize("views", [(), ("radio",), ("air", "radio"), ("Air",)])
def test_names_that_do_not_exist_are_refused_when_declared(views: tuple[str, ...]) -> None:
    with pytest.raises(ValueError, match="name one or more of access_point, air") as refusal:
        needs(*views)
    assert all(view in str(refusal.value) for view in WITNESSES)


def test_every_name_is_a_view_of_the_evidence() -> None:
    assert all(isinstance(getattr(LegEvidence, view), property) for view in WITNESSES)
