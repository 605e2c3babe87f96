"""Colours that a camera has learnt: what they are told from, and that nothing is told that was not seen."""

import colour
import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar
from scipy.stats import multivariate_normal, norm

from hil.lamp import UNRECOGNISED, LearntColour, NotTold, learn_colour
from hil.lamp.colour import words_of
from hil.lamp.learnt import (
    BLUE_IN_GREEN,
    CLEARLY_NEARER,
    FARTHEST,
    GREEN_IN_BLUE,
    OTHER_INTENSITY,
    OTHER_REST,
    PARTED,
    too_alike,
    words_by,
)

# Linear channels of a camera that is balanced for lamp light: its white is what another camera calls blue.
WHITE, BLUE, GREEN = (0.20, 0.42, 0.80), (0.01, 0.20, 0.80), (0.02, 0.80, 0.10)


def seen(channels: tuple[float, float, float], frames: int = 50, scatter: float = 0.005) -> np.ndarray:
    return np.array(channels) + np.random.default_rng(5).normal(0.0, scatter, (frames, 3))


def learnt_of(**colours: tuple[float, float, float]) -> dict[str, LearntColour]:
    learnt = {}
    for word, channels in colours.items():
        one = learn_colour(seen(channels))
        assert isinstance(one, LearntColour)
        learnt[word] = one
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
    """Held against scipy's density: along a line from white to blue, white is told up to where it is 1,000 times as likely."""
    told_at_all = 0
    for share in np.linspace(0.0, 1.0, 41):
        at = (1 - share) * np.array(LEARNT["white"].share) + share * np.array(LEARNT["blue"].share)
        channels = np.array([at[0], at[1], 1.0 - at.sum()])
        told = words_by(LEARNT, channels[None], np.zeros((1, 3, 3)), [UNRECOGNISED])[0]
        logs = {name: multivariate_normal(one.share, np.array(one.spread)).logpdf(at) for name, one in LEARNT.items()}
        first, second = sorted(logs, key=lambda name: -logs[name])[:2]
        away = at - np.array(LEARNT[first].share)
        near = away @ np.linalg.inv(LEARNT[first].spread) @ away < FARTHEST**2
        assert told == (first if near and logs[first] - logs[second] > np.log(1e3) else UNRECOGNISED)
        told_at_all += told != UNRECOGNISED
    assert 10 < told_at_all < 41


def test_such_odds_are_wrong_once_in_ten_thousand_at_most() -> None:
    """Two normal distributions d apart: light of one is told as the other's beyond d / 2 + CLEARLY_NEARER / 2 d; scipy's tail."""
    apart = np.linspace(0.5, 20.0, 400)
    wrong = norm.sf(apart / 2 + CLEARLY_NEARER / (2 * apart))
    assert 0.9e-4 < wrong.max() < 1.01e-4


def test_other_units_lie_within_what_is_allowed_for_them() -> None:
    """Pairs of units over the intensities of the WS2812B's data sheet (version 5): 95 % within 2.45 doubts (chi square)."""
    random = np.random.default_rng(7)
    doubts = []
    for _ in range(2000):
        golden, other = random.uniform((300, 600, 200), (500, 1000, 300), (2, 3)) / (400, 800, 250) * np.array(WHITE)
        learnt = learn_colour(np.tile(golden, (20, 1)) * (1 + 1e-9 * random.normal(size=(20, 3))))
        assert isinstance(learnt, LearntColour)
        away = other[:2] / other.sum() - np.array(learnt.share)
        doubts.append(float(np.sqrt(away @ np.linalg.inv(learnt.spread) @ away)))
    assert np.mean(np.array(doubts) < 2.448) > 0.95
    assert np.median(doubts) > 0.7  # and not by a spread that is much too wide: of a normal distribution it is 1.18


def test_light_of_one_emitter_stays_where_it_is_whatever_its_intensity() -> None:
    red, green = (learn_colour(np.tile(light, (20, 1))) for light in ((0.7, 0.0, 0.0), (0.0, 0.7, 0.0)))
    assert isinstance(red, LearntColour)
    assert isinstance(green, LearntColour)
    assert np.allclose(red.spread, OTHER_REST**2 * np.eye(2), atol=1e-9)
    assert np.allclose(green.spread, np.diag([0.0, 2.0 * GREEN_IN_BLUE**2]) + OTHER_REST**2 * np.eye(2), atol=1e-9)


def test_by_how_much_the_light_of_one_kind_of_emitter_differs() -> None:
    """Held against colour-science: the data sheet's candela, and the power that one takes by the luminous efficiency."""
    efficiency = colour.SDS_LEFS["CIE 1924 Photopic Standard Observer"]
    spreads = []
    for (shortest_nm, longest_nm), (least, most) in (
        ((620, 630), (300, 500)),
        ((515, 525), (600, 1000)),
        ((465, 475), (200, 300)),
    ):
        nm = np.linspace(shortest_nm, longest_nm, 1001)
        power = 1.0 / np.interp(nm, efficiency.wavelengths, efficiency.values)
        even = (most - least) / np.sqrt(12) / np.mean([most, least])
        spreads.append(np.hypot(even, power.std() / power.mean()))
    assert np.mean(spreads) == pytest.approx(OTHER_INTENSITY, rel=0.02)


def test_how_much_blue_and_green_move_with_the_wavelength() -> None:
    """Held against colour-science: emitters over the data sheet's dominant wavelengths, in linear sRGB, nothing below zero."""
    shape = colour.SpectralShape(400, 700, 1)
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)

    def channels(dominant_nm: float, width_nm: float) -> np.ndarray:
        """Of a Gaussian emitter, its peak found by its dominant wavelength; of white (D65) as the reference."""

        def light(peak_nm: float) -> np.ndarray:
            power = np.exp(-4 * np.log(2) * ((shape.wavelengths - peak_nm) / width_nm) ** 2)
            return np.asarray(power @ observer.values)

        def miss(peak_nm: float) -> float:
            at = colour.XYZ_to_xy(light(peak_nm))
            return float(colour.dominant_wavelength(at, (0.3127, 0.3290))[0]) - dominant_nm

        peak_nm = brentq(miss, dominant_nm - 14, dominant_nm + 8, xtol=0.1)
        return np.asarray(np.linalg.inv(colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ) @ light(peak_nm))

    blue_from, blue_to = (channels(nm, 24.0) for nm in (465.0, 475.0))
    green_from, green_to = (channels(nm, 33.0) for nm in (515.0, 525.0))
    spread = (max(blue_to[1], 0) / blue_to[2] - max(blue_from[1], 0) / blue_from[2]) / np.sqrt(12)
    assert pytest.approx(spread, rel=0.15) == BLUE_IN_GREEN
    assert (
        pytest.approx((green_from[2] / green_from[1] - green_to[2] / green_to[1]) / np.sqrt(12), rel=0.15)
        == GREEN_IN_BLUE
    )
    assert max(blue_to[0], blue_from[0], green_to[0], green_from[0]) < 0


def test_what_the_rule_calls_by_a_word_not_learnt_is_not_the_learnt_colour_beside_it() -> None:
    known = {"white": LEARNT["white"], "green": LEARNT["green"]}
    light = np.array([[0.16, 0.36, 0.80]])
    assert words_by(known, light, np.zeros((1, 3, 3)), [UNRECOGNISED]) == ["white"]
    assert words_by(known, light, np.zeros((1, 3, 3)), ["red"]) == [UNRECOGNISED]


def test_the_rule_does_not_help_where_it_calls_two_learnt_colours_the_same() -> None:
    """A white that the rule calls blue: what lies between it and blue is not blue because the rule says so."""
    learnt = learnt_of(white=(0.045, 0.10, 0.855), blue=(0.005, 0.02, 0.97))
    assert words_of(np.array([[0.045, 0.10, 0.855]]), np.zeros((1, 3, 3))) == ["blue"]
    between = np.array([[0.016, 0.036, 0.948]])
    assert words_by(learnt, between, np.zeros((1, 3, 3)), ["blue"]) == [UNRECOGNISED]


def test_a_unit_farther_off_than_its_data_sheet_has_it_is_told_where_the_rule_says_so_too() -> None:
    farther = np.array([[0.50, 0.42, 0.80]])
    assert words_by(LEARNT, farther, np.zeros((1, 3, 3)), [UNRECOGNISED]) == [UNRECOGNISED]
    assert words_by(LEARNT, farther, np.zeros((1, 3, 3)), ["white"]) == ["white"]


def test_colours_apart_across_their_spreads_are_parted() -> None:
    """Two distributions long in one direction and side by side across it: scipy finds the best straight border by itself."""
    long = ((0.01, 0.0099), (0.0099, 0.01))
    two = {"white": LearntColour((0.30, 0.30), long), "blue": LearntColour((0.23, 0.30), long)}

    def measure(turned: float) -> float:
        along = np.array([np.cos(turned), np.sin(turned)])
        return -abs(0.07 * along[0]) / (2 * np.sqrt(along @ np.array(long) @ along))

    best = -minimize_scalar(measure, bounds=(np.pi / 2, np.pi), method="bounded").fun
    assert best > PARTED
    assert too_alike(two) == []
    ((*_, apart),) = too_alike({**two, "blue": LearntColour((0.265, 0.30), long)})
    assert apart == pytest.approx(best / 2, rel=0.01)


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
