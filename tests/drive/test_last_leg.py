"""Legs that come last are driven although others cannot be reached any more. What must come out follows from the rule itself."""

from hil.core.product import Product
from hil.core.stages import Anywhere, Connected, Off, Setup, Situation, Unknown
from hil.drive.route import Route, plan_route
from hil.instruments.bench import Bench
from hil.legs.leg import Leg, LegCall


def call(name: str, begins: Situation, ends: Situation, *, last: bool = False) -> LegCall:
    def drive(bench: Bench, product: Product) -> None:
        """Nothing: only planned."""

    return LegCall(Leg(name, name, begins, ends, drive, lambda _product: 1.0, 1, 0, last))


FORM = call("form_saved", Setup("defaults"), Connected("bench network"))
HAND_OVER = call("hand_over", Anywhere(), Off("defaults"), last=True)


def planned(here: Situation, *wanted: LegCall) -> Route:
    return plan_route(here, wanted, [], lambda _id: 1.0)


def test_the_last_leg_comes_last() -> None:
    assert [step.id for step in planned(Setup("defaults"), HAND_OVER, FORM).steps] == ["form_saved", "hand_over"]


def test_what_cannot_be_reached_does_not_keep_the_last_leg_back() -> None:
    route = planned(Unknown(), HAND_OVER, FORM)
    assert [step.id for step in route.steps] == ["hand_over"]
    assert route.unreached == ("form_saved",)


def test_a_last_leg_that_cannot_be_reached_is_named_too() -> None:
    stuck = call("from_off", Off(), Off("defaults"), last=True)
    route = planned(Unknown(), stuck, FORM)
    assert route.steps == ()
    assert route.unreached == ("form_saved", "from_off")
