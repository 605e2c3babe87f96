"""The route: the order of legs that covers the wanted ones in the least unit time.

Situations are places, legs are ways between them. Legs that nobody asked for may be added as bridges. Exact: the
cheapest walk over (situation, legs still wanted), found by Dijkstra's algorithm (networkx). Two things keep the places
few and lose nothing: a wanted leg that always ends where it began is driven as soon as the unit is there, since it costs the
same at any time; and of wanted legs with one begin and one end, whose order costs nothing either, the first comes first.
Legs marked `last` come after all others, whatever it costs.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol

import networkx as nx

from hil.core.stages import Situation


class Way(Protocol):
    """What the planner needs of a leg: an id, where it begins and ends, its expected unit time."""

    @property
    def id(self) -> str: ...
    @property
    def begins(self) -> Situation: ...
    @property
    def ends(self) -> Situation: ...
    @property
    def last(self) -> bool: ...


@dataclass(frozen=True, slots=True)
class Step:
    """One leg of a route; a bridge is one nobody asked for."""

    id: str
    bridge: bool


@dataclass(frozen=True, slots=True)
class Route:
    """The steps, their expected unit time, and the wanted legs that no route reaches."""

    steps: tuple[Step, ...]
    expected_s: float
    unreached: tuple[str, ...] = ()


Place = tuple[Situation, frozenset[str]]


def plan_route(
    here: Situation, wanted: Sequence[Way], bridges: Sequence[Way], expected_s: Callable[[str], float]
) -> Route:
    """Plan the cheapest route from `here` over all wanted legs that can be reached.

    Args:
        here: The situation the witnesses confirmed.
        wanted: Legs to drive.
        bridges: Legs that may be driven to get to the beginning of a wanted one.
        expected_s: Expected unit time of a leg by its id.
    """
    route = _plan_over(here, wanted, bridges, expected_s)
    lost = {way.id for way in wanted if way.id in route.unreached and not way.last}
    if not lost:
        return route
    # What cannot be reached must not keep the last legs from being driven.
    rest = _plan_over(here, [way for way in wanted if way.id not in lost], bridges, expected_s)
    return Route(rest.steps, rest.expected_s, tuple(sorted(lost.union(rest.unreached))))


def _plan_over(
    here: Situation, wanted: Sequence[Way], bridges: Sequence[Way], expected_s: Callable[[str], float]
) -> Route:
    ways = {way.id: way for way in (*wanted, *bridges)}
    goal_ids = frozenset(way.id for way in wanted)
    start: Place = (here, goal_ids)
    graph = _grow(start, ways, expected_s)
    costs, paths = nx.single_source_dijkstra(graph, start, weight="cost")
    # The most legs first, then the least time; the text of the situation makes ties come out the same each time.
    goal = min(costs, key=lambda place: (len(place[1]), costs[place], str(place[0])))
    taken = [graph.edges[a, b]["id"] for a, b in zip(paths[goal], paths[goal][1:], strict=False)]
    return Route(tuple(_mark_bridges(taken, goal_ids)), costs[goal], tuple(sorted(goal[1])))


def _grow(start: Place, ways: dict[str, Way], expected_s: Callable[[str], float]) -> nx.DiGraph:
    graph = nx.DiGraph()
    graph.add_node(start)
    open_places = [start]
    while open_places:
        place = open_places.pop()
        for way, next_place in _steps_from(place, ways):
            is_new = next_place not in graph
            cost = expected_s(way.id)
            if next_place not in graph[place] or graph.edges[place, next_place]["cost"] > cost:
                graph.add_edge(place, next_place, cost=cost, id=way.id)
            if is_new:
                open_places.append(next_place)
    return graph


def _steps_from(place: Place, ways: dict[str, Way]) -> Iterator[tuple[Way, Place]]:
    situation, still_wanted = place
    loop = next((way for way in ways.values() if way.id in still_wanted and _is_loop(way, situation)), None)
    if loop is not None:
        yield loop, (situation, still_wanted - {loop.id})
        return
    only_last_left = all(ways[id_].last for id_ in still_wanted)
    waiting: set[tuple[Situation, Situation, bool]] = set()
    for way in ways.values():
        kind = (way.begins, way.ends, way.last)
        if not way.begins.accepts(situation) or (way.last and not (only_last_left and way.id in still_wanted)):
            continue
        if way.id in still_wanted:
            if kind in waiting:
                continue
            waiting.add(kind)
        next_place = (way.ends.after(situation), still_wanted - {way.id})
        if next_place != place:
            yield way, next_place


def _is_loop(way: Way, situation: Situation) -> bool:
    """Whether a leg that may begin here leads back to wherever it begins, here and anywhere else."""
    same_stage = way.ends.stage in ("anywhere", way.begins.stage)
    same_store = way.ends.store in (None, way.begins.store)
    return not way.last and same_stage and same_store and way.begins.accepts(situation)


def _mark_bridges(taken: Sequence[str], wanted: frozenset[str]) -> Iterator[Step]:
    done: set[str] = set()
    for id_ in taken:
        yield Step(id_, bridge=id_ not in wanted or id_ in done)
        done.add(id_)
