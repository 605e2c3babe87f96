"""The clock. Held against arithmetic alone: a speed is unit seconds in a real one."""

import time

import pytest

from hil.core.clock import Clock


@pytest.mark.parametrize("speed", [0.5, 1.0, 4.0, 20.0])
def test_unit_and_real_seconds_are_inverse(speed: float) -> None:
    clock = Clock(speed)
    assert clock.unit_s(1.0) == speed
    assert clock.real_s(speed) == 1.0
    assert clock.real_s(clock.unit_s(0.37)) == pytest.approx(0.37, rel=1e-15)


@pytest.mark.parametrize("speed", [1.0, 4.0])
def test_a_monotonic_second_is_speed_unit_seconds(speed: float) -> None:
    clock = Clock(speed)
    assert clock.at(1000.0) - clock.at(999.0) == pytest.approx(speed, rel=1e-9)


def test_it_begins_at_zero_and_agrees_with_the_monotonic_clock() -> None:
    before = time.monotonic()
    clock = Clock(2.0)
    after = time.monotonic()
    assert clock.at(before) <= 0.0 <= clock.at(after)
    first = clock.now_s()
    bounds = (clock.at(after), clock.at(time.monotonic()))
    assert bounds[0] <= first <= bounds[1]
    assert clock.now_s() >= first


@pytest.mark.parametrize("speed", [0.0, -1.0])
def test_a_clock_that_stands_or_runs_back_is_refused(speed: float) -> None:
    with pytest.raises(ValueError, match=f"not {speed}"):
        Clock(speed)


def test_a_pause_lasts_at_least_its_unit_seconds() -> None:
    clock = Clock(20.0)
    begin_s = clock.now_s()
    clock.pause(0.2)
    # A sleep never returns early (Python library reference, time.sleep, since 3.5); how late it is is not asserted.
    assert clock.now_s() - begin_s >= 0.2
