"""Driving a unit: routes planned anew from what witnesses confirm, repeats and retakes, and a bench that breaks.

The bench is a fake that costs no time (tests/support/fake_bench.py); what must come out follows from the design's rules.
"""

import contextlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import cast

import pytest
from support.fake_bench import ObedientPower, fake_driver, show

from hil.core.errors import BenchError
from hil.core.moments import Moment
from hil.core.outcomes import NotReached, Unjudged
from hil.core.product import Product
from hil.core.readings import Reading
from hil.core.run_folder import RunFolder
from hil.core.stages import Anywhere, Connected, Off, Setup, Situation
from hil.core.timeline import Timeline
from hil.core.verdicts import Limits, Verdict
from hil.drive.live import LiveDriver
from hil.instruments.bench import Bench
from hil.instruments.lamp_by_eye import LampByEye
from hil.judge.results import CheckResult
from hil.judge.rules import judge_reading
from hil.legs.leg import Leg, LegCall

Drive = Callable[[Bench], None]
MakeDriver = Callable[[Sequence[LegCall]], LiveDriver]


def call(
    name: str, begins: Situation, ends: Situation, drive: Drive | None = None, *, repeat: int = 1, retakes: int = 1,
    cost_s: float = 1.0, last: bool = False,
) -> LegCall:  # fmt: skip
    """A leg that shows the stage it ends in, unless a test says what else it does."""

    def driven(bench: Bench, product: Product) -> None:
        (drive or (lambda b: show(b, ends.stage)))(bench)

    return LegCall(Leg(name, f"{name}.", begins, ends, driven, lambda _product: cost_s, repeat, retakes, last))


FLASH = call("flash", Anywhere(), Off("erased"))
START = call("start", Off("erased"), Setup("defaults"))
FORM = call("form", Setup("defaults"), Connected("bench network"))


@pytest.fixture
def make_driver(tmp_path: Path) -> Iterator[MakeDriver]:
    """Make drivers over fake benches in the test's folder; their files are closed after the test."""
    with contextlib.ExitStack() as stack:

        def make(calls: Sequence[LegCall]) -> LiveDriver:
            driver = fake_driver(tmp_path, calls)
            stack.callback(driver.bench.timeline.close)
            return driver

        yield make


def drive_all(driver: LiveDriver, wanted: Sequence[LegCall], limit: int = 20) -> list[str]:
    """Drive as the run loop does, until every wanted leg is driven or given up."""
    driven: list[str] = []
    for _ in range(limit):
        left = [
            leg
            for leg in wanted
            if not driver.shelf.lacks(leg) and driver.shelf.takes_of(leg) < driver.takes_wanted(leg)
        ]
        if not left:
            return driven
        chosen = driver.next_call(left)
        if chosen is None:
            for leg in left:
                driver.lack(leg)
            continue
        driver.drive(chosen, bridge=chosen.id not in {leg.id for leg in left})
        driven.append(chosen.id)
    raise AssertionError(f"no end after {limit} legs: {driven}")


def test_a_unit_that_does_its_part_is_driven_by_the_route(tmp_path: Path, make_driver: MakeDriver) -> None:
    driver = make_driver([FLASH, START, FORM])
    assert drive_all(driver, [FORM, START]) == ["flash", "start", "form"]
    assert driver.situation == Connected("bench network")
    assert [(leg.name, leg.bridge, leg.begins, leg.confirmed) for leg in driver.info.legs] == [
        ("flash", True, "unknown (unknown)", "off (erased)"),
        ("start", False, "off (erased)", "setup (defaults)"),
        ("form", False, "setup (defaults)", "connected (bench network)"),
    ]


def test_the_record_is_on_disk_after_each_leg(tmp_path: Path, make_driver: MakeDriver) -> None:
    driver = make_driver([FLASH, START])
    for number, leg in enumerate((FLASH, START), start=1):
        driver.drive(leg, bridge=False)
        stored = RunFolder(tmp_path).read_info()
        assert len(stored.legs) == number
        assert stored.legs[-1].name == leg.id
        assert stored.complete is False
    kinds = [(m.source, m.kind, m.text("name")) for m in RunFolder(tmp_path).read_moments() if m.source == "leg"]
    assert kinds == [(("leg", kind, name)) for name in ("flash", "start") for kind in ("begins", "ends")]


def test_a_leg_that_surprises_is_followed_by_a_plan_from_where_the_unit_is(
    tmp_path: Path, make_driver: MakeDriver
) -> None:
    """The form leads back into setup: what begins from connected is not reached, what begins from setup still is."""
    form = call("form", Setup("defaults"), Connected("bench network"), lambda bench: show(bench, "setup"))
    cut = call("cut", Connected("bench network"), Connected())
    look = call("look", Setup(), Setup(), cost_s=9.0)
    driver = make_driver([FLASH, START, form, cut, look])
    driven = drive_all(driver, [form, cut, look])
    assert driven.count("form") == 1
    assert "look" in driven
    assert "cut" not in driven
    assert driver.info.legs[driven.index("form")].confirmed == "setup (unknown)"
    with pytest.raises(NotReached, match=r"begins from connected \(bench network\); the witnesses confirm setup"):
        driver.shelf.look_up(cut)


def test_a_bridge_that_surprises_is_no_way_to_anywhere_any_more(tmp_path: Path, make_driver: MakeDriver) -> None:
    dead = call("start", Off("erased"), Setup("defaults"), lambda _bench: None)
    driver = make_driver([FLASH, dead, FORM])
    assert drive_all(driver, [FORM]) == ["flash", "start"]
    with pytest.raises(NotReached):
        driver.shelf.look_up(FORM)


def test_another_way_is_taken_where_there_is_one(tmp_path: Path, make_driver: MakeDriver) -> None:
    dead = call("start", Off("erased"), Setup("defaults"), lambda bench: show(bench, "off"))
    other = call("long start", Off(), Setup("defaults"), cost_s=50.0)
    driver = make_driver([FLASH, dead, other, FORM])
    assert drive_all(driver, [FORM]) == ["flash", "start", "long start", "form"]


def test_the_store_is_not_believed_after_a_surprise(tmp_path: Path, make_driver: MakeDriver) -> None:
    """A start that ends off: the unit is off, but with what in its store nobody knows."""
    dead = call("start", Off("erased"), Setup("defaults"), lambda bench: show(bench, "off"))
    driver = make_driver([FLASH, dead])
    drive_all(driver, [dead])
    assert driver.situation == Off("unknown")


def test_repeats_are_driven_as_often_as_declared(tmp_path: Path, make_driver: MakeDriver) -> None:
    thrice = call("start", Off("erased"), Setup("defaults"), repeat=3)
    driver = make_driver([FLASH, thrice])
    assert drive_all(driver, [thrice]) == ["flash", "start"] * 3
    assert [leg.take for leg in driver.info.legs if leg.name == "start"] == [1, 2, 3]
    windows = []
    for take in range(3):
        driver.shelf.take = take
        windows.append((driver.shelf.look_up(thrice).begin_s, driver.shelf.look_up(thrice).end_s))
    assert windows == [(leg.begin_s, leg.end_s) for leg in driver.info.legs if leg.name == "start"]


def test_retakes_are_granted_as_often_as_declared_and_no_more(tmp_path: Path, make_driver: MakeDriver) -> None:
    start = call("start", Off("erased"), Setup("defaults"), retakes=2)
    driver = make_driver([FLASH, start])
    drive_all(driver, [start])
    assert driver.takes_wanted(start) == 1
    assert [driver.grant_retake(start) for _ in range(3)] == [True, True, False]
    assert driver.takes_wanted(start) == 3
    assert drive_all(driver, [start]) == ["flash", "start", "flash", "start"]
    assert driver.shelf.takes_of(start) == 3


def test_a_leg_without_retakes_gets_none(tmp_path: Path, make_driver: MakeDriver) -> None:
    driver = make_driver([FLASH])
    assert driver.grant_retake(call("x", Off(), Off(), retakes=0)) is False


class TestBroken:
    """A bench that breaks."""

    @staticmethod
    def broke(bench: Bench) -> None:
        show(bench, "setup")
        raise BenchError("probe wlan1", "the adapter is gone.", "Plug it in.")

    def test_in_a_leg_ends_the_run_and_every_wanted_leg_is_unjudged(
        self, tmp_path: Path, make_driver: MakeDriver
    ) -> None:
        start = call("start", Off("erased"), Setup("defaults"), self.broke)
        driver = make_driver([FLASH, start, FORM])
        assert drive_all(driver, [start, FORM]) == ["flash", "start"]
        assert driver.broken == "probe wlan1: the adapter is gone. Plug it in."
        for leg in (start, FORM):
            with pytest.raises(Unjudged, match="the bench broke: probe wlan1"):
                driver.shelf.look_up(leg)
        assert driver.grant_retake(start) is False

    def test_the_leg_s_own_record_is_kept(self, tmp_path: Path, make_driver: MakeDriver) -> None:
        start = call("start", Off("erased"), Setup("defaults"), self.broke)
        driver = make_driver([FLASH, start])
        drive_all(driver, [start])
        assert [leg.name for leg in RunFolder(tmp_path).read_info().legs] == ["flash", "start"]
        broke = [m for m in RunFolder(tmp_path).read_moments() if m.is_("bench", "broke")]
        assert [m.text("why") for m in broke] == [driver.broken]

    def test_what_was_driven_before_keeps_its_evidence(self, tmp_path: Path, make_driver: MakeDriver) -> None:
        form = call("form", Setup("defaults"), Connected("bench network"), self.broke)
        driver = make_driver([FLASH, START, form])
        drive_all(driver, [START, form])
        assert driver.shelf.look_up(START).end_s > 0.0

    def test_in_a_later_take_leaves_the_earlier_ones_standing(self, tmp_path: Path, make_driver: MakeDriver) -> None:
        """Every take counts: a failure seen in the first is not undone by a bench that breaks in the second."""
        takes = iter([lambda bench: show(bench, "setup"), self.broke])

        def by_turns(bench: Bench) -> None:
            next(takes)(bench)

        start = call("start", Off("erased"), Setup("defaults"), by_turns, repeat=2)
        driver = make_driver([FLASH, start])
        drive_all(driver, [start])
        driver.shelf.take = 0
        assert driver.shelf.look_up(start).begin_s == driver.info.legs[1].begin_s
        driver.shelf.take = 1
        with pytest.raises(Unjudged, match="the bench broke"):
            driver.shelf.look_up(start)

    def test_a_disk_that_takes_no_more_ends_the_run(
        self, tmp_path: Path, make_driver: MakeDriver, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        driver = make_driver([FLASH, START])

        def full(info: object) -> None:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(driver.folder, "write_info", full)
        assert drive_all(driver, [FLASH, START]) == ["flash"]
        assert "No space left on device" in driver.broken
        with pytest.raises(Unjudged, match="No space"):
            driver.shelf.look_up(START)

    def test_trouble_of_the_timeline_ends_the_run(self, tmp_path: Path, make_driver: MakeDriver) -> None:
        driver = make_driver([FLASH, START])
        driver.drive(FLASH, bridge=False)
        driver.bench.timeline.trouble = "the run folder takes no more: full"
        assert driver.next_call([START]) is None
        driver.lack(START)
        with pytest.raises(Unjudged, match="takes no more"):
            driver.shelf.look_up(START)

    def test_an_error_of_a_leg_s_own_code_is_no_bench_trouble(self, tmp_path: Path, make_driver: MakeDriver) -> None:
        def mistaken(bench: Bench) -> None:
            raise ZeroDivisionError("of the leg's own")

        with pytest.raises(ZeroDivisionError):
            make_driver([FLASH]).drive(call("x", Anywhere(), Off(), mistaken), bridge=False)


def test_closing_switches_the_unit_off_and_frees_the_bench(tmp_path: Path, make_driver: MakeDriver) -> None:
    driver = make_driver([FLASH, START])
    drive_all(driver, [START])
    power = driver.bench.power
    assert isinstance(power, ObedientPower)
    assert power.is_on
    driver.close()
    assert not power.is_on
    assert driver.switched_off
    last = driver.bench.timeline.since()[-1]
    assert (last.source, last.kind, last.text("asked_by")) == ("power", "off", "end of the run")


def test_a_supply_that_cannot_be_switched_off_at_the_end_is_bench_trouble(
    tmp_path: Path, make_driver: MakeDriver
) -> None:
    driver = make_driver([FLASH, START])
    drive_all(driver, [START])
    power = driver.bench.power
    assert isinstance(power, ObedientPower)
    power.gone = True
    driver.close()
    assert "could not be switched off" in driver.broken
    assert not driver.switched_off


def test_each_verdict_is_on_disk_as_soon_as_it_is_known(tmp_path: Path, make_driver: MakeDriver) -> None:
    driver = make_driver([FLASH])
    finding = judge_reading(Reading.of(31.0, 0.15, "s"), Limits(None, 30.0, "s"), "power on → first beacon")
    open_ = judge_reading(Reading(44.0, float("inf"), "s"), Limits(None, 30.0, "s"), "power on → first beacon")
    driver.book(CheckResult("t.py::test_a", "A.", ("flash",), ("air",), Verdict.FAIL, (finding, open_), "late"))
    moment: Moment = RunFolder(tmp_path).read_moments()[-1]
    assert (moment.source, moment.kind, moment.text("check")) == ("verdict", "fail", "t.py::test_a")
    readings = moment.data["readings"]
    assert isinstance(readings, list)
    assert [(r["low"], r["high"]) for r in readings if isinstance(r, dict)] == [  # type: ignore[index]
        (pytest.approx(30.85), pytest.approx(31.15)),
        (44.0, None),
    ]


def test_the_lower_bound_is_never_above_the_time_spent(tmp_path: Path, make_driver: MakeDriver) -> None:
    driver = make_driver([FLASH, START, FORM])
    drive_all(driver, [FORM])
    assert 0.0 < driver.lower_bound_s <= driver.unit_time_s


class Eye:
    """A person who books when they are asked to look, and for what they were asked for their word."""

    def __init__(self, timeline: Timeline) -> None:
        self._timeline = timeline

    def begin(self) -> None:
        self._timeline.add("eye", "looks")

    def end(self, begin_s: float, end_s: float) -> None:
        self._timeline.add("eye", "said", since_s=begin_s, until_s=end_s)


def test_a_person_looks_before_each_leg_and_gives_their_word_after_it(make_driver: MakeDriver) -> None:
    driver = make_driver([FLASH, START])
    timeline = driver.bench.timeline
    driver.bench = replace(driver.bench, camera=None, bench_lamp=None, eye=cast("LampByEye", Eye(timeline)))
    drive_all(driver, [START])
    told = [m for m in timeline.since() if m.source in ("eye", "leg", "stage") or m.is_("operator", "will be asked")]
    assert [(m.source, m.kind) for m in told] == [
        ("operator", "will be asked"),
        *[("eye", "looks"), ("leg", "begins"), ("leg", "ends"), ("eye", "said"), ("stage", "confirmed")] * 2,
    ]
    assert told[0].data == {"switches": 0, "legs": 2}
    said = [(m.number("since_s"), m.number("until_s")) for m in told if m.source == "eye" and m.kind == "said"]
    assert said == [(leg.begin_s, leg.end_s) for leg in driver.info.legs]
