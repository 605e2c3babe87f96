"""A lamp that a person saw: timed no better than a finger, believed only by their word, and never proof of what was brief."""

import pytest
from support.records import UNIT, awake, make, moment, power

from hil.core.moments import Moment
from hil.evidence.events import PowerOn
from hil.evidence.lamp_by_eye import ByEye, lamp_of
from hil.evidence.leg_evidence import LegEvidence
from hil.evidence.window import Window

ORDER = ["starting", "joining", "connected"]
DOUBT_S = 0.9
END_S = 30.0
KEYS = moment(-1.0, "lamp by eye", "keys", text="1  starting: white steady")


def shows(time_s: float, look: str) -> Moment:
    return moment(time_s, "lamp by eye", "shows", doubt_s=DOUBT_S, watch=1, look=look)


def told(*, whole: bool = True) -> Moment:
    return moment(END_S + 4.0, "lamp by eye", "told", watch=1, since_s=0.0, until_s=END_S, whole=whole)


WORD = told()


def leg(*looks: tuple[float, str], word: Moment | None = WORD, more: tuple[Moment, ...] = ()) -> LegEvidence:
    """A leg of 30 s with power on at 5 s, before which the lamp was dark, and what a person told of it."""
    pressed = [shows(time_s, look) for time_s, look in looks]
    moments = [
        *awake(0.0, END_S + 1.0),
        power("off", -2.0),
        power("on", 5.0),
        KEYS,
        *pressed,
        *([word] if word else []),
        *more,
    ]
    return make(moments).evidence(0.0, END_S)


AT_BEGIN_S = -1.2  # of the look at the leg's begin, whose key came just before
IN_ORDER = ((AT_BEGIN_S, "dark"), (5.5, "starting"), (8.0, "joining"), (14.0, "connected"))


def test_what_they_saw_in_order_holds_and_says_by_whom() -> None:
    seen = leg(*IN_ORDER).lamp_order_since(PowerOn, ORDER)
    assert (seen.holds, seen.text) == (
        True,
        "starting → joining → connected, by a person’s eye, which may miss what is brief",
    )


@pytest.mark.parametrize(
    "looks",
    [
        (*IN_ORDER[:3], (14.0, "setup")),
        (*IN_ORDER[:3],),
        (*IN_ORDER, (20.0, "joining")),
        (*IN_ORDER[:3], (11.0, "unrecognised"), (14.0, "connected")),
        (*IN_ORDER[:1], (5.5, "joining"), (8.0, "starting"), (14.0, "connected")),
        (IN_ORDER[0],),
    ],
    ids=["another last", "last is missing", "one more", "a look of none", "another order", "dark"],
)
def test_what_the_unit_showed_otherwise_fails(looks: tuple[tuple[float, str], ...]) -> None:
    assert leg(*looks).lamp_order_since(PowerOn, ORDER).holds is False


def test_what_was_brief_may_have_been_missed() -> None:
    evidence = leg((AT_BEGIN_S, "dark"), (8.0, "joining"), (14.0, "connected"))
    seen = evidence.lamp_order_since(PowerOn, ORDER)
    assert seen.holds is None
    assert seen.text == "eye: saw joining → connected; the rest may have been shown too briefly"
    began = evidence.lamp.begins("starting", 5.0)
    assert (began.seen, began.because) == (False, "eye: did not see starting, which may have been shown too briefly")


@pytest.mark.parametrize(
    ("word", "why"),
    [
        (None, "eye asleep from 0.0 s on: nobody said that they saw it"),
        (told(whole=False), "eye asleep from 0.0 s to 30.0 s: the person at the lamp did not see all of it"),
    ],
)
def test_without_their_word_nobody_saw_it(word: Moment | None, why: str) -> None:
    evidence = leg(*IN_ORDER, word=word)
    seen = evidence.lamp_order_since(PowerOn, ORDER)
    assert (seen.holds, seen.text) == (None, why)
    began = evidence.lamp.begins("connected", 5.0)
    assert (began.seen, began.measured, began.because) == (False, False, why)


def test_a_word_about_another_leg_tells_nothing_of_this_one() -> None:
    other = moment(-3.0, "lamp by eye", "told", watch=1, since_s=-40.0, until_s=-4.0, whole=True)
    assert leg(*IN_ORDER, word=other).lamp.trouble


def test_a_change_is_timed_with_the_doubt_of_a_finger() -> None:
    began = leg(*IN_ORDER).lamp.begins("connected", 5.0)
    assert (began.earliest_s, began.latest_s, began.measured) == (14.0 - DOUBT_S, 14.0 + DOUBT_S, True)


def test_what_it_showed_before_is_no_answer() -> None:
    """Connected all along, a unit that was told at 20 s to join anew shows no new light by that."""
    began = leg(*IN_ORDER).lamp.begins("connected", 20.0)
    assert began.measured is False
    assert began.because == "eye: the lamp showed connected before that"


@pytest.mark.parametrize("last_s", [END_S - 0.5, END_S + 0.5])
def test_what_came_about_the_legs_end_may_be_of_it(last_s: float) -> None:
    looks = (*IN_ORDER[:3], (last_s, "connected"))
    assert leg(*looks).lamp_order_since(PowerOn, ORDER).holds is None
    assert leg(*looks).lamp_order_since(PowerOn, ORDER[:2]).holds is None
    assert leg(*looks).lamp_order_since(PowerOn, ["starting", "setup"]).holds is False


def key(began_s: float, late_s: float, look: str) -> tuple[float, str]:
    """The key for a look that truly began at a time, so long after it."""
    return began_s + late_s - 1.1, look


FIRST, THEN = key(-1.0, 0.9, "connected"), [key(8.0, 1.0, "joining"), key(14.0, 1.0, "connected")]
# The supply is off from 4 s to 5 s.
BEFORE_AND_AFTER = {
    "dark was seen": ([key(4.0, 0.5, "dark"), key(5.4, 1.0, "starting"), *THEN], True),
    "dark was seen late": ([key(4.0, 1.5, "dark"), key(5.4, 1.0, "starting"), *THEN], None),
    "dark was missed": ([key(5.3, 1.8, "starting"), *THEN], None),
    "dark and starting were missed": ([key(7.1, 1.2, "joining"), *THEN[1:]], None),
    "dark was missed, and another came": (
        [key(5.05, 1.0, "setup"), key(6.75, 0.2, "dark"), key(7.5, 0.4, "starting"), *THEN],
        None,
    ),
    "dark was seen, and a wrong look after it": (
        [key(4.0, 0.5, "dark"), key(5.05, 0.5, "setup"), key(7.5, 0.4, "starting"), *THEN],
        False,
    ),
    "a wrong look for long": (
        [key(4.0, 1.5, "dark"), key(5.4, 1.0, "setup"), key(9.0, 1.0, "starting"), *THEN[1:]],
        False,
    ),
}


@pytest.mark.parametrize(("keys", "holds"), BEFORE_AND_AFTER.values(), ids=BEFORE_AND_AFTER)
def test_what_was_seen_about_the_cut_counts_as_far_as_it_is_surely_of_after(
    keys: list[tuple[float, str]], holds: bool | None
) -> None:
    assert leg(FIRST, *keys).lamp_order_since(PowerOn, ORDER).holds is holds


@pytest.mark.parametrize("keys", [[], [key(0.5, 1.0, "starting"), *THEN]])
def test_who_did_not_tell_what_it_showed_at_first_did_not_look(keys: list[tuple[float, str]]) -> None:
    evidence = leg(*keys)
    assert evidence.lamp_order_since(PowerOn, ORDER).holds is None
    assert evidence.lamp.trouble.endswith("the person at the lamp did not tell what it showed at first")


def test_the_first_look_is_no_change() -> None:
    began = leg(key(-1.0, 0.9, "starting"), *THEN).lamp.begins("starting", 0.0)
    assert (began.measured, began.because) == (False, "eye: the lamp showed starting before that")


@pytest.mark.parametrize("late_s", [0.2, 1.0, 2.0])
def test_a_part_of_a_leg_is_not_blamed_for_what_was_seen_about_its_ends(late_s: float) -> None:
    """Connected, sent an image from 10 s to 16 s, restarted at 16.5 s."""
    looks = [(10.2, "updating"), (16.9, "starting"), (19.0, "joining"), (23.0, "connected")]
    evidence = leg(FIRST, *[key(began_s, late_s, look) for began_s, look in looks])
    window = evidence.lamp._window
    for begin_s, end_s, course in ((10.0, 16.1, ["updating"]), (16.5, 28.0, ORDER)):
        assert ByEye(Window("part", begin_s, end_s, window.record)).shows_in_order(course).holds is not False


def test_a_unit_that_an_instrument_left_alone_is_not_blamed() -> None:
    gone = moment(10.0, "leg", "gave up", why="is gone", instrument="access point")
    seen = leg(*IN_ORDER[:3], more=(gone,)).lamp_order_since(PowerOn, ORDER)
    assert (seen.holds, seen.text.startswith("access point: is gone")) == (None, True)


def test_the_camera_is_asked_where_there_is_one() -> None:
    window = make(awake(0.0, END_S)).window(0.0, END_S)
    assert not isinstance(lamp_of(window), ByEye)


@pytest.mark.parametrize(("leased_s", "holds"), [(11.0, None), (14.2, None), (17.0, False)])
def test_what_came_first_of_two_things_at_once_an_eye_cannot_tell(leased_s: float, holds: bool | None) -> None:
    """Nor whether it was shown before, for less than a second."""
    lease = moment(leased_s, "access point", "leased", address=UNIT, ip="198.51.100.2")
    assert leg(*IN_ORDER, more=(lease,)).lamp_waits_for_address().holds is holds
