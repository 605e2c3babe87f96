"""Spans of one colour: the stated doubts held against the truth of simulated changes (coverage), and hand-made records."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from hil.lamp import OFF, UNRECOGNISED, Span, colour_spans
from hil.lamp.doubt import Floats
from hil.lamp.spans import ChangeRule

CHANGES = ["white", "off", "blue", "green", "off", "red", "white", "green"]


def record(
    word_counts: list[tuple[str, int]], luminance: Floats | None = None, interval: float = 0.1
) -> tuple[Floats, list[str], Floats]:
    """Make a record of whole frames: stamps, words, luminance."""
    levels = {OFF: 0.0, "white": 1.0, "green": 0.7, "red": 0.2, "blue": 0.07, "amber": 0.4, UNRECOGNISED: 0.5}
    words = [word for word, count in word_counts for _ in range(count)]
    light = [levels[word] for word in words] if luminance is None else luminance
    return np.arange(len(words)) * interval, words, np.array(light)


def colours(spans: list[Span]) -> list[tuple[str, int]]:
    return [(span.colour, span.frames) for span in spans]


def errors_and_doubts(
    lab: SimpleNamespace,
    seed: int,
    interval: float,
    exposure: float,
    jitter: float,
    stamp_sd: float,
    known_exposure: float | None,
) -> Floats:
    """Let the camera watch 12 changes at random times and compare each begin with the truth."""
    random = np.random.default_rng(seed)
    whens = np.cumsum(random.uniform(6 * interval, 14 * interval, 12)) + 5 * interval
    plan = [(when, CHANGES[at % len(CHANGES)]) for at, when in enumerate(whens)]
    true_times = lab.frame_times(0.0, whens[-1] + 1.5, interval, random, jitter)
    words, light = lab.watch(plan, true_times, exposure, seed=seed, leak=["even", "warm", "cold"][seed % 3])
    stamps = true_times + stamp_sd * random.standard_normal(len(true_times))
    spans = colour_spans(stamps, words, light, exposure_s=known_exposure, stamp_sd_s=stamp_sd)
    assert [span.colour for span in spans] == [OFF, *(word for _, word in plan)]
    begins = [(span.begin_s - when, span.begin_doubt_s) for span, when in zip(spans[1:], whens, strict=True)]
    return np.array(begins)


@pytest.mark.parametrize(
    ("interval", "exposure", "jitter", "stamp_sd", "known_exposure"),
    [
        (0.0333, 0.008, 0.002, 0.0, None),
        (0.1333, 0.032, 0.01, 0.0, None),
        (0.1333, 0.032, 0.01, 0.0, 0.032),
        (0.1333, 0.032, 0.0, 0.016, 0.032),
        (0.1333, 0.130, 0.0, 0.0, None),
        (0.1333, 0.130, 0.0, 0.0, 0.130),
    ],
)
def test_the_stated_doubt_covers_the_truth_and_is_not_padded(
    lab: SimpleNamespace, interval: float, exposure: float, jitter: float, stamp_sd: float, known_exposure: float | None
) -> None:
    parts = [
        errors_and_doubts(lab, seed, interval, exposure, jitter, stamp_sd, known_exposure) for seed in range(100, 130)
    ]
    error, doubt = np.abs(np.concatenate(parts)).T
    assert len(error) >= 300
    assert (error <= doubt).mean() >= 0.93
    assert doubt.mean() <= 2.0 * np.quantile(error, 0.95)


def test_a_change_between_two_frames_is_in_the_middle() -> None:
    times, words, light = record([(OFF, 5), ("green", 6)])
    off, green = colour_spans(times, words, light)
    assert (off.begin_s, off.end_s, green.begin_s, green.end_s) == pytest.approx((0.0, 0.45, 0.45, 1.0))
    assert green.begin_doubt_s == pytest.approx(0.95 * 0.05)  # rectangular: 0.95 of half the interval
    assert off.end_doubt_s == green.begin_doubt_s
    assert math.isinf(off.begin_doubt_s)
    assert math.isinf(green.end_doubt_s)
    assert not green.complete


@pytest.mark.parametrize(
    ("before", "mixture", "after", "level"),
    [
        (OFF, UNRECOGNISED, "green", 0.3),
        ("blue", UNRECOGNISED, "green", 0.4),
        ("red", "amber", "green", 0.45),
        ("white", UNRECOGNISED, OFF, 0.2),
    ],
)
def test_a_frame_of_mixture_makes_no_span_but_places_the_change(
    before: str, mixture: str, after: str, level: float
) -> None:
    times, words, light = record([(before, 5), (mixture, 1), (after, 5)])
    light[5] = level
    first, second = colour_spans(times, words, light)
    assert (first.colour, second.colour) == (before, after)
    share = (level - light[0]) / (light[-1] - light[0])
    assert second.begin_s == pytest.approx(0.5 + (0.5 - share) * 0.05)
    assert second.begin_doubt_s < 0.95 * 0.05
    assert first.frames == second.frames == 5


def test_a_partly_lit_frame_of_the_same_word_places_the_change() -> None:
    times, words, light = record([(OFF, 5), ("green", 6)])
    light[5] = 0.35
    _, green = colour_spans(times, words, light, exposure_s=0.02)
    assert green.begin_s == pytest.approx(0.5)
    assert green.begin_doubt_s == pytest.approx(0.95 * 0.17 * 0.02)


@pytest.mark.parametrize(
    "counts",
    [
        [(OFF, 5), ("white", 1), (OFF, 5)],  # a flash of one frame is a flash
        [(OFF, 5), ("red", 1), ("green", 5)],  # dark and green mixed are never red
        [("green", 5), (UNRECOGNISED, 1), ("green", 5)],  # no change, so no mixture
        [("blue", 5), (UNRECOGNISED, 2), ("green", 5)],  # a change does not take two frames
    ],
)
def test_what_no_change_explains_stays_a_span(counts: list[tuple[str, int]]) -> None:
    assert colours(colour_spans(*record(counts))) == counts


def test_a_frame_brighter_than_both_neighbours_is_no_mixture() -> None:
    times, words, light = record([("red", 5), (UNRECOGNISED, 1), ("blue", 5)])
    light[5] = 0.9
    assert len(colour_spans(times, words, light)) == 3


def test_no_span_bridges_a_gap() -> None:
    times, words, light = record([("green", 10)])
    times[5:] += 0.7
    first, second = colour_spans(times, words, light)
    assert (first.end_s, second.begin_s) == pytest.approx((0.4, 1.2))
    assert math.isinf(first.end_doubt_s)
    assert math.isinf(second.begin_doubt_s)
    assert len(colour_spans(times, words, light, max_gap_s=1.0)) == 1


def test_a_change_over_dropped_frames_has_a_wider_doubt() -> None:
    times, words, light = record([(OFF, 5), ("green", 6)])
    times[5:] += 0.2
    green = colour_spans(times, words, light)[1]
    assert green.begin_s == pytest.approx(0.55)
    assert green.begin_doubt_s == pytest.approx(0.95 * 0.15)


def test_a_partly_lit_frame_after_a_dropped_one_places_no_change() -> None:
    """What it shows beside green may be another colour than that of the frame before: the lamp was dark between, say."""
    times, words, light = record([("white", 5), ("green", 6)])
    times[5:] += 0.2
    light[5] *= 0.7
    green = colour_spans(times, words, light)[1]
    assert green.begin_s == pytest.approx(0.55)
    assert green.begin_doubt_s == pytest.approx(0.95 * 0.15)


def test_the_scatter_of_stamps_widens_the_doubt() -> None:
    plain, scattered = ChangeRule(0.1), ChangeRule(0.1, stamp_sd_s=0.02)
    assert scattered.between(0.0, 0.1).doubt_s > plain.between(0.0, 0.1).doubt_s


def test_frozen_and_single_frames() -> None:
    assert colours(colour_spans(*record([("green", 200)]))) == [("green", 200)]
    assert colours(colour_spans(*record([("green", 1)]))) == [("green", 1)]
    assert colour_spans([], [], []) == []


def test_wrong_input_is_refused() -> None:
    times, words, light = record([(OFF, 5)])
    with pytest.raises(ValueError, match="do not rise"):
        colour_spans(times[::-1], words, light)
    with pytest.raises(ValueError, match="belong together"):
        colour_spans(times, words[:-1], light)
    with pytest.raises(ValueError, match="belong together"):
        colour_spans(times, words, light[:-1])
    with pytest.raises(ValueError, match="exposure"):
        colour_spans(times, words, light, exposure_s=0.0)
    with pytest.raises(ValueError, match="standard deviation"):
        colour_spans(times, words, light, stamp_sd_s=-1.0)


def test_where_other_light_blinks_in_the_picture_mixtures_place_changes_less_sharply() -> None:
    """A neighbour adds a fourth of the lamp's light to half of the frames: what a frame's share tells is worth that much less."""
    random = np.random.default_rng(9)
    interval, exposure, found = 0.0333, 0.025, list[tuple[float, float]]()
    for _ in range(40):
        edges = 0.4 + np.cumsum(random.uniform(0.25, 0.6, 12))
        times = np.arange(0.0, edges[-1] + 0.4, interval) + interval * random.random()
        instants = times[:, None] + exposure * (np.arange(64) / 63.0 - 0.5)
        share = (np.searchsorted(edges, instants) % 2 == 1).mean(axis=1)
        light = share + 0.25 * (random.random(len(times)) < 0.5)
        words = [OFF if one < 0.02 else "green" for one in share]
        spans = colour_spans(times, words, light, exposure_s=exposure)
        assert len(spans) == len(edges) + 1
        found += [(span.begin_s - edge, span.begin_doubt_s) for span, edge in zip(spans[1:], edges, strict=True)]
    error, doubt = np.abs(np.array(found)).T
    assert 0.93 <= (error <= doubt).mean() <= 0.99
    assert doubt.mean() < 0.95 * interval / 2


def test_a_steady_light_s_few_odd_frames_are_no_scatter() -> None:
    times, words, light = record([(OFF, 30), ("green", 30)])
    light[[10, 45]] += 0.3
    light[30] = 0.35
    _, green = colour_spans(times, words, light, exposure_s=0.02)
    assert green.begin_doubt_s == pytest.approx(0.95 * math.hypot(0.17, 0.03) * 0.02)


def test_a_small_share_of_a_steady_light_places_the_change_in_its_exposure() -> None:
    """A dark frame with a fifteenth of the light: it came near the exposure's end. Of few frames nobody knows their scatter."""
    times, words, light = record([(OFF, 30), ("green", 30)])
    light[29] = 0.7 / 15.0
    green = colour_spans(times, words, light, exposure_s=0.02)[1]
    assert green.begin_s == pytest.approx(2.9 + (0.5 - 1.0 / 15.0) * 0.02)
    assert green.begin_doubt_s < 0.1 * 0.02
    few = colour_spans(times[20:40], words[20:40], light[20:40], exposure_s=0.02)[1]
    assert few.begin_s == pytest.approx(2.95)
    assert few.begin_doubt_s > 0.95 * (0.1 - 0.02) / 2


def test_what_blinks_in_another_colour_takes_less_from_channels_than_from_luminance() -> None:
    """A blue lamp, and beside it a red one as bright in half of the frames: the one's channel hardly knows the other."""
    random = np.random.default_rng(11)
    interval, exposure = 0.0333, 0.025
    found: dict[str, list[tuple[float, float]]] = {"channels": [], "luminance": []}
    for _ in range(40):
        edges = 0.4 + np.cumsum(random.uniform(0.25, 0.6, 12))
        times = np.arange(0.0, edges[-1] + 0.4, interval) + interval * random.random()
        instants = times[:, None] + exposure * (np.arange(64) / 63.0 - 0.5)
        share = (np.searchsorted(edges, instants) % 2 == 1).mean(axis=1)
        other = 1.0 * (random.random(len(times)) < 0.5)
        channels = np.stack([other, 0.05 * (other + share), share + 0.02 * other], axis=1)
        words = [OFF if one < 0.02 else "blue" for one in share]
        for name, light in (("channels", channels), ("luminance", channels.sum(axis=1))):
            spans = colour_spans(times, words, light, exposure_s=exposure)
            found[name] += [(span.begin_s - at, span.begin_doubt_s) for span, at in zip(spans[1:], edges, strict=True)]
    by_channel, by_luminance = (np.abs(np.array(found[name])) for name in ("channels", "luminance"))
    assert (by_channel[:, 0] <= by_channel[:, 1]).mean() >= 0.93
    assert np.quantile(by_channel[:, 0], 0.95) < 0.5 * np.quantile(by_luminance[:, 0], 0.95)
    assert by_channel[:, 1].mean() < 0.5 * by_luminance[:, 1].mean()


def test_two_colours_as_bright_as_each_other_are_mixed_all_the_same() -> None:
    """One frame is red by a fourth, and three fourths green."""
    times, words, _ = record([("red", 30), ("green", 30)])
    light = np.array([(1.0, 0.0, 0.1)] * 30 + [(0.0, 1.0, 0.1)] * 30)
    light[30] = (0.25, 0.75, 0.1)
    assert colour_spans(times, words, light, exposure_s=0.02)[1].begin_s == pytest.approx(3.0 - 0.25 * 0.02)
    assert colour_spans(times, words, light.sum(axis=1), exposure_s=0.02)[1].begin_s == pytest.approx(2.95)
