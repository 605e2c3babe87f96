"""The first difference between two drives of a leg, by hand-made courses."""

from dataclasses import replace

import pytest

from hil.evidence.course import Step
from hil.evidence.difference import TOLERANCE_S, Difference, first_difference

PASSED = (
    Step("supply on", 0.0),
    Step("join to the network", 4.0, 0.05),
    Step("address given to the unit", 4.4, 0.05),
    Step("hotspot silent", 4.5),
    Step("request for the status", 6.0, outcome="answered with status 200"),
)


def without(*words: str) -> list[Step]:
    return [step for step in PASSED if step.words not in words]


def later(words: str, by_s: float) -> list[Step]:
    """One step, and all after it, came later."""
    at = [step.words for step in PASSED].index(words)
    return [replace(s, time_s=s.time_s + (by_s if i >= at else 0.0)) for i, s in enumerate(PASSED)]


def test_a_drive_is_as_itself_and_as_one_within_the_tolerance() -> None:
    assert first_difference(PASSED, PASSED) is None
    for words in (step.words for step in PASSED):
        for by_s in (0.9 * TOLERANCE_S, -0.9 * TOLERANCE_S):
            assert first_difference(sorted(later(words, by_s), key=lambda s: s.time_s), PASSED) is None


def test_the_first_step_that_is_missing_is_told_with_when_it_was_due() -> None:
    lost = first_difference(without("address given to the unit", "request for the status"), PASSED)
    assert lost == Difference(
        4.4, "no address given to the unit; in the passed run 0.4 s after the join to the network"
    )


def test_a_late_step_is_told_once_and_not_what_follows_it() -> None:
    late = first_difference(later("join to the network", 3.0), PASSED)
    assert late is not None
    assert (
        late.text == "join to the network late, 7.0 s after the supply on; in the passed run 4.0 s after the supply on"
    )


def test_an_early_step_counts_from_when_it_came() -> None:
    early = first_difference(later("join to the network", -2.5), PASSED)
    assert early is not None
    assert early.at_s == pytest.approx(1.5)


def test_all_doubts_are_allowed_for() -> None:
    unsure = [replace(step, doubt_s=2.0) for step in later("join to the network", 3.0)]
    assert first_difference(unsure, PASSED) is None


def test_an_extra_step_before_any_other_difference_is_the_first() -> None:
    extra = Step("start of the chip", 5.0)
    drive = sorted([*without("request for the status"), extra], key=lambda s: s.time_s)
    found = first_difference(drive, PASSED)
    assert found == Difference(5.0, "start of the chip, 0.5 s after the hotspot silent; none in the passed run")
    late_extra = [*without("address given to the unit"), replace(extra, time_s=9.0)]
    found = first_difference(late_extra, PASSED)
    assert found is not None
    assert found.text.startswith("no address given")


def test_another_answer_is_a_difference() -> None:
    other = [*PASSED[:-1], replace(PASSED[-1], outcome="silent")]
    found = first_difference(other, PASSED)
    assert found is not None
    assert found.text == "request for the status silent; in the passed run answered with status 200"
    assert first_difference([*PASSED[:-1], replace(PASSED[-1], outcome="")], PASSED) is None


def test_steps_that_chance_may_miss_are_left_out() -> None:
    unsure = Step("lamp in stage starting", 0.5, sure=False)
    assert first_difference(PASSED, [PASSED[0], unsure, *PASSED[1:]]) is None
    assert first_difference([PASSED[0], unsure, *PASSED[1:]], PASSED) is None


def test_times_count_from_what_an_instrument_saw_for_itself() -> None:
    claim = Step("stage connected on the console", 4.39, claim=True)
    passed = [*PASSED[:2], claim, *PASSED[2:]]
    lost = first_difference([step for step in passed if step.words != "address given to the unit"], passed)
    assert lost is not None
    assert lost.text == "no address given to the unit; in the passed run 0.4 s after the join to the network"


def test_steps_pair_off_by_their_turn() -> None:
    twice = [*PASSED, Step("supply on", 20.0, turn=(0, 2))]
    found = first_difference(PASSED, twice)
    assert found is not None
    assert found.text.startswith("no supply on; in the passed run 14.0 s after the request for the status")


def test_a_leg_that_left_nothing_lacks_the_first_step() -> None:
    assert first_difference((), PASSED) == Difference(0.0, "no supply on; in the passed run 0.0 s after the leg began")
    assert first_difference((), ()) is None
