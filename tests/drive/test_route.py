"""The route over wanted legs.

Held against brute force: every order of the wanted legs (itertools.permutations), joined by cheapest walks over bridges
(networkx.shortest_path_length on situations alone, where the planner works on situations and legs still wanted). The legs
are drawn at random, so that nobody's idea of a likely bench is built in.
"""

import itertools
import random
from collections.abc import Sequence

import networkx as nx
import pytest

from hil.core.product import load_product
from hil.core.stages import Anywhere, Connected, Off, Setup, Situation, Unknown
from hil.drive.route import Route, plan_route
from hil.instruments.bench import Bench
from hil.legs.leg import DECLARED, Leg, LegCall
from hil.virtual import DEMO_PRODUCT

STAGES, STORES = ("off", "setup", "connected"), ("erased", "defaults", "bench network")
PLACES = [Situation(stage, store) for stage in STAGES for store in STORES]
SEEDS = range(60)


def call(name: str, begins: Situation, ends: Situation, *, last: bool = False) -> LegCall:
    def drive(bench: Bench, product: object) -> None:
        """Nothing: only planned."""

    return LegCall(Leg(name, name, begins, ends, drive, lambda _product: 1.0, 1, 0, last))


class Drawn:
    """Legs, costs and a situation, drawn from a seed."""

    def __init__(self, seed: int, *, last: bool = False) -> None:
        dice = random.Random(seed)
        self.here = dice.choice(PLACES)
        count = dice.randint(1, 6)
        self.wanted = [self._leg(dice, f"w{n}") for n in range(count)]
        self.bridges = [self._leg(dice, f"b{n}") for n in range(dice.randint(0, 4))]
        if last:
            self.wanted.append(call("end", Anywhere(), Off("defaults"), last=True))
        # Whole seconds, so that sums are exact and equal costs happen.
        self.costs = {leg.id: float(dice.randint(1, 9)) for leg in (*self.wanted, *self.bridges)}

    @staticmethod
    def _leg(dice: random.Random, name: str) -> LegCall:
        begins = Situation(dice.choice([*STAGES, *STAGES, "anywhere"]), dice.choice([None, *STORES]))
        ends = Situation(dice.choice(STAGES), dice.choice([None, None, *STORES]))
        return call(name, begins, ends)

    def plan(self) -> Route:
        return plan_route(self.here, self.wanted, self.bridges, self.costs.__getitem__)

    def leg(self, id_: str) -> LegCall:
        return next(leg for leg in (*self.wanted, *self.bridges) if leg.id == id_)


def walks(drawn: Drawn, ways: Sequence[LegCall]) -> nx.DiGraph:
    """Situations, joined by every leg that may be driven between them."""
    graph = nx.DiGraph()
    graph.add_nodes_from([drawn.here, *PLACES])
    for place in list(graph):
        for way in ways:
            if way.begins.accepts(place):
                then, cost = way.ends.after(place), drawn.costs[way.id]
                if then != place and (not graph.has_edge(place, then) or graph.edges[place, then]["cost"] > cost):
                    graph.add_edge(place, then, cost=cost)
    return graph


def cheapest_over(drawn: Drawn, order: Sequence[LegCall], ways: Sequence[LegCall]) -> float | None:
    """The cheapest walk that drives these legs in this order; any leg may be driven in between."""
    distances = dict(nx.all_pairs_dijkstra_path_length(walks(drawn, ways), weight="cost"))
    best = {drawn.here: 0.0}
    for leg in order:
        following: dict[Situation, float] = {}
        for place, so_far in best.items():
            for to, way_there in distances[place].items():
                if leg.begins.accepts(to):
                    end = leg.ends.after(to)
                    cost = so_far + way_there + drawn.costs[leg.id]
                    following[end] = min(cost, following.get(end, cost))
        best = following
    return min(best.values(), default=None)


def brute_force(drawn: Drawn) -> tuple[int, float]:
    """The most wanted legs that can be driven, and the least time for so many."""
    ways = [*drawn.wanted, *drawn.bridges]
    for size in range(len(drawn.wanted), -1, -1):
        costs = [
            cost
            for chosen in itertools.combinations(drawn.wanted, size)
            for order in itertools.permutations(chosen)
            if (cost := cheapest_over(drawn, order, ways)) is not None
        ]
        if costs:
            return size, min(costs)
    raise AssertionError("no leg at all can always be driven")


def follow(drawn: Drawn, route: Route) -> set[str]:
    """Drive a route on paper: each leg must begin where the one before ended; returns the wanted legs driven."""
    place, spent = drawn.here, 0.0
    for step in route.steps:
        leg = drawn.leg(step.id)
        assert leg.begins.accepts(place), f"{step.id} begins from {leg.begins}, not from {place}"
        place, spent = leg.ends.after(place), spent + drawn.costs[step.id]
    assert spent == route.expected_s
    return {step.id for step in route.steps} & {leg.id for leg in drawn.wanted}


@pytest.mark.parametrize("seed", SEEDS)
def test_no_order_of_legs_is_better(seed: int) -> None:
    drawn = Drawn(seed)

    route = drawn.plan()
    driven = follow(drawn, route)
    assert driven.isdisjoint(route.unreached)
    assert driven | set(route.unreached) == {leg.id for leg in drawn.wanted}
    assert (len(driven), route.expected_s) == brute_force(drawn)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_last_leg_ends_the_route_whatever_it_costs(seed: int) -> None:
    drawn = Drawn(seed, last=True)
    route = drawn.plan()
    driven = follow(drawn, route)
    assert [step.id for step in route.steps].index("end") == len(route.steps) - 1
    rest = Drawn(seed)
    assert len(driven) - 1 == len(follow(rest, rest.plan()))


@pytest.mark.parametrize("seed", range(10))
def test_planning_again_gives_the_same_route(seed: int) -> None:
    drawn = Drawn(seed)
    again = Drawn(seed)
    random.Random(seed).shuffle(again.wanted)
    assert drawn.plan().expected_s == again.plan().expected_s
    assert drawn.plan() == Drawn(seed).plan()


def test_a_wanted_leg_driven_again_on_the_way_is_a_bridge() -> None:
    """From setup, both other legs are wanted; each begins from off, and only `cut` leads there."""
    cut = call("cut", Anywhere(), Off())
    first = call("first", Off(), Setup())
    second = call("second", Off(), Setup())
    route = plan_route(Setup("defaults"), [cut, first, second], [], lambda _id: 1.0)
    assert [(step.id == "cut", step.bridge) for step in route.steps] == [
        (True, False),
        (False, False),
        (True, True),
        (False, False),
    ]


def test_a_bridge_is_used_only_where_it_is_needed() -> None:
    erase = call("erase", Anywhere(), Off("erased"))
    start = call("start", Off("erased"), Setup("defaults"))
    here = Connected("bench network")
    steps = plan_route(here, [start], [erase], lambda _id: 1.0).steps
    assert [(step.id, step.bridge) for step in steps] == [("erase", True), ("start", False)]
    assert plan_route(Off("erased"), [start], [erase], lambda _id: 1.0).steps == steps[1:]


def test_what_cannot_be_reached_is_named_and_the_rest_is_driven() -> None:
    start = call("start", Off("erased"), Setup("defaults"))
    form = call("form", Setup("defaults"), Connected("bench network"))
    route = plan_route(Setup("defaults"), [start, form], [], lambda _id: 1.0)
    assert [step.id for step in route.steps] == ["form"]
    assert route.unreached == ("start",)


def test_nowhere_to_go_is_an_empty_route() -> None:
    start = call("start", Off("erased"), Setup("defaults"))
    route = plan_route(Unknown(), [start], [], lambda _id: 1.0)
    assert (route.steps, route.expected_s, route.unreached) == ((), 0.0, ("start",))
    assert plan_route(Unknown(), [], [], lambda _id: 1.0).steps == ()


def test_the_shipped_legs_route_as_the_design_tells() -> None:
    """Erase, first start, form, then the rest from where each ends, and the hand-over last."""
    product = load_product(DEMO_PRODUCT)
    names = ("build_flashed", "first_start", "form_saved", "power_cut", "saved_network_absent", "hand_over")
    wanted = [LegCall(DECLARED[name]) for name in names]
    bridges = [LegCall(DECLARED["unplugged"])]
    route = plan_route(Unknown(), wanted, bridges, lambda id_: DECLARED[id_].expected_s(product))
    ids = [step.id for step in route.steps]
    assert route.unreached == ()
    assert ids[:3] == ["build_flashed", "first_start", "form_saved"]
    assert ids[-1] == "hand_over"
    assert [step.id for step in route.steps if step.bridge] == ["unplugged"]
