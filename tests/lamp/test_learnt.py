"""Colours that a camera has learnt: what they are told from, and that nothing is told that was not seen."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from hil.lamp import UNRECOGNISED, LearntColour, NotTold, learn_colour
from hil.lamp.learnt import OTHER_WAVELENGTH, PARTED, too_alike, words_by

# Linear channels of a camera that is balanced for lamp light: its white is what another camera calls blue.
WHITE, BLUE, GREEN = (0.20, 0.42, 0.80), (0.01, 0.20, 0.80), (0.02, 0.80, 0.10)


def seen(channels: tuple[float, float, float], frames: int = 50, scatter: float = 0.005) -> np.ndarray:
    return np.array(channels) + np.random.default_rng(5).normal(0.0, scatter, (frames, 3))


def learnt_of(**colours: tuple[float, float, float]) -> dict[str, LearntColour]:
    learnt = {}
    for word, channels in colours.items():
        colour = learn_colour(seen(channels))
        assert isinstance(colour, LearntColour)
        learnt[word] = colour
    return learnt


LEARNT = learnt_of(white=WHITE, blue=BLUE, green=GREEN)


def word(channels: tuple[float, float, float], by_the_rule: str, sd: float = 0.003) -> str:
    return words_by(LEARNT, np.array([channels]), np.eye(3)[None] * sd**2, [by_the_rule])[0]


@pytest.mark.parametrize(("channels", "is_named"), [(WHITE, "white"), (BLUE, "blue"), (GREEN, "green")])
@pytest.mark.parametrize("by_the_rule", ["blue", UNRECOGNISED])
def test_what_was_learnt_is_told_whatever_the_rule_says(
    channels: tuple[float, float, float], is_named: str, by_the_rule: str
) -> None:
    assert word(channels, by_the_rule) == is_named
    assert word((channels[0] * 0.1, channels[1] * 0.1, channels[2] * 0.1), by_the_rule, 0.0003) == is_named


def test_a_colour_that_was_not_learnt_keeps_its_word_where_no_learnt_one_is_near() -> None:
    assert word((0.9, 0.02, 0.01), "red") == "red"
    assert word((0.9, 0.02, 0.01), "blue") == UNRECOGNISED  # a learnt word, and far from how it was learnt


def test_light_between_two_learnt_colours_is_neither_unless_the_rule_says_which() -> None:
    between = (0.105, 0.31, 0.80)
    assert word(between, UNRECOGNISED, 0.05) == UNRECOGNISED
    assert word(between, "red", 0.05) == UNRECOGNISED


def test_the_odds_for_a_word_are_those_of_normal_distributions() -> None:
    """Held against scipy's density: along a line from white to blue, white is told up to where it is 10,000 times as likely."""
    told_at_all = 0
    for share in np.linspace(0.0, 1.0, 41):
        at = (1 - share) * np.array(LEARNT["white"].share) + share * np.array(LEARNT["blue"].share)
        channels = np.array([at[0], at[1], 1.0 - at.sum()])
        told = words_by(LEARNT, channels[None], np.zeros((1, 3, 3)), [UNRECOGNISED])[0]
        logs = {
            name: multivariate_normal(colour.share, np.array(colour.spread)).logpdf(at)
            + 0.5 * np.log(np.linalg.det(colour.spread))
            for name, colour in LEARNT.items()
        }
        first, second = sorted(logs, key=lambda name: -logs[name])[:2]
        clear = logs[first] - logs[second] > np.log(1e4)
        assert told == (first if clear else UNRECOGNISED)
        told_at_all += told != UNRECOGNISED
    assert 10 < told_at_all < 41


def test_other_units_lie_within_what_is_allowed_for_them() -> None:
    """Units drawn over the intensities of the WS2812B's data sheet (version 5): 95 % of them within 2.45 doubts (chi square)."""
    random = np.random.default_rng(7)
    intensities = random.uniform((300, 600, 200), (500, 1000, 300), (4000, 3)) / (400, 800, 250)
    learnt = learn_colour(np.tile(WHITE, (20, 1)) * (1 + 1e-9 * random.normal(size=(20, 3))))
    assert isinstance(learnt, LearntColour)
    units = np.array(WHITE) * intensities
    away = units[:, :2] / units.sum(axis=1, keepdims=True) - learnt.share
    doubts = np.sqrt(np.einsum("ni,ij,nj->n", away, np.linalg.inv(learnt.spread), away))
    assert (doubts < 2.448).mean() > 0.95
    assert np.median(doubts) > 0.8  # and not by a spread that is much too wide: of a normal distribution it is 1.18


def test_light_of_one_emitter_stays_where_it_is_whatever_its_intensity() -> None:
    colour = learn_colour(np.tile((0.0, 0.7, 0.0), (20, 1)))
    assert isinstance(colour, LearntColour)
    assert np.allclose(colour.spread, OTHER_WAVELENGTH**2 * np.eye(2), atol=1e-9)


def test_colours_too_near_each_other_are_named() -> None:
    assert too_alike(LEARNT) == []
    ((one, other, apart),) = too_alike(learnt_of(white=WHITE, blue=(0.16, 0.40, 0.80), green=GREEN))
    assert {one, other} == {"white", "blue"}
    assert apart < PARTED


@pytest.mark.parametrize("light", [np.empty((0, 3)), np.full((20, 3), np.nan), np.zeros((20, 3)), np.ones((4, 3))])
def test_too_little_light_teaches_nothing(light: np.ndarray) -> None:
    assert isinstance(learn_colour(light), NotTold)


def test_light_that_is_no_number_is_no_learnt_colour() -> None:
    unknown = np.array([[np.nan, 0.1, 0.1], [0.0, 0.0, 0.0]])
    assert words_by(LEARNT, unknown, np.zeros((2, 3, 3)), [UNRECOGNISED] * 2) == [UNRECOGNISED] * 2
    assert words_by({}, unknown, np.zeros((2, 3, 3)), ["red", "blue"]) == ["red", "blue"]
