"""A flashing stage that lasts hardly a period: it may be the one that is due, and it may be none that is not.

What the picture shows is known to the test, as in `test_lamp`: joining flashes at 0.6 Hz, dark first, 0.83 s a phase.
"""

import pytest
from support.records import Plan, lamp_frames, make, power, states, switchings

from hil.evidence.lamp import LampView
from hil.evidence.seen import Seen

ON_S, JOINING_S, BEGIN_S, END_S = 106.0, 108.0, 100.0, 118.0
PHASE_S = 0.5 / 0.6
ORDER = ["starting", "joining", "connected"]
SWITCHED = switchings(98.0, 122.0)
SUPPLY = [*states(97.0, ON_S, on=False), power("on", ON_S), *states(ON_S + 0.1, 122.0)]


def flash(hz: float, lasts_s: float) -> tuple[tuple[float, str], ...]:
    """White, dark first, from the beginning of joining."""
    edges = range(int(lasts_s * 2.0 * hz) + 1)
    plan = ((JOINING_S + edge / (2.0 * hz), ("off", "white")[edge % 2]) for edge in edges)
    return tuple((time_s, colour) for time_s, colour in plan if time_s < JOINING_S + lasts_s)


def shown(*joining: tuple[float, str], connected_s: float) -> Seen:
    plan: Plan = [(ON_S + 0.3, "white"), *joining, (connected_s, "green")]
    frames = lamp_frames(plan, SWITCHED, 98.0, 122.0)
    return LampView(make([*SWITCHED, *SUPPLY], frames=frames).window(BEGIN_S, END_S)).shows_in_order(ORDER)


@pytest.mark.parametrize("lasts_s", [PHASE_S + 0.5, 2 * PHASE_S, 2 * PHASE_S + 0.05, 2.5 * PHASE_S, 4.5 * PHASE_S])
def test_a_quick_join_shows_joining(lasts_s: float) -> None:
    end_s = JOINING_S + lasts_s
    seen = shown(*flash(0.6, lasts_s), connected_s=end_s)
    assert (seen.holds, seen.text) == (True, " → ".join(ORDER))


@pytest.mark.parametrize("starting_s", [0.4, 0.8, 1.2])
def test_a_quick_start_shows_starting(starting_s: float) -> None:
    """White for less than a slow flash takes, before a flash with a late first edge: it was due, and may have been steady."""
    late_s = 0.3
    later = [(time_s + late_s, colour) for time_s, colour in flash(0.6, 5.0)[1:]]
    plan: Plan = [(JOINING_S - starting_s, "white"), (JOINING_S, "off"), *later, (JOINING_S + 5.0 + late_s, "green")]
    lamp = LampView(make([*SWITCHED, *SUPPLY], frames=lamp_frames(plan, SWITCHED, 98.0, 122.0)).window(BEGIN_S, END_S))
    seen = lamp.shows_in_order(ORDER)
    assert (seen.holds, seen.text) == (True, " → ".join(ORDER))


@pytest.mark.parametrize("shown_first", ["blue", "red", "off"])
def test_a_quick_start_in_another_light_does_not(shown_first: str) -> None:
    plan: Plan = [(JOINING_S - 0.8, shown_first), *flash(0.6, 5.0), (JOINING_S + 5.0, "green")]
    lamp = LampView(make([*SWITCHED, *SUPPLY], frames=lamp_frames(plan, SWITCHED, 98.0, 122.0)).window(BEGIN_S, END_S))
    assert lamp.shows_in_order(ORDER).holds is False


def test_light_that_is_still_on_at_the_end_may_become_a_flash() -> None:
    plan: Plan = [(ON_S + 0.3, "white"), *flash(0.6, 5.0), (END_S - 0.7, "green")]
    lamp = LampView(make([*SWITCHED, *SUPPLY], frames=lamp_frames(plan, SWITCHED, 98.0, 122.0)).window(BEGIN_S, END_S))
    assert lamp.shows_in_order(ORDER).holds is False


def test_flashes_nobody_declared_are_no_quick_start() -> None:
    """Two blinks before joining are more than one unbroken light."""
    blinks: Plan = [(JOINING_S - 1.5, "white"), (JOINING_S - 1.2, "off"), (JOINING_S - 0.8, "white")]
    plan: Plan = [*blinks, *flash(0.6, 5.0), (JOINING_S + 5.0, "green")]
    lamp = LampView(make([*SWITCHED, *SUPPLY], frames=lamp_frames(plan, SWITCHED, 98.0, 122.0)).window(BEGIN_S, END_S))
    assert lamp.shows_in_order(ORDER).holds is False


@pytest.mark.parametrize(
    "joining",
    [
        (),
        ((JOINING_S, "off"), (JOINING_S + PHASE_S, "blue")),
        ((JOINING_S, "off"), (JOINING_S + PHASE_S, "red")),
        ((JOINING_S, "off"), (JOINING_S + PHASE_S, "white")),  # from then on steady, for 2 s
        flash(1.2, PHASE_S + 2.0),
    ],
)
def test_what_is_not_the_stage_that_is_due_fails(joining: tuple[tuple[float, str], ...]) -> None:
    assert shown(*joining, connected_s=JOINING_S + PHASE_S + 2.0).holds is False


def test_a_short_white_where_none_is_due_fails() -> None:
    plan: Plan = [(ON_S + 0.3, "white"), (110.0, "green"), (112.0, "off"), (112.8, "white"), (113.5, "green")]
    frames = lamp_frames(plan, SWITCHED, 98.0, 122.0)
    lamp = LampView(make([*SWITCHED, *SUPPLY], frames=frames).window(BEGIN_S, END_S))
    assert lamp.shows_in_order(["starting", "connected"]).holds is False


def test_a_stretch_too_short_to_tell_may_have_been_the_stage() -> None:
    """A little steady white, then a flash that sleep cuts into what looks steady: the true begin stays in the interval."""
    began_s = ON_S + 1.0
    plan: Plan = [(began_s, "white"), (began_s + 0.6, "off"), (112.0, "white"), (115.0, "off")]
    frames = lamp_frames(plan, SWITCHED, 98.0, 122.0)
    lamp = LampView(make([*SWITCHED, *SUPPLY], frames=frames).window(BEGIN_S, END_S))
    begins = lamp.begins("starting", ON_S)
    assert begins.earliest_s <= began_s <= begins.latest_s
    assert not begins.measured
    assert "too short to tell" in begins.because
