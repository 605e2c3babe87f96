"""The bench's own lamp: the delay's doubt held against known delays (coverage); awake windows by known sleeps."""

import itertools

import numpy as np
import pytest

from hil.lamp import Delay, NotTold, awake_windows, bench_lamp_delay, bench_lamp_seen, bench_lamp_watched
from hil.lamp.doubt import Floats


def rhythm(random: np.random.Generator, count: int, shortest: float = 0.45, longest: float = 0.95) -> Floats:
    return 1.0 + np.cumsum(random.uniform(shortest, longest, count))


def pictured(
    random: np.random.Generator,
    orders: Floats,
    delay_s: float,
    interval: float,
    exposure: float = 0.0,
    jitter_sd: float = 0.0,
    first_on: bool = True,
) -> tuple[Floats, Floats]:
    """Give stamps and luminance of frames of a lamp switched at `orders`, stamped late by `delay_s`."""
    true = np.arange(interval * random.random(), orders[-1] + 4.0, interval)
    edges = np.concatenate([[-1e3], orders, [1e3]])
    on_parts = [(a, b) for at, (a, b) in enumerate(itertools.pairwise(edges)) if (at % 2 == 1) == first_on]
    width = max(exposure, 1e-6)
    lit = sum(np.clip(np.minimum(true + width / 2, b) - np.maximum(true - width / 2, a), 0, None) for a, b in on_parts)
    stamps = true + delay_s + np.clip(jitter_sd * random.standard_normal(len(true)), -interval / 3, interval / 3)
    return stamps, lit / width * 0.3 + 0.002 * random.standard_normal(len(true))


@pytest.mark.parametrize(
    ("interval", "exposure", "jitter_sd"), [(1 / 30, 0.008, 0.002), (0.1333, 0.032, 0.016), (0.1333, 0.0, 0.0)]
)
def test_the_delays_doubt_covers_the_truth_and_is_not_padded(
    interval: float, exposure: float, jitter_sd: float
) -> None:
    random = np.random.default_rng(5)
    results = []
    for _ in range(340):
        delay_s = random.uniform(0.0, 1.0)
        orders = rhythm(random, int(random.integers(8, 30)))
        stamps, light = pictured(random, orders, delay_s, interval, exposure, jitter_sd)
        found = bench_lamp_delay(orders, stamps, light)
        if isinstance(found, NotTold):  # a short rhythm may fit twice by chance
            assert "more than one lag fits" in found.reason
            continue
        results.append((abs(found.offset_s - delay_s), found.doubt_s))
    error, doubt = np.array(results).T
    assert len(results) >= 300
    assert (error <= doubt).mean() >= 0.93
    assert doubt.mean() <= 2.0 * np.quantile(error, 0.95)


@pytest.mark.parametrize("first_on", [True, False])
def test_both_at_once_are_what_they_are_one_by_one(first_on: bool) -> None:
    random = np.random.default_rng(12)
    orders = rhythm(random, 25)
    stamps, light = pictured(random, orders, 0.3, 0.1, 0.03, 0.01, first_on)
    light[60:90] = light[59]  # the camera sleeps for a while
    delay = bench_lamp_delay(orders, stamps, light, first_on=first_on)
    assert isinstance(delay, Delay)
    seen = bench_lamp_seen(orders, stamps, light, delay, first_on=first_on)
    assert bench_lamp_watched(orders, stamps, light, first_on=first_on) == (delay, seen)
    assert any(switch.seen_s is None for switch in seen)


@pytest.mark.parametrize(("orders", "light"), [([], []), ([0.5, 0.9], [0.0] * 40), ([0.5, 0.9], [0.0, 1.0] * 20)])
def test_both_at_once_are_not_told_for_the_same_reason(orders: list[float], light: list[float]) -> None:
    stamps = np.arange(len(light)) * 0.1
    reason = bench_lamp_delay(orders, stamps, light)
    assert isinstance(reason, NotTold)
    assert bench_lamp_watched(orders, stamps, light) == reason


def test_a_rhythm_in_step_with_the_frames_is_not_averaged_away() -> None:
    orders = np.array([1.0, 1.5, 2.3, 2.8, 3.9, 4.4, 5.3, 5.9, 7.0, 7.4, 8.3, 8.8])  # all multiples of the interval
    stamps = np.arange(0.01, 12.0, 0.1)
    light = (np.searchsorted(orders, stamps) % 2 == 1).astype(float)
    found = bench_lamp_delay(orders, stamps, light)
    assert isinstance(found, Delay)
    assert found.doubt_s == pytest.approx(0.95 * 0.05)
    assert abs(found.offset_s) <= found.doubt_s


def test_a_rhythm_that_begins_with_off() -> None:
    random = np.random.default_rng(6)
    orders = rhythm(random, 20)
    stamps, light = pictured(random, orders, 0.2, 0.0333, first_on=False)
    found = bench_lamp_delay(orders, stamps, light, first_on=False)
    assert isinstance(found, Delay)
    assert found.offset_s == pytest.approx(0.2, abs=2 * found.doubt_s)


def test_a_regular_rhythm_is_refused() -> None:
    random = np.random.default_rng(7)
    orders = 1.0 + np.arange(30) * 0.4
    stamps, light = pictured(random, orders, 0.1, 0.0333)
    found = bench_lamp_delay(orders, stamps, light)
    assert isinstance(found, NotTold)
    assert "too regular" in found.reason


def test_another_lamps_rhythm_is_refused() -> None:
    random = np.random.default_rng(8)
    stamps, light = pictured(random, rhythm(random, 30), 0.1, 0.0333)
    other = rhythm(np.random.default_rng(9), 30)
    assert isinstance(bench_lamp_delay(other, stamps, light), NotTold)


@pytest.mark.parametrize("level", [0.0, 1.0])
def test_a_lamp_that_does_not_switch_is_refused(level: float) -> None:
    random = np.random.default_rng(10)
    orders = rhythm(random, 12)
    stamps = np.arange(0.0, orders[-1] + 3.0, 0.05)
    for light in (np.full(len(stamps), level), level + 0.01 * random.standard_normal(len(stamps))):
        assert isinstance(bench_lamp_delay(orders, stamps, light), NotTold)
        delay = Delay(0.1, 0.01, 0.01, 10)
        assert all(switch.seen_s is None for switch in bench_lamp_seen(orders, stamps, light, delay))


def test_too_little_is_refused() -> None:
    assert isinstance(bench_lamp_delay([], [], []), NotTold)
    stamps = np.arange(0.0, 3.0, 0.05)
    assert isinstance(bench_lamp_delay([0.5, 0.9], stamps, (stamps > 0.5) & (stamps < 0.9)), NotTold)


def test_a_sleeping_camera_leaves_a_hole_in_the_awake_windows() -> None:
    random = np.random.default_rng(11)
    orders = rhythm(random, 40)
    stamps, light = pictured(random, orders, 0.15, 0.0333)
    delay = bench_lamp_delay(orders, stamps, light)
    asleep = (stamps > 10.0) & (stamps < 14.0)
    frozen = light.copy()
    frozen[asleep] = light[np.argmax(asleep)]
    switches = bench_lamp_seen(orders, stamps, frozen, delay)
    missed = [switch.ordered_s for switch in switches if switch.seen_s is None]
    assert missed
    assert all(9.7 < when < 14.2 for when in missed)
    windows = awake_windows(switches)
    assert len(windows) >= 2
    assert not any(begin < 11.0 and end > 13.0 for begin, end in windows)
    assert (windows[0][0], windows[-1][1]) == (orders[0], orders[-1])


def test_a_camera_that_gave_no_frames_for_a_while_has_its_delay_from_the_rest() -> None:
    """One that stood still meanwhile is told by its lamp, as before: of half of the switches it shows nothing."""
    random = np.random.default_rng(9)
    orders = rhythm(random, 40)
    stamps, light = pictured(random, orders, 0.2, 1 / 30)
    away = (stamps > orders[10]) & (stamps < orders[22])
    watched = bench_lamp_watched(orders, stamps[~away], light[~away])
    assert not isinstance(watched, NotTold), watched
    delay, seen = watched
    assert abs(delay.offset_s - 0.2) <= 2.0 * delay.doubt_s
    assert {one.seen_s for one in seen[11:21]} == {None}
    assert isinstance(bench_lamp_watched(orders, stamps, np.where(away, light[0], light)), NotTold)


def test_an_awake_camera_has_one_window() -> None:
    random = np.random.default_rng(12)
    orders = rhythm(random, 40)
    stamps, light = pictured(random, orders, 0.15, 0.1333, 0.032, 0.01)
    switches = bench_lamp_seen(orders, stamps, light, Delay(0.15, 0.01, 0.04, 40))
    assert all(switch.seen_s is not None for switch in switches)
    assert awake_windows(switches) == [(orders[0], orders[-1])]
    assert len(awake_windows(switches, longest_gap_s=0.7)) > 1
    assert awake_windows([]) == []


def test_wrong_input_is_refused() -> None:
    with pytest.raises(ValueError, match="do not rise"):
        bench_lamp_delay([1.0, 0.5], [0.0, 1.0], [0.0, 0.0])
    with pytest.raises(ValueError, match="do not rise"):
        bench_lamp_delay([1.0], [1.0, 0.0], [0.0, 0.0])
    with pytest.raises(ValueError, match="belong together"):
        bench_lamp_seen([1.0], [0.0, 1.0], [0.0], Delay(0.1, 0.01, 0.01, 10))
