"""Flash rate held against the truth of simulated flashes over IEC 60073's bands, and against SciPy's periodogram.

Bands: slow 0.4-0.8 Hz, normal 1.4-2.8 Hz (IEC 60073, as secondary pages quote it).
"""

import numpy as np
import pytest
from scipy import signal

from hil.lamp import FlashRate, NotTold, flash_rate
from hil.lamp.doubt import Bools, Floats

BANDS = [(0.4, 0.8), (1.4, 2.8)]


def sampled(
    random: np.random.Generator,
    hz: float,
    duty: float,
    interval: float,
    length_s: float,
    jitter_sd: float = 0.0,
    drop: float = 0.0,
    begin: float = 0.0,
) -> tuple[Floats, Bools]:
    """Sample a flash at irregular true times."""
    times = np.arange(begin, begin + length_s, interval) + interval * random.random()
    times = times + np.clip(jitter_sd * random.standard_normal(len(times)), -interval / 3, interval / 3)
    times = times[random.random(len(times)) >= drop]
    return times, (times * hz + random.random()) % 1.0 < duty


@pytest.mark.parametrize("band", BANDS)
@pytest.mark.parametrize("interval", [1 / 30, 0.0667, 0.1333])
def test_the_stated_doubt_covers_rate_and_duty(band: tuple[float, float], interval: float) -> None:
    random = np.random.default_rng(21)
    results = []
    for _ in range(320):
        hz, duty = random.uniform(*band), random.uniform(0.4, 0.6)
        times, lit = sampled(random, hz, duty, interval, random.uniform(5, 15) / hz, 0.1 * interval)
        found = flash_rate(times, lit)
        if interval * hz > 0.35:  # near 0.4 of the frame rate it may be refused
            continue
        assert isinstance(found, FlashRate), (hz, duty, found)
        results.append((abs(found.hz - hz), found.doubt_hz, abs(found.duty - duty), found.doubt_duty))
    hz_error, hz_doubt, duty_error, duty_doubt = np.array(results).T
    assert len(results) >= 200
    assert (hz_error <= hz_doubt).mean() >= 0.93
    assert (hz_doubt / np.quantile(hz_error, 0.95)).mean() <= 2.0
    assert (duty_error <= duty_doubt).mean() >= 0.93


@pytest.mark.parametrize("hz", [0.4, 0.6, 0.8, 1.4, 2.0, 2.8])
def test_rate_agrees_with_a_periodogram_of_irregular_samples(hz: float) -> None:
    random = np.random.default_rng(31)
    times, lit = sampled(random, hz, 0.5, 0.0667, 30.0 / hz, 0.015, drop=0.05)
    found = flash_rate(times, lit)
    grid = np.linspace(0.3, 4.0, 8000)
    power = signal.lombscargle(times, lit - lit.mean(), 2 * np.pi * grid)
    outside = grid[power.argmax()]
    assert isinstance(found, FlashRate)
    assert found.hz == pytest.approx(outside, abs=found.doubt_hz + 0.3 / (times[-1] - times[0]))


def test_a_regular_flash_by_hand() -> None:
    times = np.arange(0, 6.0, 0.1)
    found = flash_rate(times, (times + 0.05) % 1.0 < 0.3)
    assert isinstance(found, FlashRate)
    assert (found.hz, found.duty) == pytest.approx((1.0, 0.3))
    assert found.edges == 11


@pytest.mark.parametrize("hz", [6.2, 7.0, 7.4, 12.3, 13.1])
def test_near_half_the_frame_rate_nothing_is_told(hz: float) -> None:
    random = np.random.default_rng(41)
    times, lit = sampled(random, hz, 0.5, 1 / 15 if hz < 8 else 1 / 30, 10.0)
    found = flash_rate(times, lit)
    assert isinstance(found, NotTold)
    assert "frame rate" in found.reason


@pytest.mark.parametrize("hz", [4.3, 5.1, 6.4, 9.3])
def test_above_half_the_frame_rate_irregular_frames_give_no_rate(hz: float) -> None:
    # With regular frames it could not be told from a slower flash: see the module's first lines.
    random = np.random.default_rng(43)
    times, lit = sampled(random, hz, 0.5, 0.1333, 30.0, jitter_sd=0.03, drop=0.05)
    assert isinstance(flash_rate(times, lit), NotTold)


def test_an_irregular_pattern_has_no_rate() -> None:
    times = np.arange(0, 20, 0.05)
    edges = np.cumsum([1.0, 0.5, 0.5, 0.5, 1.7, 0.4, 0.5, 2.2, 0.6, 0.5])
    found = flash_rate(times, np.searchsorted(edges, times) % 2 == 1)
    assert isinstance(found, NotTold)
    assert "no steady rate" in found.reason


def test_a_pulse_lost_with_its_frames_gives_no_false_rate() -> None:
    times = np.arange(0, 10, 0.05)
    lit = times % 1.0 < 0.5
    kept = (times < 4.0) | (times > 5.02)
    assert isinstance(flash_rate(times[kept], lit[kept]), NotTold)


@pytest.mark.parametrize("lit", [[], [True], [True] * 50, [False] * 50, [False] * 20 + [True] * 20])
def test_too_little_gives_no_rate(lit: list[bool]) -> None:
    assert isinstance(flash_rate(np.arange(len(lit)) * 0.1, np.array(lit, dtype=bool)), NotTold)


def test_a_frame_that_holds_a_change_counts_as_what_it_has_more_of() -> None:
    """10 Hz at 30 frames/s, exposed for 0.9 of the interval: most frames are mixed, and with any light as lit no dark is left."""
    random = np.random.default_rng(4)
    times = np.arange(120) / 30.0
    instants = times[:, None] + 0.9 / 30.0 * np.linspace(-0.5, 0.5, 100)
    share = ((instants + 0.013) * 9.7 % 1.0 < 0.5).mean(axis=1)
    light = share[:, None] * [0.5, 0.1, 0.0] + random.normal(0.0, 0.01, (120, 3))
    assert not flash_rate(times, share > 0.1)
    found = flash_rate(times, share > 0.1, light)
    assert isinstance(found, FlashRate)
    assert abs(found.hz - 9.7) <= found.doubt_hz < 0.1


def test_another_lamp_that_blinks_in_another_colour_counts_little() -> None:
    """Though some frames are told to be lit by its light."""
    times = np.arange(0, 8, 1 / 30)
    own, other = (times + 0.1) % 1.25 < 0.625, (times + 0.3) % 0.45 < 0.2
    light = own[:, None] * [0.0, 0.4, 0.05] + other[:, None] * [0.12, 0.0, 0.0]
    found = flash_rate(times, own | other & (times < 1.0), light)
    assert isinstance(found, FlashRate)
    assert abs(found.hz - 0.8) < 0.004


def test_least_periods() -> None:
    times = np.arange(0, 2.45, 0.05)
    lit = (times - 0.22) % 1.0 < 0.5  # changes at 0.22, 0.72, 1.22, 1.72, 2.22
    assert isinstance(flash_rate(times, lit, least_periods=3), NotTold)
    assert isinstance(flash_rate(times, lit, least_periods=2), FlashRate)


def test_wrong_input_is_refused() -> None:
    with pytest.raises(ValueError, match="belong together"):
        flash_rate([0.0, 1.0], np.array([True]))
    with pytest.raises(ValueError, match="do not rise"):
        flash_rate([1.0, 0.0], np.array([True, False]))
    with pytest.raises(ValueError, match="belong together"):
        flash_rate([0.0, 1.0], np.array([True, False]), np.zeros((3, 3)))
    with pytest.raises(ValueError, match="True or False"):
        flash_rate([0.0, 1.0], np.array([1, 0]))
