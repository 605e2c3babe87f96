"""Page loads by the hundred: what is planned, and that a unit that is gone ends the leg. Demands of the leg's own, no source.

The bench is made of stand-ins: a clock that only a pause or a load moves, and a visitor that answers as the test says.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import SimpleNamespace
from typing import cast

from hil.core.clock import Clock
from hil.core.product import load_product
from hil.core.timeline import Timeline
from hil.core.trial import draw
from hil.instruments.bench import Bench
from hil.instruments.pages import Answer, Outcome
from hil.legs.leg import DECLARED
from hil.legs.page_loads import RELEASE, RELEASE_S, SOAK, SOAK_ROUNDS
from hil.virtual import DEMO_PRODUCT

PRODUCT = load_product(DEMO_PRODUCT)
LOAD_S = 0.1
UNIT = "02:4d:56:00:a7:31"
SILENT_S = 12.0


class StillClock(Clock):
    """A clock that stands still until it is told to go on."""

    def __init__(self) -> None:
        super().__init__()
        self._now_s = 0.0

    def now_s(self) -> float:
        return self._now_s

    def pause(self, unit_s: float) -> None:
        self._now_s += unit_s


class Stand:
    """What the leg needs of a bench; `comes` says what comes of each load, by its number from 1."""

    def __init__(self, comes: Callable[[int], Outcome]) -> None:
        self.clock = StillClock()
        self.timeline = Timeline(self.clock)
        self.timeline.add("access point", "leased", address=UNIT, ip="192.0.2.23")
        self.asked: list[str] = []
        self.hung_up: list[str] = []
        self._comes = comes

    def bench(self) -> Bench:
        """As the leg takes it."""
        access_point = SimpleNamespace(source="access point", up=lambda _plan: None, lease_of_bench=lambda: None)
        label = SimpleNamespace(address=UNIT)
        parts = SimpleNamespace(
            clock=self.clock, timeline=self.timeline, label=label, access_point=access_point, network=None,
            visits=SimpleNamespace(at=lambda _lease: self), trial=draw(PRODUCT),
        )  # fmt: skip
        return cast("Bench", parts)

    def get(self, url: str, purpose: str, auth: object = None) -> Answer:
        """A load."""
        self.asked.append(purpose)
        outcome = self._comes(len(self.asked))
        self.clock.pause(SILENT_S if outcome == "silent" else LOAD_S)
        return Answer(outcome, url, "GET", 200 if outcome == "answered" else None, (), b"", None, 0.0, 0.0)

    @contextmanager
    def connection(self, url: str, purpose: str) -> Iterator[SimpleNamespace]:
        """A load that is aborted."""
        self.hung_up.append(purpose)
        yield SimpleNamespace(send=lambda octets: octets)

    def gave_up(self) -> list[str]:
        """Why the leg got no further."""
        return [moment.text("why") for moment in self.timeline.since() if moment.is_("leg", "gave up")]


def driven(comes: Callable[[int], Outcome]) -> Stand:
    stand = Stand(comes)
    DECLARED["pages_many"].drive(stand.bench(), PRODUCT)
    return stand


def test_a_good_unit_is_loaded_as_planned() -> None:
    stand = driven(lambda _number: "answered")
    planned = sum(portion.count for portion in RELEASE if portion.kind == "load")
    warm = [moment for moment in stand.timeline.since() if moment.is_("leg", "has warmed up")]
    assert len(warm) == 1
    assert len([p for p in stand.asked if p.startswith("load")]) >= planned
    assert len(set(stand.hung_up)) == len(stand.hung_up) >= sum(p.count for p in RELEASE if p.kind == "aborted load")
    looks = [purpose for purpose in stand.asked if purpose.startswith("free memory")]
    assert len(looks) == 3 * len(set(looks))
    assert stand.gave_up() == []


def test_a_unit_that_comes_back_is_loaded_on() -> None:
    stand = driven(lambda number: "refused" if 100 <= number < 105 else "answered")
    assert stand.gave_up() == []
    assert len(stand.asked) > 200


def test_a_unit_that_is_gone_ends_the_leg() -> None:
    """After a time without an answer as long as a start is waited for, and not after each load's own patience."""
    stand = driven(lambda number: "silent" if number >= 100 else "answered")
    assert len(stand.gave_up()) == 1
    assert len(stand.asked) <= 100 + 1 + PRODUCT.limits.connected_s.patience_s / SILENT_S


def test_the_soak_is_two_thousand_loads_and_two_hundred_aborted() -> None:
    """As reports from the field have it (2000 loads, 200 of them aborted)."""
    counts = {kind: SOAK_ROUNDS * sum(p.count for p in SOAK if p.kind == kind) for kind in ("load", "aborted load")}
    assert counts == {"load": 2000, "aborted load": 200}


def test_the_release_s_loads_have_an_end() -> None:
    assert sum(portion.limit_s for portion in RELEASE) <= RELEASE_S + 1e-9
