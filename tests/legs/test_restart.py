"""How a leg notices a restart: by the chip's announcement, or where the console is silent by what others hear of the unit."""

from types import SimpleNamespace

import pytest
from support.records import CONTROL, HOTSPOT, UNIT, beacon, line, product_with, seeks, start_line

from hil.core.moments import Moment
from hil.legs.restart import restarts

BENCH = SimpleNamespace(label=SimpleNamespace(address=UNIT))
SILENT = product_with({"console": {"speaks": False}})
SPEAKS = product_with({})
STEP_S = 0.1024


def heard(*names: str, from_s: float = 0.0, count: int = 30) -> list[Moment]:
    """Beacons of some networks, in order of time."""
    return [beacon(from_s + number * STEP_S, name) for number in range(count) for name in names]


def shown_at(product: object, moments: list[Moment]) -> float | None:
    """When a restart is noticed, if at all."""
    shows = restarts(BENCH, product)
    return next((moment.time_s for moment in moments if shows(moment)), None)


def test_a_chip_that_speaks_announces_it() -> None:
    assert shown_at(SPEAKS, [line(1.0, "settings saved"), *heard(CONTROL), start_line(3.0)]) == 3.0
    assert shown_at(SPEAKS, [*heard(CONTROL), seeks(4.0, "associates")]) is None


def test_a_hotspot_that_is_heard_is_no_restart() -> None:
    assert shown_at(SILENT, heard(CONTROL, HOTSPOT, count=100)) is None


def test_a_hotspot_that_falls_silent_while_the_air_is_heard_is_one() -> None:
    moments = [*heard(CONTROL, HOTSPOT, count=20), *heard(CONTROL, from_s=20 * STEP_S)]
    last_s = 19 * STEP_S
    assert shown_at(SILENT, moments) == pytest.approx(last_s + 1.0, abs=STEP_S)


def test_a_hotspot_never_heard_since_counts_from_the_first_beacon_of_any_network() -> None:
    assert shown_at(SILENT, heard(CONTROL)) == pytest.approx(1.0, abs=STEP_S)


def test_an_air_that_nobody_hears_tells_nothing() -> None:
    assert shown_at(SILENT, [*heard(CONTROL, HOTSPOT, count=5), line(9.0, "x")]) is None


@pytest.mark.parametrize(("kind", "shown"), [("authenticates", True), ("associates", True), ("seeks", False)])
def test_a_station_that_joins_anew_is_one_and_a_look_round_is_none(kind: str, shown: bool) -> None:
    moments = [*heard(CONTROL, HOTSPOT, count=5), seeks(0.6, kind)]
    assert shown_at(SILENT, moments) == (0.6 if shown else None)
    assert shown_at(SILENT, [seeks(0.6, kind, sender="02:00:00:00:00:01")]) is None


def test_a_silent_chip_s_words_are_not_waited_for() -> None:
    assert shown_at(SILENT, [*heard(CONTROL, HOTSPOT, count=5), start_line(0.6)]) is None
