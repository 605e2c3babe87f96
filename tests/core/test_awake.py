"""When a witness was asleep. Held against a slow reading of the same rule: an instant is covered when the last control
before it and the first after it stand no further apart than the longest gap."""

import random
from itertools import pairwise

import pytest

from hil.core.awake import Asleep, asleep, first_within


def covered(time_s: float, controls: list[float], begin_s: float, end_s: float, longest_gap_s: float) -> bool:
    """The rule, instant by instant; where no control came before or after, the window's own end stands for one."""
    if not any(begin_s - longest_gap_s <= t <= end_s + longest_gap_s for t in controls):
        return False
    before = max((t for t in controls if t <= time_s), default=begin_s)
    after = min((t for t in controls if t >= time_s), default=end_s)
    return after - before <= longest_gap_s


def gaps_of(controls: list[float], begin_s: float = 0.0, end_s: float = 10.0, gap_s: float = 1.0) -> list[Asleep]:
    return asleep(controls, begin_s, end_s, gap_s)


@pytest.mark.parametrize("seed", range(60))
def test_it_agrees_with_the_rule_at_every_instant(seed: int) -> None:
    dice = random.Random(seed)
    controls = sorted(dice.uniform(-4.0, 14.0) for _ in range(dice.choice([0, 1, 2, 5, 15, 40])))
    gaps = gaps_of(controls)
    for step in range(1, 1000):
        time_s = step / 100.0 + 1e-4
        is_asleep = any(gap.begin_s < time_s < gap.end_s for gap in gaps)
        assert is_asleep is not covered(time_s, controls, 0.0, 10.0, 1.0), (controls, time_s)
    assert all(0.0 <= gap.begin_s < gap.end_s <= 10.0 for gap in gaps)
    assert all(one.end_s <= other.begin_s for one, other in pairwise(gaps))


def test_no_control_at_all_is_asleep_throughout() -> None:
    assert gaps_of([]) == [Asleep(0.0, 10.0, woke=False)]
    assert gaps_of([-5.0, 17.0]) == [Asleep(0.0, 10.0, woke=False)]


def test_a_witness_woke_where_a_control_came_after_its_sleep() -> None:
    assert gaps_of([0.0, 1.0, 2.0, 4.0, *range(5, 12)]) == [Asleep(2.0, 4.0)]
    assert gaps_of([0.0, 1.0, 2.0]) == [Asleep(2.0, 10.0, woke=False)]


def test_a_gap_of_just_the_longest_still_proves_it_awake() -> None:
    assert gaps_of([float(second) for second in range(11)]) == []


def test_a_gap_that_reaches_into_the_window_counts_from_its_begin() -> None:
    """The last control before the window was too long ago: what came between it and the next is not proven."""
    controls = [-1.5, 0.4, *(0.4 + 0.5 * n for n in range(1, 20))]
    assert gaps_of(controls) == [Asleep(0.0, 0.4)]


def test_a_gap_that_reaches_out_of_the_window_counts_to_its_end() -> None:
    controls = [*(0.5 * n for n in range(20)), 11.4]
    assert gaps_of(controls) == [Asleep(9.5, 10.0)]


def test_the_first_gap_that_meets_a_window() -> None:
    gaps = [Asleep(1.0, 2.0), Asleep(4.0, 5.0)]
    assert first_within(gaps, 0.0, 10.0) == gaps[0]
    assert first_within(gaps, 2.0, 4.5) == gaps[1]
    assert first_within(gaps, 2.0, 4.0) is None
