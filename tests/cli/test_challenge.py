"""`hil challenge`: what is driven, series that are interrupted and taken up again, the table; and one pair of units for real.

What must come out follows from the meaning of a signature alone (common practice, no source). The checks that signatures
name are held against the suite as pytest collects it.
"""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from threading import Event

import pytest
from support.runs import hil
from typer.testing import CliRunner, Result

from hil.cli import challenge
from hil.cli.challenge import part_of, repeated
from hil.cli.challenge_folder import Asked, SeriesFolder, tool_revision
from hil.cli.challenge_plan import Plan, SuiteCheck, legs_for, plan_of
from hil.cli.challenge_table import COLUMNS, never_caught_lines, sum_lines, table
from hil.cli.challenged_unit import GOOD_UNIT, KnownUnit, known_units
from hil.cli.main import app
from hil.core.errors import BenchError, InputError
from hil.core.verdicts import Verdict
from hil.judge.challenged import Challenged, Driven
from hil.judge.signature import Difference, ExpectedVerdict, Kind, SeenReading, SeenVerdict, differences
from hil.virtual.patches import Patch, load_patch, patch_names

LATE = "test_a.py::test_late"
FINE = "test_a.py::test_fine"
CHECKS = (
    SuiteCheck(LATE, "It is late", ("start",)),
    SuiteCheck(FINE, "It is fine", ("start",)),
    SuiteCheck("test_b.py::test_key[long]", "A key", ("wrong_key[long]",)),
    SuiteCheck("test_b.py::test_key[short, odd]", "A key", ("wrong_key[short, odd]",)),
    SuiteCheck("test_c.py::test_two", "Two", ("start", "cut")),
)
SIGNATURE = (ExpectedVerdict(LATE, Verdict.FAIL, reading="above"),)
ABOVE = SeenReading("p", Verdict.FAIL, 13.18, 13.22, None, 12.0, "s")
ASLEEP = "order: camera asleep from 60.3 s to 62.7 s"
LIMIT_S = 10.0
DAY = "HIL_CHALLENGE_DAY"  # HIL_CHALLENGE_DAY=20782 ci/test tests/cli/test_challenge.py drives that day's units again
COLLECT = """
import json
from dataclasses import asdict
from hil_fixtures.wanted import legs_of
from hil.cli.challenge_plan import plan_of, suite_checks
from hil.cli.challenged_unit import known_units
from hil.cli.collected import collect
from hil.core.product import load_product
from hil.virtual import DEMO_PRODUCT
checks, product = suite_checks(), load_product(DEMO_PRODUCT)
leg_s = {c.id: c.leg.expected_s(product) for i in collect(["--hil-profile=release"]) for c in legs_of(i)}
plans = [plan_of(unit, checks, None, "quick", brief=True) for unit in known_units() if not unit.golden]
planned_s = {
    p.unit.name: p.unit.runs * sum(s for leg, s in leg_s.items() if {leg, leg.partition("[")[0]} & set(p.legs))
    for p in plans
}
print(json.dumps({"checks": [asdict(check) for check in checks], "planned_s": planned_s}))
"""


def came_to(unit: KnownUnit, *seen: SeenVerdict, verdict: Verdict) -> Challenged:
    """A unit whose run had these verdicts."""
    return Challenged(unit.name, unit.golden, verdict, unit.why, unit.expected, seen, differences(unit.expected, seen))


def late(*more: SeenVerdict, name: str = "late") -> Challenged:
    """A known-bad unit caught by its check, and what else its run said."""
    unit = KnownUnit(name, name, "It is late.", SIGNATURE, None)
    seen = SeenVerdict(LATE, Verdict.FAIL, "13.20 ± 0.02 s", (ABOVE,))
    return came_to(unit, seen, *(more or (SeenVerdict(FINE, Verdict.PASS),)), verdict=Verdict.FAIL)


GOOD = came_to(known_units([GOOD_UNIT])[0], SeenVerdict(FINE, Verdict.PASS), verdict=Verdict.PASS)


@pytest.mark.parametrize(
    ("expected", "further", "legs"),
    [
        ([LATE], (), ("start",)),
        (["test_b.py::*"], (), ("wrong_key[long]", "wrong_key[short, odd]")),
        (["test_b.py::test_key[long]"], ("cut", "start"), ("wrong_key[long]", "cut", "start")),
        (["test_c.py::test_two", FINE], ("cut",), ("start", "cut")),
        (["test_gone.py::test_it"], (), ()),
    ],
)
def test_the_legs_of_a_signature(expected: list[str], further: tuple[str, ...], legs: tuple[str, ...]) -> None:
    assert legs_for([ExpectedVerdict(check, Verdict.FAIL) for check in expected], further, CHECKS) == legs


def test_a_golden_unit_is_driven_over_a_profile_and_a_bad_one_over_its_legs() -> None:
    bad = KnownUnit("late", "late", "", SIGNATURE, 2.0, ("cut",))
    assert plan_of(bad, CHECKS, None, "quick") == Plan(bad, "release", ("start", "cut"), 2.0)
    good = known_units([GOOD_UNIT])[0]
    assert plan_of(good, CHECKS, 3.0, "quick") == Plan(good, "quick", (), 3.0)


def test_briefly_a_bad_one_is_driven_over_its_first_check_that_must_fail() -> None:
    signature = (
        ExpectedVerdict("test_b.py::*", Verdict.NOT_REACHED),
        ExpectedVerdict("test_c.py::test_two", Verdict.FAIL),
        ExpectedVerdict(FINE, Verdict.FAIL),
    )
    bad = KnownUnit("late", "late", "", signature, None)
    plan = plan_of(bad, CHECKS, None, "quick", brief=True)
    assert (plan.legs, plan.unit.expected) == (("start",), signature[2:])  # the suite's order, not the signature's
    both = plan_of(replace(bad, legs=("cut",)), CHECKS, None, "quick", brief=True)
    assert (both.legs, both.unit.expected) == (("start", "cut"), signature[1:])
    good = known_units([GOOD_UNIT])[0]
    assert plan_of(good, CHECKS, None, "quick", brief=True) == plan_of(good, CHECKS, None, "quick")


def test_a_result_is_known_by_all_that_made_it() -> None:
    plan = Plan(KnownUnit("late", "late", "", SIGNATURE, None, (), "sum"), "release", ("start",), None)
    others = [
        replace(plan, unit=replace(plan.unit, patch_sha256="another")),
        replace(plan, unit=replace(plan.unit, expected=())),
        replace(plan, profile="quick"),
        replace(plan, legs=("start", "cut")),
        replace(plan, speed=2.0),
    ]
    keys = {plan.key("tool"), plan.key("another tool"), *(other.key("tool") for other in others)}
    assert len(keys) == 2 + len(others)
    assert plan.key("tool") == replace(plan).key("tool")


def test_the_tool_is_known_by_its_sources() -> None:
    assert tool_revision() == tool_revision()
    assert ", sources " in tool_revision()


@pytest.fixture
def folder(tmp_path: Path) -> SeriesFolder:
    """A series' folder, begun."""
    made = SeriesFolder(tmp_path / "challenge-1")
    made.begin(Asked("2026-11-25T14:17:18+00:00", ("late",), "1/1", 2.0, "release", 3))
    return made


def with_run(folder: SeriesFolder, unit: Challenged) -> Challenged:
    """A unit whose run lies in the folder."""
    run = folder.fresh(unit.name) / "run" / "1"
    run.mkdir(parents=True)
    (run / "run.json").write_text("{}", encoding="utf-8")
    return replace(unit, driven=Driven(run.relative_to(folder.path).as_posix(), "began", "ended", "sum", "tool", 2.0))


def test_what_was_asked_for_and_what_was_found_are_kept(folder: SeriesFolder) -> None:
    assert folder.read_asked() == Asked("2026-11-25T14:17:18+00:00", ("late",), "1/1", 2.0, "release", 3)
    units = (late(SeenVerdict(FINE, Verdict.UNJUDGED, ASLEEP)), GOOD)
    for unit in [with_run(folder, unit) for unit in units]:
        folder.keep(unit, "key")
        assert folder.kept(unit.name, "key") == unit


def test_a_result_that_is_torn_of_another_tool_or_without_its_run_is_none(folder: SeriesFolder) -> None:
    unit = with_run(folder, late())
    assert folder.kept("late", "key") is None
    folder.keep(unit, "key")
    assert folder.kept("late", "another key") is None
    file = folder.path / "results" / "late.json"
    whole = file.read_bytes()
    for torn in (b"", whole[: len(whole) // 2], b"[]", whole.replace(b'"fail"', b'"fails"')):
        file.write_bytes(torn)
        assert folder.kept("late", "key") is None
    file.write_bytes(whole)
    assert folder.kept("late", "key") == unit
    (folder.path / unit.driven.folder / "run.json").unlink()
    assert folder.kept("late", "key") is None


@pytest.mark.parametrize("content", [None, b"", b"{}", b'{"names": 7}'])
def test_what_is_no_series_is_wrong_input(content: bytes | None, tmp_path: Path) -> None:
    if content is not None:
        (tmp_path / "series.json").write_bytes(content)
    with pytest.raises(InputError, match=r"series\.json"):
        SeriesFolder(tmp_path).read_asked()


def test_a_folder_that_takes_nothing_is_the_benchs_failure(folder: SeriesFolder) -> None:
    (folder.path / "results").rmdir()
    with pytest.raises(BenchError, match="cannot be written"):
        folder.keep(late(), "key")


def test_a_folder_that_cannot_be_made_is_wrong_input(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(InputError, match="--reports"):
        SeriesFolder(tmp_path / "file" / "challenge").begin(Asked("", (), "1/1", None, "quick"))


def test_each_run_has_a_folder_of_its_own(folder: SeriesFolder) -> None:
    names = []
    for _ in range(3):
        names.append(folder.fresh("late").name)
        (folder.path / names[-1]).mkdir()
    assert names == ["late", "late-2", "late-3"]


class Runs:
    """Stands for units' runs: each comes to what a test says, by name; counts what was driven."""

    def __init__(self) -> None:
        """Nothing is driven yet; known-bad units are caught, good ones pass."""
        self.driven: list[str] = []
        self.options: dict[str, list[str]] = {}
        self.to: dict[str, Callable[[KnownUnit], Challenged]] = {}
        self.interrupted_in = ""

    def begin(self, unit: KnownUnit, folder: Path, options: Sequence[str], speed: float | None) -> "OneRun":
        """In place of a process."""
        self.driven.append(unit.name)
        self.options[unit.name] = list(options)
        (folder / "run" / "1").mkdir(parents=True)
        return OneRun(self, unit, folder)


class OneRun:
    """One of them."""

    def __init__(self, runs: Runs, unit: KnownUnit, folder: Path) -> None:
        """Begin."""
        self.runs, self.unit, self.folder = runs, unit, folder
        self.winding_up = Event()

    def interrupt(self) -> None:
        """Wind up."""
        assert not self.winding_up.is_set(), "interrupted twice"
        self.winding_up.set()

    def outcome(self) -> Challenged:
        """What the test says; or a person at the bench stops the series, and it ends as runs end then."""
        if self.runs.interrupted_in == self.unit.name:
            os.kill(os.getpid(), signal.SIGINT)
            assert self.winding_up.wait(LIMIT_S)
            return self.unit.without_run("exit code 130")
        came = self.runs.to.get(self.unit.name, as_should)(self.unit)
        run = self.folder / "run" / "1"
        (run / "run.json").write_text(
            '{"sheet_number": "1", "began": "", "tool_version": "", "wanted": [], "partial": false, "legs": []}'
        )
        return replace(came, driven=Driven(run.relative_to(self.folder.parent).as_posix()))


def as_should(unit: KnownUnit) -> Challenged:
    """Exactly what is expected of a unit."""
    if unit.golden:
        return came_to(unit, SeenVerdict(FINE, Verdict.PASS), verdict=Verdict.PASS)
    return replace(late(), name=unit.name)


@pytest.fixture
def runs(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Runs:
    """Units `good`, `late` and `later`, over a bench that costs no time."""
    made = Runs()
    bad = [KnownUnit(name, name, "It is late.", SIGNATURE, None, (), f"sum of {name}") for name in ("late", "later")]
    units = [*known_units([GOOD_UNIT]), *bad]

    def named(names: Sequence[str]) -> list[KnownUnit]:
        return [unit for unit in units if not names or unit.name in names]

    monkeypatch.setattr(challenge, "UnitRun", made.begin)
    monkeypatch.setattr(challenge, "known_units", named)
    monkeypatch.setattr(challenge, "suite_checks", lambda: CHECKS)
    monkeypatch.setattr(challenge, "tool_revision", lambda: "1")
    monkeypatch.chdir(tmp_path)
    return made


def challenged(*arguments: str) -> Result:
    """`hil challenge …`, one unit at a time."""
    return CliRunner().invoke(app, ["challenge", "--jobs", "1", *arguments])


def series() -> Path:
    """The one series' folder."""
    (found,) = Path("reports").iterdir()
    return found


def test_a_series_drives_each_unit_over_what_it_needs(runs: Runs) -> None:
    ended = challenged("--golden-runs", "2")
    assert ended.exit_code == 0, ended.output
    assert runs.driven == ["good", "good.2", "late", "later"]
    assert runs.options["good"] == ["--profile=quick"]
    assert runs.options["late"] == ["--profile=release", "--leg=start"]
    assert "2 of 2 known-bad units caught, 2 exactly" in ended.output
    assert "3 checks caught nothing" in ended.output  # all units were driven
    assert "AS EXPECTED" in (series() / "challenge.html").read_text(encoding="utf-8").upper()


def test_a_part_does_not_say_which_checks_never_caught(runs: Runs) -> None:
    for arguments in (("late",), ("--part", "1/2")):
        assert "caught nothing" not in challenged(*arguments).output


def test_an_interrupted_series_goes_on_where_it_stopped(runs: Runs) -> None:
    runs.interrupted_in = "late"
    ended = challenged("--profile", "release")
    assert ended.exit_code == 130
    assert f"hil challenge --resume {series()}" in ended.output
    assert "NOT COMPLETE" in (series() / "challenge.html").read_text(encoding="utf-8").upper()
    runs.interrupted_in = ""
    again = challenged("--resume", str(series()))
    assert again.exit_code == 0, again.output
    assert runs.driven == ["good", "late", "late", "later"]
    assert "1 of 3 units have their result already" in again.output
    assert challenged("--resume", str(series())).exit_code == 0
    assert len(runs.driven) == 4


def test_another_tool_drives_every_unit_anew(runs: Runs, monkeypatch: pytest.MonkeyPatch) -> None:
    assert challenged("late").exit_code == 0
    monkeypatch.setattr(challenge, "tool_revision", lambda: "2")
    assert challenged("--resume", str(series())).exit_code == 0
    assert runs.driven == ["late", "late"]
    assert {path.name for path in series().iterdir() if path.is_dir()} == {"results", "late", "late-2"}


def test_a_unit_whose_witnesses_slept_is_driven_once_more(runs: Runs) -> None:
    outcomes = [late(SeenVerdict(FINE, Verdict.UNJUDGED, ASLEEP)), late()]
    runs.to["late"] = lambda _unit: outcomes.pop(0)
    ended = challenged("late")
    assert (ended.exit_code, runs.driven) == (0, ["late", "late"])
    assert "exact, driven again" in ended.output


def passes_but(unit: KnownUnit) -> Challenged:
    """A run in which a fault that comes now and then did not come."""
    return came_to(unit, SeenVerdict(LATE, Verdict.PASS), SeenVerdict(FINE, Verdict.PASS), verdict=Verdict.PASS)


@pytest.fixture
def sometimes(runs: Runs, monkeypatch: pytest.MonkeyPatch) -> Runs:
    """One unit more, whose fault comes in some of three runs only."""
    unit = KnownUnit("odd", "odd", "It is late now and then.", SIGNATURE, None, (), "sum of odd", 3)
    monkeypatch.setattr(challenge, "known_units", lambda _names: [unit])
    return runs


def no_difference(one: Challenged) -> Challenged:
    """As its run is read where the fault comes now and then."""
    return replace(one, differences=differences(SIGNATURE, one.seen, sometimes=True))


def test_a_unit_whose_fault_comes_now_and_then_is_driven_as_often_as_it_says(sometimes: Runs) -> None:
    outcomes = [passes_but, as_should, passes_but]
    sometimes.to["odd"] = lambda unit: no_difference(outcomes.pop(0)(unit))
    ended = challenged("odd")
    assert (ended.exit_code, sometimes.driven) == (0, ["odd"] * 3), ended.output
    assert "(run 3 of 3)" in ended.output
    # scipy.stats.binomtest(1, 3).proportion_ci(): 0.0084 … 0.9057
    assert "caught in 1 of 3 runs: true rate 0.8 to 90.6 %" in " ".join(ended.output.split())
    assert "driven again" not in ended.output
    assert "not as expected" not in ended.output
    assert {path.name for path in series().iterdir() if path.is_dir()} == {"results", "odd", "odd-2", "odd-3"}
    again = challenged("--resume", str(series()))
    assert (again.exit_code, len(sometimes.driven)) == (0, 3), again.output


def test_a_fault_that_never_came_was_missed(sometimes: Runs) -> None:
    sometimes.to["odd"] = lambda unit: no_difference(passes_but(unit))
    ended = challenged("odd")
    assert ended.exit_code == 1
    text = " ".join(ended.output.split())
    assert f"missing: {LATE} came to a fail as stated in none of 3 runs" in text
    assert "caught in 0 of 3 runs: true rate 0.0 to 70.8 %" in text  # 1 - 0.025 ** (1 / 3) = 0.7076


def test_of_several_runs_the_others_wait_for_none_that_broke(sometimes: Runs) -> None:
    sometimes.to["odd"] = lambda unit: unit.without_run("exit code 3: no room on the disk")
    assert challenged("odd").exit_code == 1
    assert sometimes.driven == ["odd"]


def test_what_came_to_no_whole_run_is_driven_again_when_resumed(runs: Runs) -> None:
    runs.to["late"] = lambda unit: unit.without_run("exit code 3: no room on the disk")
    ended = challenged("late")
    assert ended.exit_code == 1
    assert "no whole run" in ended.output
    del runs.to["late"]
    assert challenged("--resume", str(series())).exit_code == 0


def test_a_signature_without_a_check_drives_nothing(runs: Runs, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(challenge, "suite_checks", lambda: CHECKS[2:4])
    ended = challenged("late")
    assert (ended.exit_code, runs.driven) == (1, [])
    assert "names no check of the suite" in ended.output


@pytest.mark.parametrize("more", [("late",), ("--part", "1/2"), ("--speed", "2"), ("--profile", "quick")])
def test_a_resumed_series_is_about_what_it_was(runs: Runs, more: tuple[str, ...]) -> None:
    challenged("late")
    ended = challenged("--resume", str(series()), *more)
    assert isinstance(ended.exception, InputError)


def test_the_table_is_exact_where_all_is_as_expected() -> None:
    assert [line.split() for line in table([late(), GOOD])][2:] == [
        ["late", "fail", "fail", "exact"],
        ["caught", "by", "late"],
        ["good", "pass", "pass", "exact"],
    ]
    assert list(sum_lines([late(), GOOD], 90.0)) == [
        "1 of 1 known-bad units caught, 1 exactly; 1.5 min.",
        "    1 caught as intended",
        "    0 missed in 1 known-bad runs: true rate below 95.0 % at 95 %",
        "1 of 1 golden units passed.",
        "    0 false alarms in 1 golden runs: true rate below 95.0 % at 95 %",
        "Of checks with no fault before them:",
        "    0 failed in 2 judged: true rate below 77.7 % at 95 %",  # 1 - 0.05 ** (1 / 2) = 0.7764
    ]


def test_the_table_names_every_deviation_within_its_width() -> None:
    long = tuple(Difference(Kind.EXTRA, FINE, "words " * 90) for _ in range(2))
    units = [
        replace(late(), seen=(late().seen[0],) * 12, differences=long),
        replace(GOOD, verdict=Verdict.UNJUDGED, differences=(Difference(Kind.EXTRA, FINE, "asleep"),), runs=2),
        replace(
            late(name="passes"), verdict=Verdict.PASS, seen=(), differences=(Difference(Kind.MISSING, LATE, LATE),)
        ),
        KnownUnit("broken", "broken", "", SIGNATURE, None).without_run("exit code 2: no such file"),
    ]
    lines = list(table(units))
    assert max(len(line) for line in (*lines, *sum_lines(units, 6.0))) <= COLUMNS
    rows = [line.split() for line in lines if not line.startswith(" ")][2:]
    assert rows == [
        ["late", "fail", "fail", "differs"],
        ["good", "pass", "unjudged", "differs,", "driven", "again"],
        ["passes", "fail", "pass", "differs"],
        ["broken", "fail", "none", "no", "whole", "run"],
    ]
    text = " ".join("\n".join(lines).split())
    assert all(f"≠ {what}" in text for what in ("extra:", "missing: " + LATE, "exit code 2: no such file"))
    sums = "\n".join(sum_lines(units, 6.0))
    assert "1 of 3 known-bad units caught, 0 exactly" in sums
    assert "1 missed: passes" in sums
    assert "1 no whole run: broken" in sums
    assert "0 of 1 golden units passed" in sums


def test_checks_that_never_caught_are_listed_within_the_width() -> None:
    names = [f"test_a.py::test_{'long' * 5}_{number}" for number in range(9)]
    lines = list(never_caught_lines([late()], [LATE, *names]))
    assert max(map(len, lines)) <= COLUMNS
    assert lines[1].startswith("9 checks caught nothing")
    assert list(never_caught_lines([late()], [LATE]))[1] == "Every check has caught something."


def test_what_a_unit_says_is_harmless_on_a_terminal() -> None:
    hostile = "\x1b[2J\x07\u202e"
    unit = replace(late(), name=hostile, trouble=hostile, differences=(Difference(Kind.EXTRA, FINE, hostile),))
    assert not set("".join([*table([unit]), *sum_lines([unit], 1.0)])) & set(hostile[:1] + hostile[4:])


Collected = tuple[tuple[SuiteCheck, ...], dict[str, float]]


@pytest.fixture(scope="module")
def collected() -> Collected:
    """The shipped suite as pytest collects it, and what is planned of known-bad units, in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", COLLECT], capture_output=True, text=True, check=True, timeout=60
    )
    found = json.loads(done.stdout.splitlines()[-1])
    checks = tuple(SuiteCheck(c["name"], c["title"], tuple(c["legs"])) for c in found["checks"])
    return checks, {str(name): float(value) for name, value in found["planned_s"].items()}


@pytest.fixture
def suite(collected: Collected) -> tuple[SuiteCheck, ...]:
    """Its checks."""
    return collected[0]


@pytest.fixture
def planned_s(collected: Collected) -> Mapping[str, float]:
    """How long the legs of each known-bad unit take that are driven of it briefly, unit seconds."""
    return collected[1]


@pytest.mark.parametrize("name", patch_names())
def test_signatures_name_checks_and_legs_that_exist(name: str, suite: tuple[SuiteCheck, ...]) -> None:
    patch: Patch = load_patch(name)
    assert len(suite) > 40
    expected = [ExpectedVerdict(e.check, Verdict(e.verdict), e.reading, e.says) for e in patch.expect]
    assert [e.check for e in expected if not any(e.means(check.name) for check in suite)] == []
    assert set(patch.legs) <= {name for check in suite for leg in check.legs for name in (leg, leg.partition("[")[0])}
    legs = set(legs_for(expected, patch.legs, suite))
    lost = [e.check for e in expected if not any(e.means(c.name) and set(c.legs) <= legs for c in suite)]
    assert not lost, "these checks would not be judged over the legs that are driven"


def test_golden_units_are_those_without_a_signature() -> None:
    assert [unit.name for unit in known_units() if unit.golden] == [GOOD_UNIT, "golden_just_inside"]
    assert all(any(e.verdict is Verdict.FAIL for e in u.expected) for u in known_units() if not u.golden)


def test_golden_units_are_repeated_under_names_of_their_own() -> None:
    units = repeated(known_units([GOOD_UNIT, "secret_in_page"]), 3)
    assert [(unit.name, unit.patch) for unit in units] == [
        ("good", None),
        ("good.2", None),
        ("good.3", None),
        ("secret_in_page", "secret_in_page"),
    ]


def test_each_part_has_other_units_and_all_have_all() -> None:
    units = known_units()
    parts = [part_of(units, f"{k}/3") for k in (1, 2, 3)]
    assert sorted(u.name for part in parts for u in part) == sorted(u.name for u in units)
    assert max(map(len, parts)) - min(map(len, parts)) <= 1


@pytest.mark.parametrize("part", ["0/2", "3/2", "1", "a/b", "1/0", "-1/2", ""])
def test_what_is_no_part_is_refused(part: str) -> None:
    with pytest.raises(InputError, match="is no part"):
        part_of(known_units(), part)


def test_a_unit_is_never_driven_faster_than_can_be_decided() -> None:
    slow = next(unit for unit in known_units() if unit.speed is not None)
    assert (slow.speed_for(None), slow.speed_for(100.0), slow.speed_for(0.5)) == (slow.speed, slow.speed, 0.5)
    good = known_units([GOOD_UNIT])[0]
    assert (good.speed_for(None), good.speed_for(3.0)) == (None, 3.0)


def test_an_unknown_unit_is_wrong_input(tmp_path: Path) -> None:
    ended = hil("challenge", "good", "no_such_unit", cwd=tmp_path)
    assert ended.code == 2
    assert "'no_such_unit' is not known" in ended.err
    assert "lamp_red_green_swapped" in ended.err
    assert not ended.reports.exists()


def test_a_unit_that_cannot_be_run_is_not_called_caught(tmp_path: Path) -> None:
    ended = hil("challenge", "secret_in_page", "--speed", "100", "--jobs", "1", cwd=tmp_path)
    assert ended.code == 1
    assert "no whole run" in ended.out
    assert "0 of 1 known-bad units caught" in ended.out


def parts_of_the_days(planned_s: Mapping[str, float]) -> list[tuple[str, str]]:
    """Two known-bad units for each day, until all had theirs: the longest with the quickest, and so inwards."""
    names = sorted(planned_s, key=lambda name: (planned_s[name], name))
    half = (len(names) + 1) // 2
    return [(names[-1 - at], names[at] if names[at] != names[-1 - at] else names[0]) for at in range(half)]


def test_every_unit_has_its_day() -> None:
    for number in (2, 3, 60, 61):
        planned_s = {f"unit_{at}": float(at % 7) for at in range(number)}
        parts = parts_of_the_days(planned_s)
        assert {name for part in parts for name in part} == set(planned_s)
        assert all(one != other for one, other in parts)
        assert len(parts) == (number + 1) // 2


def test_known_bad_units_of_the_day_are_caught_with_exactly_their_signatures(
    planned_s: Mapping[str, float], tmp_path: Path
) -> None:
    """Each day two others, briefly: day number of `DAY`, else days since 1 January 1970, over the parts, remainder."""
    day = int(os.environ.get(DAY) or time.time() // 86400)
    parts = parts_of_the_days(planned_s)
    units = parts[day % len(parts)]
    print(f"{DAY}={day}: {' and '.join(units)}; {len(parts)} days until all were driven")  # shown where it fails
    ended = hil("challenge", *units, "--brief", "--jobs", "1", cwd=tmp_path)
    assert ended.code == 0, f"{DAY}={day}\n{ended.out}{ended.err}"
    assert "2 of 2 known-bad units caught, 2 exactly" in ended.out
    assert max(len(line) for line in ended.out.splitlines() if "reports/" not in line) <= COLUMNS
    (folder,) = ended.reports.iterdir()
    for unit in units:
        records = [file for run in folder.glob(f"{unit}*") for file in run.glob("run/*/run.json")]
        assert len(records) >= load_patch(unit).runs
        assert all(json.loads(file.read_text(encoding="utf-8"))["partial"] for file in records)
    again = hil("challenge", "--resume", str(folder), cwd=tmp_path)
    assert again.code == 0, f"{again.out}{again.err}"
    assert "2 of 2 units have their result already" in again.out
