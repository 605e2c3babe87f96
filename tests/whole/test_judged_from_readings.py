"""Judging again from kept readings agrees with judging by the evidence, check by check, on the recorded release run.

Each product file is given to both, in processes of their own; a check that the readings leave undecided may be anything by
the evidence, and only what the changed promise bears on may be left so.
"""

import re
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

import pytest
from support.alterations import copy_run
from support.runs import hil
from support.verdicts import Judged, judge

from hil.cli.judged_again import read_kept
from hil.core.product import load_product
from hil.core.run_folder import RunFolder
from hil.core.verdicts import Verdict
from hil.judge.again import NewPromises

AT_ONCE = 2
# What is written in place of a limit, by its key; nothing takes the promise away.
CHANGES: dict[str, dict[str, str]] = {
    "none": {},
    "tighter": {
        "first_hotspot_s": "{ upper = 2.0 }",
        "beacon_gap_s": "{ upper = 0.2 }",
        "first_octet_s": "{ upper = 0.1 }",
    },
    "looser": {"hotspot_up_s": "{ upper = 90.0 }", "gives_up_s": "{ lower = 1.0, upper = 80.0 }"},
    "not sooner": {"lease_s": "{ lower = 4.0 }", "returns_s": "{ lower = 0.1, upper = 24.0 }"},
    "of many starts": {"connected_s": "{ upper = 2.0 }"},
    "two taken away": {"lease_s": "", "joining_s": ""},
}
Pair = tuple[Judged, Judged, int]


@pytest.fixture(scope="module")
def kept(good_run: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The good run, judged once, so that its readings are of the suite as it is."""
    run = copy_run(good_run, tmp_path_factory.mktemp("kept") / "run")
    judge(run, run / "judged")
    return run


@pytest.fixture(scope="module")
def by_evidence(kept: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[str], tuple[Judged, Path]]]:
    """Judge it by its evidence under each product file, two at once; with the file."""
    folder = tmp_path_factory.mktemp("by evidence")
    with ThreadPoolExecutor(AT_ONCE) as pool:
        files = {name: changed_file(kept, folder / f"{name}.toml", changes) for name, changes in CHANGES.items()}
        judged: dict[str, Future[Judged]] = {
            name: pool.submit(judge, kept, folder / name, "--product", str(file)) for name, file in files.items()
        }
        yield lambda name: (judged[name].result(), files[name])


def changed_file(run: Path, file: Path, changes: dict[str, str]) -> Path:
    """The run's product file with some limits changed."""
    text = RunFolder(run).product_file.read_text(encoding="utf-8")
    for key, new in changes.items():
        text, count = re.subn(rf"(?m)^{key} = .*$", f"{key} = {new}" if new else "", text)
        assert count == 1, f"{key} is {count} times in the product file"
    file.write_text(text, encoding="utf-8")
    return file


@pytest.mark.parametrize("name", CHANGES)
def test_it_agrees_check_by_check(name: str, kept: Path, by_evidence: Callable[[str], tuple[Judged, Path]]) -> None:
    judged, file = by_evidence(name)
    again = NewPromises(load_product(file)).judge(read_kept(kept))
    found = {check.name: str(check.after) for check in again.checks if check.after is not None}
    assert found == {check: verdict for check, verdict in judged.verdicts.items() if check in found}
    assert {check.name for check in again.checks} == judged.verdicts.keys()
    if again.after is not None:
        assert {Verdict.PASS: 0, Verdict.FAIL: 1, Verdict.UNJUDGED: 3}[again.after] == judged.code


def undecided(name: str, kept: Path, by_evidence: Callable[[str], tuple[Judged, Path]]) -> dict[str, str]:
    """Which checks the readings leave open, and why."""
    again = NewPromises(load_product(by_evidence(name)[1])).judge(read_kept(kept))
    return {check.name: check.why for check in again.undecided}


@pytest.mark.parametrize("name", ["none", "tighter", "not sooner"])
def test_limits_alone_leave_nothing_open(
    name: str, kept: Path, by_evidence: Callable[[str], tuple[Judged, Path]]
) -> None:
    assert undecided(name, kept, by_evidence) == {}


def test_a_limit_read_for_something_else_leaves_those_checks_open(
    kept: Path, by_evidence: Callable[[str], tuple[Judged, Path]]
) -> None:
    left = undecided("of many starts", kept, by_evidence)
    assert "test_networks_odd.py::test_connected_in_time_with_late_lease" in {check.partition("[")[0] for check in left}
    assert set(left.values()) == {"the check reads limits.connected_s.upper itself, which changed"}


def test_a_promise_taken_away_leaves_its_checks_open(
    kept: Path, by_evidence: Callable[[str], tuple[Judged, Path]]
) -> None:
    left = undecided("two taken away", kept, by_evidence)
    assert set(left.values()) <= {
        f"the check reads {key} itself, which changed" for key in ("limits.lease_s", "limits.joining_s")
    }
    assert "test_start.py::test_hotspot_lease_in_time" in left


def test_some_changes_fail_the_unit(by_evidence: Callable[[str], tuple[Judged, Path]]) -> None:
    """The control of this experiment: changed limits do change verdicts."""
    passed = by_evidence("none")[0].verdicts
    for name in ("tighter", "not sooner", "of many starts"):
        verdicts = by_evidence(name)[0].verdicts
        assert "fail" in {verdict for check, verdict in verdicts.items() if passed[check] == "pass"}, name


def test_the_command_says_what_changes(
    kept: Path, by_evidence: Callable[[str], tuple[Judged, Path]], tmp_path: Path
) -> None:
    _, file = by_evidence("tighter")
    ended = hil("judge", str(kept), str(kept), "--from-readings", "--product", str(file), cwd=tmp_path)
    assert ended.code == 1, ended.out + ended.err
    assert (
        ended.out.count("test_start.py::test_first_hotspot_in_time: pass → fail: power on → first beacon (≤ 2 s): ")
        == 2
    )
    assert not (tmp_path / "judged").exists()


def test_without_kept_readings_it_is_wrong_input(good_run: Path, tmp_path: Path) -> None:
    run = copy_run(good_run, tmp_path / "run")
    (run / "readings.json").unlink(missing_ok=True)
    product = str(RunFolder(run).product_file)
    ended = hil("judge", str(run), "--from-readings", "--product", product, cwd=tmp_path)
    assert (ended.code, "Traceback" in ended.err) == (2, False)
    assert "hil judge RUN" in ended.err
    (run / "readings.json").write_text('{"run": 3}', encoding="utf-8")
    assert hil("judge", str(run), "--from-readings", "--product", product, cwd=tmp_path).code == 2


@pytest.mark.parametrize("options", [[], ["--product", "p.toml", "-k", "x"], ["--product", "p.toml", "--into", "x"]])
def test_it_takes_a_product_file_and_no_part(options: list[str], tmp_path: Path) -> None:
    ended = hil("judge", "somewhere", "--from-readings", *options, cwd=tmp_path)
    assert ended.code == 2
    assert "--from-readings" in ended.err
