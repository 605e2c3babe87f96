"""Whether doubts are honest, held against what the virtual world says really happened.

The world writes its truth apart, in a file that only tests read; how an event and its truth belong together is told in
`support/truth.py`. Three short routes here, more by `ci/measure doubt`. What is demanded: 95 % of the readings hold the
truth (so few routes cannot tell 94 % from 96 %: the test fails when they rule out 95 %, by the interval of Clopper and
Pearson), and the median doubt is at most twice the 95th percentile of the true errors.
"""

import ast
import inspect
from collections.abc import Callable
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules

import hil_acceptance
import pytest
from support.hard_bench import TIMING_CHECKS, timed_route
from support.truth import Compared, Honesty, honesty

SEEDS = (101, 102, 103)
COVERED = 0.95
PADDED = 2.0
DOUBTFUL = {  # each instrument that stamps something a shipped check times
    "power on",
    "lamp shows starting",
    "lamp shows setup",
    "first beacon of the hotspot",
    "the unit's first frame to a network",
    "the hotspot falls silent",
    "address given",
    "the probe joined the hotspot",
    "the probe got its address",
    "the form was answered",
    "form as shipped: first octet",
}


@pytest.fixture(scope="module")
def compared(tmp_path_factory: pytest.TempPathFactory) -> list[Compared]:
    """The readings of all routes, beside the truth."""
    folder = tmp_path_factory.mktemp("doubt")
    return [one for seed in SEEDS for one in timed_route(folder / f"seed-{seed}", seed)]


def rules_out_covering(honest: Honesty) -> bool:
    return honest.coverage_95[1] < COVERED


def is_padded(honest: Honesty) -> bool:
    return honest.ratio > PADDED


def test_doubts_cover_the_truth(compared: list[Compared]) -> None:
    missed = [f"{one.kind}: {one.error_s:+.3f} s ± {one.doubt_s:.3f} s" for one in compared if not one.contains]
    assert not rules_out_covering(honesty(compared)), missed


def test_doubts_are_not_padded(compared: list[Compared]) -> None:
    honest = honesty(compared)
    assert not is_padded(honest), honest


def test_every_instrument_had_its_say(compared: list[Compared]) -> None:
    timed = {event for one in compared for event in (one.reading.first, one.reading.then)}
    assert timed >= DOUBTFUL
    honest = honesty(compared)
    assert honest.measured >= 0.9 * honest.readings  # hardly any is a mere bound because a witness was asleep


@pytest.mark.parametrize(
    ("factor", "told"),
    [pytest.param(0.05, rules_out_covering, id="too small"), pytest.param(20.0, is_padded, id="padded")],
)
def test_dishonest_doubts_would_be_told(
    compared: list[Compared], factor: float, told: Callable[[Honesty], bool]
) -> None:
    assert told(honesty([_doubted(one, factor) for one in compared]))


def _doubted(one: Compared, factor: float) -> Compared:
    middle_s = one.truth_s + one.error_s
    low, high = middle_s - factor * one.doubt_s, middle_s + factor * one.doubt_s
    return replace(one, reading=replace(one.reading, low=low, high=high))


def test_no_timing_check_escapes() -> None:
    """The routes choose their checks by name: no check that judges a reading may be called otherwise."""
    modules = [import_module(f"hil_acceptance.{module.name}") for module in iter_modules(hil_acceptance.__path__)]
    functions = [
        function
        for module in modules
        for function in ast.parse(Path(inspect.getfile(module)).read_text(encoding="utf-8")).body
        if isinstance(function, ast.FunctionDef) and function.name.startswith("test_")
    ]
    timing = {function.name for function in functions if "judge.within(" in ast.unparse(function)}
    assert timing
    assert {name for name in timing if TIMING_CHECKS not in name} == set()
