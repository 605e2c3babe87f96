"""What `ci/measure suite` keeps, drives again and says; the runs themselves are stood in for.

The bound after no failure in n is 1 - 0.05^(1/n) (Hanley and Lippman-Hand, JAMA 249, 1983, 1743); the rest follows from what the
command promises (common practice, no source).
"""

import sys
from collections.abc import Callable
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from types import ModuleType

import pytest
from support.runs import Ended

from hil.legs.leg import DECLARED, LegCall

SCRIPT = Path(__file__).parents[2] / "ci" / "measure_suite.py"
Run = Callable[..., int]


@pytest.fixture
def suite() -> ModuleType:
    """The script, as a module."""
    spec = spec_from_file_location("measure_suite", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    sys.modules["measure_suite"] = module
    spec.loader.exec_module(module)
    return module


class Bench:
    """Stands for the command: what each seed and each challenge comes to; notes what was run."""

    def __init__(self) -> None:
        """Everything passes."""
        self.codes: dict[int, int] = {}
        self.seeds: list[int] = []
        self.challenges: list[tuple[str, ...]] = []
        self.challenge_code = 0

    def hil(self, command: str, *arguments: str, cwd: Path, limit_s: float) -> Ended:
        """In place of a process."""
        assert limit_s > 0
        if command == "challenge":
            self.challenges.append(arguments)
            if "--reports" in arguments:
                (cwd / arguments[1] / "challenge-1").mkdir(parents=True)
            return Ended(self.challenge_code, "begins\n\nunit expected\n2 of 2 known-bad units caught", "", cwd)
        bench = (cwd / "bench.toml").read_text(encoding="utf-8")
        seed = int(bench.partition("seed = ")[2].split()[0])
        self.seeds.append(seed)
        return Ended(self.codes.get(seed, 0), "1 fail", "", cwd / "reports")


@pytest.fixture
def bench(suite: ModuleType, monkeypatch: pytest.MonkeyPatch) -> Bench:
    """In place of all runs."""
    made = Bench()
    monkeypatch.setattr(suite, "hil", made.hil)
    monkeypatch.setattr(suite, "tool_revision", lambda: "1")
    return made


@pytest.fixture
def measure(suite: ModuleType, bench: Bench, tmp_path: Path) -> Run:
    """Measure quick runs into one folder; the exit code."""

    def run(quick: int, known_bad: str = "none") -> int:
        options = ["--quick-runs", str(quick), "--release-runs", "0", "--known-bad", known_bad, "--into", str(tmp_path)]
        code: int = suite.main(suite.parser().parse_args(options))
        return code

    assert bench.seeds == []
    return run


def test_what_was_measured_is_not_driven_again(
    measure: Run, bench: Bench, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert measure(3) == 0
    assert sorted(bench.seeds) == [2001, 2002, 2003]
    assert measure(5) == 0
    assert sorted(bench.seeds) == [2001, 2002, 2003, 2004, 2005]
    assert "0 of 5 failed: true rate below 45.1 %" in capsys.readouterr().out  # 1 - 0.05 ** (1 / 5) = 0.4507
    assert [path.name for path in tmp_path.iterdir()] == ["golden.jsonl"]


def test_a_run_that_came_to_none_is_driven_again(
    measure: Run, bench: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    bench.codes[2002] = 130
    assert measure(2) == 3
    assert "1 of 2 came to no run" in capsys.readouterr().out
    bench.codes.clear()
    assert measure(2) == 0
    assert sorted(bench.seeds) == [2001, 2002, 2002]


def test_an_alarm_is_told_with_its_words_and_its_run_is_left(
    measure: Run, bench: Bench, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    bench.codes |= {2001: 1, 2003: 3}
    assert measure(3) == 1
    said = capsys.readouterr().out
    assert "quick, seed 2001, exit code 1:\n1 fail" in said
    assert "false alarms: 1 of 2 failed" in said
    assert "1 undecided" in said
    assert {path.name for path in tmp_path.iterdir()} == {"golden.jsonl", "quick-2001", "quick-2003"}


def test_what_another_tool_measured_does_not_count(
    suite: ModuleType, measure: Run, bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert measure(1) == 0
    monkeypatch.setattr(suite, "tool_revision", lambda: "2")
    assert measure(1) == 0
    assert bench.seeds == [2001, 2001]


def test_benches_of_two_seeds_are_drawn_alike_each_time(suite: ModuleType, bench: Bench, tmp_path: Path) -> None:
    drawn = []
    for seed in (1, 2, 1):
        suite.drive(tmp_path / "run", "quick", seed)
        drawn.append((tmp_path / "run" / "bench.toml").read_text(encoding="utf-8"))
    assert drawn[0] == drawn[2] != drawn[1]
    assert bench.seeds == [1, 2, 1]


def test_known_bad_units_are_taken_up_where_they_stopped(
    measure: Run, bench: Bench, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    bench.challenge_code = 130
    assert measure(0, known_bad="1/20") == 130
    bench.challenge_code = 0
    assert measure(0, known_bad="1/20") == 0
    first, second = bench.challenges
    assert first == ("--reports", "known-bad-1-of-20", "--part", "1/20", "--jobs", "2")
    assert second == ("--resume", str(tmp_path / "known-bad-1-of-20" / "challenge-1"), "--jobs", "2")
    assert "2 of 2 known-bad units caught" in capsys.readouterr().out


def test_the_saving_is_told_as_so_many_times(suite: ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    saving = suite.Saving(checks=172, unit_s=1000.0, bound="940 s", alone_s=8200.0, judged_s=12.5)
    good = suite.Golden("1", "release", 3001, 0, "", saving)
    assert suite.say_golden("release", [good], 1) == 0
    said = capsys.readouterr().out
    assert "1000 s of unit time, lower bound 940 s; the same 172 checks" in said
    assert "8200 s, 8.2 times as long" in said
    slow = suite.Golden("1", "release", 3001, 0, "", suite.Saving(172, 1000.0, "940 s", 3999.0, 12.5))
    assert suite.say_golden("release", [slow], 1) == 1


def test_a_check_alone_sets_up_for_itself_by_bridges_that_no_check_is_on(suite: ModuleType) -> None:
    """Flash, first start, form, unplug, and the leg itself: five legs, where nothing but the last is wanted."""
    names = ("build_flashed", "first_start", "form_saved", "unplugged", "saved_network_absent")
    calls = {name: LegCall(DECLARED[name]) for name in names}
    took_s = dict.fromkeys(names, 10.0)
    wanted = [calls["saved_network_absent"]]
    assert suite._alone_s(wanted, calls, took_s) == 50.0
    with pytest.raises(SystemExit, match="no route leads to saved_network_absent alone"):
        suite._alone_s(wanted, {name: call for name, call in calls.items() if name != "unplugged"}, took_s)
