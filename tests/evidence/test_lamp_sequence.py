"""Stages that are sequences of colours: one shown too briefly to be timed, and one whose last colour a restart holds.

What the picture shows is known to the test, as in `test_lamp`. That an addressable lamp keeps its colour until it is told
another, whatever the chip does, is in the data sheet of the WS2812B.
"""

import pytest
from support.records import Plan, lamp_frames, make, power, product_with, states, switchings

from hil.evidence.lamp import LampView
from hil.evidence.seen import Seen

BEGIN_S, END_S = 100.0, 118.0
SAVED_S = 106.0
ORDER = ["setup", "starting", "joining", "connected"]
SWITCHED = switchings(90.0, 122.0)
SUPPLY = [*states(90.0, 98.0, on=False), power("on", 98.0), *states(98.1, 122.0)]
LAMP_ON_S = 0.8


def turns(one: str, other: str, phase_s: float) -> dict[str, object]:
    """A stage of two colours by turns."""
    sequence = [{"colour": one, "for_s": phase_s}, {"colour": other, "for_s": phase_s}]
    return {"lamp": {"colour": None, "flash_hz": None, "sequence": sequence}}


STAGES = {
    "starting": {"lamp": {"colour": "amber", "flash_hz": None}},
    "joining": turns("white", "blue", 0.4),
    "setup": turns("amber", "blue", 0.3),
    "fault": {"lamp": {"colour": "red", "flash_hz": 2.0}},
}
PRODUCT = product_with({"stages": STAGES, "limits": {"lamp_on_s": {"upper": LAMP_ON_S}}})


def by_turns(one: str, other: str, phase_s: float, begin_s: float, end_s: float) -> list[tuple[float, str]]:
    count = int((end_s - begin_s) / phase_s + 0.999)
    return [(begin_s + number * phase_s, (one, other)[number % 2]) for number in range(count)]


def shown(setup: list[tuple[float, str]], joining: list[tuple[float, str]], starts_s: float) -> Seen:
    joined_s = joining[-1][0] + 0.25
    plan: Plan = [(90.0, "off"), *setup, (starts_s, "amber"), *joining, (joined_s, "green")]
    frames = lamp_frames(plan, SWITCHED, 90.0, 122.0)
    return LampView(make([*SWITCHED, *SUPPLY], frames=frames, product=PRODUCT).window(BEGIN_S, END_S)).shows_in_order(
        ORDER
    )


def briefly(phase_s: float, lasts_s: float, colours: tuple[str, str] = ("white", "blue")) -> Seen:
    """A start, and a joining of that length."""
    setup = by_turns("amber", "blue", 0.3, 98.5, SAVED_S)
    return shown(setup, by_turns(*colours, phase_s, SAVED_S + 2.5, SAVED_S + 2.5 + lasts_s), SAVED_S + 0.2)


@pytest.mark.parametrize("lasts_s", [0.5, 0.9, 1.3, 1.8, 2.3])
def test_a_quick_join_shows_its_sequence(lasts_s: float) -> None:
    seen = briefly(0.4, lasts_s)
    assert (seen.text, seen.holds) == (" → ".join(ORDER), True)


@pytest.mark.parametrize("phase_s", [0.2, 0.8])
def test_a_quick_join_at_another_rate_does_not(phase_s: float) -> None:
    assert briefly(phase_s, 2.3).holds is False


def test_a_quick_join_in_other_colours_does_not() -> None:
    assert briefly(0.4, 1.8, ("white", "green")).holds is False


@pytest.mark.parametrize("held_s", [0.05, 0.3, 0.5, 0.7])
@pytest.mark.parametrize("phases", [25, 26])
def test_a_colour_that_a_restart_holds_is_still_setup(phases: int, held_s: float) -> None:
    """Whichever of the two it is, and whenever in its phase the restart comes."""
    end_s = 98.5 + 0.3 * phases
    setup = by_turns("amber", "blue", 0.3, 98.5, end_s - 0.01)
    seen = shown(setup, by_turns("white", "blue", 0.4, end_s + held_s + 2.0, end_s + held_s + 5.0), end_s + held_s)
    assert (seen.text, seen.holds) == (" → ".join(ORDER), True)


def test_one_that_is_held_for_longer_is_not() -> None:
    end_s = 98.5 + 0.3 * 26
    setup = by_turns("amber", "blue", 0.3, 98.5, end_s - 0.01)
    seen = shown(setup, by_turns("white", "blue", 0.4, end_s + 4.0, end_s + 7.0), end_s + LAMP_ON_S + 0.9)
    assert seen.holds is False
    assert "unrecognised (blue)" in seen.text


@pytest.mark.parametrize("colours", [("amber", "green"), ("green", "blue"), ("white", "blue")])
@pytest.mark.parametrize("phase_s", [0.3, 0.6])
def test_another_sequence_that_was_shown_from_before_the_leg_is_not_setup(
    colours: tuple[str, str], phase_s: float
) -> None:
    """Its begin was not seen: that leaves open how long it lasted, not what it is."""
    setup = by_turns(*colours, phase_s, 98.5, SAVED_S)
    seen = shown(setup, by_turns("white", "blue", 0.4, SAVED_S + 2.5, SAVED_S + 5.5), SAVED_S + 0.2)
    assert (seen.holds, "unrecognised" in seen.text) == (False, True)


def test_its_own_sequence_at_another_rate_that_was_shown_from_before_the_leg_is_not_setup() -> None:
    setup = by_turns("amber", "blue", 0.6, 98.5, SAVED_S)
    seen = shown(setup, by_turns("white", "blue", 0.4, SAVED_S + 2.5, SAVED_S + 5.5), SAVED_S + 0.2)
    assert (seen.holds, "unrecognised" in seen.text) == (False, True)
