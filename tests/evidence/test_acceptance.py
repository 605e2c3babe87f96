"""Accepted findings: they pass by their acceptance alone and say so; held against the day the run began. Our own rule."""

from dataclasses import replace

import pytest
from support.records import make, product_with

from hil.core.errors import OurBug
from hil.evidence.acceptance import named
from hil.evidence.seen import Seen
from hil.evidence.window import Record

OPEN = Seen(False, "TCP port 8080 is open", 12.0)
GIVEN = {"open_port_8080": {"until": "2027-03-31", "reason": "pilot series", "by": "N. N."}}


def record(began: str, accepted: dict[str, dict[str, str]] | None = None) -> Record:
    product = product_with({"accepted": GIVEN if accepted is None else accepted})
    return replace(make([], product=product).record, began=began)


def test_an_accepted_finding_holds_and_says_until_when_by_whom_and_why() -> None:
    seen = named(OPEN, "open_port_8080", record("2027-03-31T08:00:00+02:00"))
    assert (seen.holds, seen.accepted, seen.at_s) == (True, "open_port_8080", 12.0)
    assert seen.text.startswith("TCP port 8080 is open; accepted until 2027-03-31 by N. N.: pilot series; against ETSI")


@pytest.mark.parametrize("began", ["2027-04-01T08:00:00+02:00", ""])
def test_an_expired_one_fails_and_says_that_it_was_accepted_once(began: str) -> None:
    seen = named(OPEN, "open_port_8080", record(began))
    assert (seen.holds, seen.accepted) == (False, "")
    assert "accepted by N. N. until 2027-03-31 only" in seen.text


def test_another_finding_is_not_accepted_with_it() -> None:
    seen = named(replace(OPEN, text="TCP port 8081 is open"), "open_port_8081", record("2026-11-25"))
    assert (seen.holds, seen.accepted) == (False, "")
    assert "accepted" not in seen.text


@pytest.mark.parametrize("seen", [Seen(True, "every port is closed"), Seen.untold("pages: nothing was recorded")])
def test_what_holds_or_cannot_be_told_is_left_as_it_is(seen: Seen) -> None:
    assert named(seen, "open_port_8080", record("2026-11-25")) is seen


def test_a_finding_nobody_could_accept_is_a_fault_of_ours() -> None:
    with pytest.raises(OurBug, match="nobody could accept"):
        named(OPEN, "open_door", record("2026-11-25"))
