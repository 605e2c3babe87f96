"""Lamps that breathe, flash too fast, or are dimmed by fast switching; rates held against SciPy's periodogram.

A sine spends 2/pi·asin(0.6) = 0.41 of its time between a fifth and four fifths of its way: that is arithmetic.
"""

from collections.abc import Callable
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import signal

from hil.lamp import (
    UNRECOGNISED,
    Appearance,
    Breathing,
    StageSpan,
    breathing,
    colour_spans,
    colour_words,
    dark_reference,
    frames_within_changes,
    read_light,
    stages_over_time,
    with_breathing,
    with_unsteady,
)
from hil.lamp.doubt import Floats

LOOKS = {"connected": Appearance("green"), "joining": Appearance("green", 0.6), "updating": Appearance("green", 2.0)}
Drive = Callable[[Floats], Floats]
FRAME_S = 1 / 30


def sine(hz: float, least: float = 0.0) -> Drive:
    return lambda times: least + (1.0 - least) * (0.5 - 0.5 * np.cos(2 * np.pi * hz * times))


def triangle(hz: float) -> Drive:
    """As lamps are dimmed to look even to the eye: by a power of 2.2."""
    return lambda times: np.asarray((2 * np.abs((times * hz) % 1 - 0.5)) ** 2.2)


def square(hz: float, duty: float = 0.5) -> Drive:
    return lambda times: ((times * hz) % 1 < duty).astype(float)


def watched(
    lab: SimpleNamespace, drive: Drive, exposure_s: float = 0.008, length_s: float = 12.0, seed: int = 4
) -> tuple[Floats, list[str], Floats]:
    """Frames of a green lamp driven so: stamps, words, luminance."""
    camera = lab.Camera(size=20, glow=4.0, seed=seed)
    times = np.arange(0.0, length_s, FRAME_S) + FRAME_S * camera.random.random()
    instants = times[:, None] + exposure_s * (np.arange(48) / 47 - 0.5)
    share = drive(instants).mean(axis=1)
    dark = dark_reference(camera.dark())
    light = read_light(camera.crops(share[:, None] * np.array(lab.LAMPS["green"])), dark)
    return times, colour_words(light), light.luminance


def told(times: Floats, words: list[str], light: Floats) -> list[StageSpan]:
    stages = with_breathing(stages_over_time(colour_spans(times, words, light), LOOKS), breathing(times, words, light))
    return with_unsteady(stages, times, light, ["joining", "updating"])


@pytest.mark.parametrize("hz", [0.25, 0.6, 1.0, 2.0, 3.0])
@pytest.mark.parametrize("shape", [sine, triangle, lambda hz: sine(hz, 0.4)], ids=["sine", "triangle", "from 40 %"])
def test_breathing_is_told_as_such_with_its_rate(
    lab: SimpleNamespace, hz: float, shape: Callable[[float], Drive]
) -> None:
    times, words, light = watched(lab, shape(hz))
    (found,) = breathing(times, words, light)
    grid = np.linspace(0.2, 4.0, 6000)
    power = signal.lombscargle(times, light - light.mean(), 2 * np.pi * grid)
    assert abs(found.rate.hz - hz) <= found.rate.doubt_hz
    assert found.rate.hz == pytest.approx(grid[power.argmax()], abs=found.rate.doubt_hz + 0.01)
    assert found.colour == "green"
    assert found.end_s - found.begin_s > 8.0
    assert {stage.stage for stage in told(times, words, light)} == {UNRECOGNISED}


@pytest.mark.parametrize("exposure_s", [0.004, 0.016, 0.033])
@pytest.mark.parametrize(("hz", "stage"), [(0.6, "joining"), (2.0, "updating")])
def test_a_flash_stays_a_flash_whatever_the_exposure(
    lab: SimpleNamespace, exposure_s: float, hz: float, stage: str
) -> None:
    for seed in range(6):
        times, words, light = watched(lab, square(hz), exposure_s, seed=seed)
        assert breathing(times, words, light) == []
        assert {one.stage for one in told(times, words, light) if one.end_s - one.begin_s > 0.5} == {stage}


def test_a_flash_with_soft_edges_is_a_flash(lab: SimpleNamespace) -> None:
    soft: Drive = lambda times: np.clip(5.0 * np.sin(2 * np.pi * 0.6 * times), 0.0, 1.0)  # noqa: E731
    times, words, light = watched(lab, soft)
    assert breathing(times, words, light) == []
    assert "joining" in {one.stage for one in told(times, words, light)}


def test_one_fade_in_is_none(lab: SimpleNamespace) -> None:
    times, words, light = watched(lab, lambda times: np.clip((times - 2.0) / 1.5, 0.0, 1.0))
    assert breathing(times, words, light) == []
    assert told(times, words, light)[-1].stage == "connected"


def test_a_steady_light_after_breathing_is_steady(lab: SimpleNamespace) -> None:
    breath = sine(0.5)
    times, words, light = watched(lab, lambda t: np.where(t < 9.0, breath(t), 1.0), length_s=16.0)
    stages = told(times, words, light)
    assert [one.stage for one in stages] == [UNRECOGNISED, "connected"]
    assert abs(stages[1].begin_s - 9.0) <= stages[1].begin_doubt_s
    assert "going up and down smoothly at 0.50 Hz" in stages[0].reason


@pytest.mark.parametrize("hz", [28.0, 29.0, 29.5, 30.5, 31.0, 32.0])
def test_a_flash_beside_the_frame_rate_is_never_told_at_the_rate_it_seems_to_have(
    lab: SimpleNamespace, hz: float
) -> None:
    """Thirty frames a second, half of each interval exposed: 28 Hz seems to go up and down at 2 Hz."""
    times, words, light = watched(lab, square(hz), exposure_s=0.016)
    stages = told(times, words, light)
    assert {one.stage for one in stages if one.end_s - one.begin_s > 0.7} == {UNRECOGNISED}
    assert any("faster than these frames can tell" in one.reason for one in stages)


@pytest.mark.parametrize("hz", [12.5, 14.0, 16.0, 17.0])
@pytest.mark.parametrize("exposure_s", [0.004, 0.012])
def test_near_half_the_frame_rate_no_stage_and_no_rate_is_told(
    lab: SimpleNamespace, hz: float, exposure_s: float
) -> None:
    stages = [one for one in told(*watched(lab, square(hz), exposure_s)) if one.end_s - one.begin_s > 0.7]
    assert {one.stage for one in stages} == {UNRECOGNISED}
    assert {one.rate for one in stages} == {None}


def test_below_half_the_frame_rate_a_rate_is_right_or_not_told(lab: SimpleNamespace) -> None:
    """Also where no frame is dark all through, so that cycles are missed: at 11.2 Hz and 30 ms a third of them."""
    rates = 0
    for hz in (3.1, 5.3, 8.0, 9.7, 11.2, 12.8, 13.2, 14.0):
        for exposure_s in (0.004, 0.012, 0.022, 0.03):
            for stage in told(*watched(lab, square(hz), exposure_s)):
                rates += stage.rate is not None
                assert stage.rate is None or abs(stage.rate.hz - hz) <= 2.0 * stage.rate.doubt_hz + 0.01 * hz
    assert rates >= 12


@pytest.mark.parametrize("drive", [sine(5.0), sine(7.0), square(20.0)])
def test_light_that_goes_up_and_down_from_frame_to_frame_is_not_steady(lab: SimpleNamespace, drive: Drive) -> None:
    stages = told(*watched(lab, drive, exposure_s=0.016))
    assert {one.stage for one in stages} <= {UNRECOGNISED, "dark"}
    assert all(one.rate is None or abs(one.rate.hz - 5.0) <= one.rate.doubt_hz for one in stages)


def test_the_duty_is_told_with_the_rate_of_a_flash_nobody_declared(lab: SimpleNamespace) -> None:
    times, words, light = watched(lab, square(1.1, 0.3))
    reason = max(told(times, words, light), key=lambda one: one.end_s - one.begin_s).reason
    assert reason.startswith("green flashing at 1.10 Hz")
    assert (
        "lit for 30% of the time" in reason
        or "lit for 31% of the time" in reason
        or "lit for 29% of the time" in reason
    )


def test_a_camera_that_smooths_its_pictures_is_known_by_its_bench_s_lamp(lab: SimpleNamespace) -> None:
    """Each picture is two thirds the one before: all changes are smooth to it, and none is the lamp's."""
    times, _, light = watched(lab, square(2.0))
    _, _, bench = watched(lab, square(0.9), seed=5)
    smooth = [signal.lfilter([0.35], [1.0, -0.65], one) for one in (light, bench)]
    words = ["green" if one > 0.05 * smooth[0].max() else "off" for one in smooth[0]]
    frames = frames_within_changes(times, smooth[1])
    assert frames_within_changes(times, bench) == 1
    assert frames > 1
    assert breathing(times, words, smooth[0], sharp_frames=frames) == []


def test_other_lights_scatter_makes_no_breathing(lab: SimpleNamespace) -> None:
    random = np.random.default_rng(8)
    for hz in (0.6, 2.0, 2.8):
        times, words, light = watched(lab, square(hz))
        noisy = light + 0.3 * light.max() * (random.random(len(light)) < 0.5)
        assert breathing(times, words, noisy) == []


@pytest.mark.parametrize("pwm_hz", [400.0, 520.0, 1000.0, 2000.0])
@pytest.mark.parametrize("duty", [0.15, 0.5, 0.9])
@pytest.mark.parametrize("exposure_s", [0.005, 0.008, 0.02])
def test_a_dimmed_lamp_before_a_rolling_shutter_is_steady(
    lab: SimpleNamespace, pwm_hz: float, duty: float, exposure_s: float
) -> None:
    """Bands of rows, each exposed 30 microseconds after the one above; two periods of the switching at least in an exposure."""
    camera = lab.Camera(size=40, seed=6)
    times = np.arange(0.0, 4.0, FRAME_S) + 0.0002 * np.arange(120)  # frames walk through the switching's period
    rows = times[:, None] + 30e-6 * np.arange(40)

    def lit_until(instants: Floats) -> Floats:
        periods = np.floor(instants * pwm_hz)
        return np.asarray((periods * duty + np.minimum(instants * pwm_hz - periods, duty)) / pwm_hz)

    share = (lit_until(rows + exposure_s) - lit_until(rows)) / exposure_s
    lamp = np.array(lab.LAMPS["green"]) @ lab.LEAKS["even"].T
    linear = camera.shape[None, :, :, None] * lamp * share[:, :, None, None] + camera.board
    codes = lab.encode(linear) + camera.noise_codes * camera.random.standard_normal(linear.shape)
    crops = np.clip(np.rint(codes), 0, 255).astype(np.uint8)[..., ::-1]
    light = read_light(crops, dark_reference(camera.dark()))
    words = colour_words(light)
    assert set(words) == {"green"}
    assert [one.stage for one in told(times, words, light.luminance)] == ["connected"]


def test_nothing_lit_breathes_not() -> None:
    assert breathing([], [], []) == []
    assert breathing(np.arange(50) * 0.1, ["off"] * 50, np.zeros(50)) == []
    assert with_breathing([], list[Breathing]()) == []


def test_wrong_input_is_refused() -> None:
    with pytest.raises(ValueError, match="belong together"):
        breathing([0.0, 1.0], ["off"], [0.0, 0.0])
    with pytest.raises(ValueError, match="do not rise"):
        breathing([1.0, 0.0], ["off", "off"], [0.0, 0.0])
