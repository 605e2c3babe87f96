"""Going over a stored run: the legs it recorded in their order, and what is lacking with the reason."""

from collections.abc import Sequence
from pathlib import Path

import pytest
from support.records import FACTS

from hil.core.errors import InputError
from hil.core.outcomes import NotReached, Unjudged
from hil.core.product import load_product
from hil.core.run_folder import LegRecord, RunFolder, RunInfo
from hil.core.stages import Off
from hil.drive.stored import StoredDriver
from hil.instruments.bench import Bench
from hil.legs.leg import Leg, LegCall
from hil.virtual import DEMO_PRODUCT


def a_call(name: str, parameter: str = "", repeat: int = 1) -> LegCall:
    def drive(bench: Bench, product: object) -> None:
        """Nothing: was driven before."""

    return LegCall(Leg(name, name, Off(), Off(), drive, lambda _p: 1.0, repeat, 1, False), parameter or None, parameter)


A, B, C = a_call("a"), a_call("b"), a_call("c")
NORTH, SOUTH = a_call("wind", "north"), a_call("wind", "south")


def record(call: LegCall, begin_s: float, take: int = 1, *, bridge: bool = False) -> LegRecord:
    return LegRecord(call.leg.name, call.parameter_id, take, begin_s, begin_s + 5.0, "off", "off", "off", 5.0, bridge)


def stored(
    folder: Path, legs: Sequence[LegRecord], calls: Sequence[LegCall], *, broken: str = "", complete: bool = True
) -> StoredDriver:
    run = RunFolder(folder).make()
    run.write_info(
        RunInfo("s", "2026", "0", [], False, complete=complete, broken=broken, facts=dict(FACTS), legs=list(legs))
    )
    run.product_file.write_bytes(DEMO_PRODUCT.read_bytes())
    return StoredDriver(run, None, calls)


def go_over(driver: StoredDriver, wanted: Sequence[LegCall]) -> list[str]:
    """Go over it as the run loop does."""
    found: list[str] = []
    for _ in range(50):
        left = [c for c in wanted if not driver.shelf.lacks(c) and driver.shelf.takes_of(c) < driver.takes_wanted(c)]
        if not left:
            return found
        chosen = driver.next_call(left)
        if chosen is None:
            for lacking in left:
                driver.lack(lacking)
            continue
        driver.drive(chosen, bridge=False)
        found.append(chosen.id)
    raise AssertionError("no end")


def test_the_recorded_legs_come_in_their_order_and_the_unwanted_are_passed_over(tmp_path: Path) -> None:
    driver = stored(tmp_path, [record(A, 0.0), record(B, 10.0), record(C, 20.0)], [A, B, C])
    assert go_over(driver, [C, A]) == ["a", "c"]
    assert driver.shelf.look_up(C).begin_s == 20.0
    assert driver.live is False


def test_every_recorded_take_is_judged(tmp_path: Path) -> None:
    legs = [record(A, 0.0), record(B, 10.0), record(A, 20.0, 2, bridge=True), record(A, 30.0, 3)]
    driver = stored(tmp_path, legs, [A, B])
    assert go_over(driver, [A, B]) == ["a", "b", "a", "a"]
    begins = []
    for take in range(3):
        driver.shelf.take = take
        begins.append(driver.shelf.look_up(A).begin_s)
    assert begins == [0.0, 20.0, 30.0]


def test_parameters_are_kept_apart(tmp_path: Path) -> None:
    driver = stored(tmp_path, [record(NORTH, 0.0), record(SOUTH, 10.0)], [NORTH, SOUTH])
    assert go_over(driver, [SOUTH]) == ["wind[south]"]
    assert driver.shelf.look_up(SOUTH).begin_s == 10.0


def test_a_stored_run_grants_no_retake(tmp_path: Path) -> None:
    assert stored(tmp_path, [record(A, 0.0)], [A]).grant_retake(A) is False


def test_a_leg_that_was_not_driven_in_a_whole_run_is_not_reached(tmp_path: Path) -> None:
    driver = stored(tmp_path, [record(A, 0.0)], [A, B])
    go_over(driver, [A, B])
    with pytest.raises(NotReached, match="the leg b was not driven"):
        driver.shelf.look_up(B)


def test_a_leg_that_was_not_driven_since_the_bench_broke_is_unjudged(tmp_path: Path) -> None:
    driver = stored(tmp_path, [record(A, 0.0)], [A, B], broken="probe: gone")
    go_over(driver, [A, B])
    assert driver.broken == "probe: gone"
    with pytest.raises(Unjudged, match="probe: gone"):
        driver.shelf.look_up(B)


def test_the_leg_in_which_the_bench_broke_is_unjudged_and_those_before_it_stand(tmp_path: Path) -> None:
    driver = stored(tmp_path, [record(A, 0.0), record(B, 10.0)], [A, B], broken="probe: gone")
    go_over(driver, [A, B])
    assert driver.shelf.look_up(A).begin_s == 0.0
    with pytest.raises(Unjudged, match="probe: gone"):
        driver.shelf.look_up(B)


def test_a_run_that_was_cut_short_is_unjudged_where_it_ends(tmp_path: Path) -> None:
    driver = stored(tmp_path, [record(A, 0.0)], [A, B], complete=False)
    go_over(driver, [A, B])
    assert driver.broken
    assert driver.shelf.look_up(A).begin_s == 0.0
    with pytest.raises(Unjudged, match="cut short"):
        driver.shelf.look_up(B)


def test_takes_that_were_declared_and_not_recorded_are_lacking(tmp_path: Path) -> None:
    """Two repeats declared, one recorded: the second was not reached, so the check over both cannot pass."""
    twice = a_call("a", repeat=2)
    driver = stored(tmp_path, [record(twice, 0.0)], [twice])
    assert go_over(driver, [twice]) == ["a"]
    driver.shelf.take = 1
    with pytest.raises(NotReached):
        driver.shelf.look_up(twice)


def test_a_run_is_judged_by_its_own_product_file_unless_another_is_given(tmp_path: Path) -> None:
    run = RunFolder(tmp_path / "run").make()
    run.write_info(RunInfo("s", "2026", "0", [], False, complete=True))
    text = DEMO_PRODUCT.read_text(encoding="utf-8").replace('model = "MV-2"', 'model = "MV-3"')
    run.product_file.write_text(text, encoding="utf-8")
    assert StoredDriver(run, None, []).product.model == "MV-3"
    assert StoredDriver(run, load_product(DEMO_PRODUCT), []).product.model == "MV-2"


def test_what_is_no_run_folder_is_wrong_input(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="not the record of a run"):
        StoredDriver(RunFolder(tmp_path), None, [])


def test_nothing_in_the_folder_is_changed(tmp_path: Path) -> None:
    driver = stored(tmp_path, [record(A, 0.0)], [A])
    before = {path: path.read_bytes() for path in sorted(tmp_path.rglob("*")) if path.is_file()}
    go_over(driver, [A])
    driver.close()
    assert before == {path: path.read_bytes() for path in sorted(tmp_path.rglob("*")) if path.is_file()}
