"""A lamp that a person saw: timed no better than a finger, believed only by their word, and never proof of what was brief."""

import pytest
from support.records import UNIT, awake, make, moment, power

from hil.core.moments import Moment
from hil.evidence.events import PowerOn
from hil.evidence.lamp_by_eye import ByEye, lamp_of
from hil.evidence.leg_evidence import LegEvidence

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


IN_ORDER = ((0.5, "dark"), (5.5, "starting"), (8.0, "joining"), (14.0, "connected"))


def test_what_they_saw_in_order_holds_and_says_by_whom() -> None:
    seen = leg(*IN_ORDER).lamp_order_since(PowerOn, ORDER)
    assert (seen.holds, seen.text) == (True, "starting → joining → connected, by a person’s eye")


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
    evidence = leg((0.5, "dark"), (8.0, "joining"), (14.0, "connected"))
    seen = evidence.lamp_order_since(PowerOn, ORDER)
    assert seen.holds is None
    assert seen.text == "eye: saw joining → connected, by a person’s eye; the rest may have been shown too briefly"
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


def test_what_ended_about_the_start_may_be_of_before() -> None:
    before, then = (0.0, "connected"), [(8.0, "joining"), (14.0, "connected")]
    assert leg(before, (5.5, "starting"), *then).lamp_order_since(PowerOn, ORDER).holds is None
    assert leg(before, (5.2, "dark"), (5.5, "starting"), *then).lamp_order_since(PowerOn, ORDER).holds is True
    assert leg(before, (7.5, "starting"), *then).lamp_order_since(PowerOn, ORDER).holds is False


def test_what_was_lit_wrongly_as_soon_as_the_supply_came_is_not_left_out() -> None:
    wrong = [(0.0, "connected"), (3.5, "dark"), (5.4, "connected"), (5.7, "dark"), *IN_ORDER[1:]]
    assert leg(*wrong).lamp_order_since(PowerOn, ORDER).holds is not True


def test_a_unit_that_an_instrument_left_alone_is_not_blamed() -> None:
    gone = moment(10.0, "leg", "gave up", why="is gone", instrument="access point")
    seen = leg(*IN_ORDER[:3], more=(gone,)).lamp_order_since(PowerOn, ORDER)
    assert (seen.holds, seen.text.startswith("access point: is gone")) == (None, True)


def test_the_camera_is_asked_where_there_is_one() -> None:
    window = make(awake(0.0, END_S)).window(0.0, END_S)
    assert not isinstance(lamp_of(window), ByEye)


@pytest.mark.parametrize(("leased_s", "holds"), [(11.0, True), (14.2, None), (17.0, False)])
def test_what_came_first_of_two_things_at_once_an_eye_cannot_tell(leased_s: float, holds: bool | None) -> None:
    lease = moment(leased_s, "access point", "leased", address=UNIT, ip="198.51.100.2")
    assert leg(*IN_ORDER, more=(lease,)).lamp_waits_for_address().holds is holds
