"""The shelf: evidence by leg and take, and why there is none."""

import pytest
from support.records import make

from hil.core.errors import OurBug
from hil.core.outcomes import NotReached, Unjudged
from hil.core.stages import Off
from hil.drive.shelf import Lack, Shelf
from hil.evidence.window import Window
from hil.instruments.bench import Bench
from hil.legs.leg import Leg, LegCall

RECORD = make([]).record


def a_leg(name: str) -> Leg:
    def drive(bench: Bench, product: object) -> None:
        """Nothing: only looked up."""

    return Leg(name, name, Off(), Off(), drive, lambda _product: 1.0, 1, 0, False)


CALL = LegCall(a_leg("cut"))
NORTH, SOUTH = (LegCall(a_leg("wind"), side, side) for side in ("north", "south"))


def window(begin_s: float) -> Window:
    return Window("cut", begin_s, begin_s + 1.0, RECORD)


@pytest.fixture
def shelf() -> Shelf:
    return Shelf([CALL, NORTH, SOUTH])


def test_a_take_is_found_by_its_number(shelf: Shelf) -> None:
    for begin_s in (10.0, 20.0):
        shelf.put(CALL, window(begin_s))
    assert shelf.takes_of(CALL) == 2
    for take, begin_s in enumerate((10.0, 20.0)):
        shelf.take = take
        assert shelf.look_up(CALL).begin_s == begin_s
    shelf.take = 5  # a check over two legs of which the other has more takes
    assert shelf.look_up(CALL).begin_s == 20.0


def test_parameters_are_legs_of_their_own(shelf: Shelf) -> None:
    shelf.put(NORTH, window(10.0))
    shelf.put(SOUTH, window(20.0))
    taken = [shelf.evidence(NORTH.leg, side) for side in ("north", "south")]
    assert [evidence.begin_s for evidence in taken] == [10.0, 20.0]
    assert NORTH.id == "wind[north]"


def test_what_the_fixture_returns_follows_the_take(shelf: Shelf) -> None:
    evidence = shelf.evidence(CALL.leg, None)
    for begin_s in (10.0, 20.0):
        shelf.put(CALL, window(begin_s))
    shelf.take = 1
    assert evidence.begin_s == 20.0
    shelf.take = 0
    assert evidence.begin_s == 10.0


def test_a_leg_that_was_not_reached_says_why(shelf: Shelf) -> None:
    shelf.lack(CALL, Lack.NOT_REACHED, "the unit is off")
    assert shelf.lacks(CALL)
    with pytest.raises(NotReached, match="the unit is off"):
        shelf.look_up(CALL)


def test_a_bench_that_broke_says_why(shelf: Shelf) -> None:
    shelf.lack(CALL, Lack.BENCH_BROKE, "the adapter is gone")
    with pytest.raises(Unjudged, match="the bench broke: the adapter is gone"):
        shelf.look_up(CALL)


def test_a_later_take_that_is_lacking_does_not_take_the_first_away(shelf: Shelf) -> None:
    shelf.put(CALL, window(10.0))
    shelf.lack(CALL, Lack.NOT_REACHED, "the unit is off")
    assert shelf.look_up(CALL).begin_s == 10.0
    shelf.take = 1
    with pytest.raises(NotReached):
        shelf.look_up(CALL)


def test_nothing_known_of_a_leg_is_a_fault_of_ours(shelf: Shelf) -> None:
    assert not shelf.lacks(CALL)
    with pytest.raises(OurBug, match="cut"):
        shelf.look_up(CALL)
