"""Which earlier runs beside a run are found: made here, folder by folder."""

from pathlib import Path

import pytest

from hil.core.earlier_runs import passed_before
from hil.core.run_folder import RunFolder, RunInfo


def run_of(reports: Path, name: str, hour: int, **changes: object) -> RunInfo:
    """A run that passed, but for what is changed."""
    info = RunInfo(
        name, f"2026-03-14T{hour:02d}:00:00+00:00", "0.1.0", [], False, verdict="pass", complete=True,
        facts={"product": {"file": "mossgate.toml"}},
    )  # fmt: skip
    for key, value in changes.items():
        setattr(info, key, value)
    RunFolder(reports / name).make().write_info(info)
    return info


def found(reports: Path, info: RunInfo) -> list[str]:
    return [run.path.name for run, _ in passed_before(reports / info.sheet_number, info)]


def test_newest_first_by_when_they_began_and_none_that_came_later(tmp_path: Path) -> None:
    for name, hour in (("c", 7), ("a", 9), ("b", 8), ("later", 11)):
        run_of(tmp_path, name, hour)
    assert found(tmp_path, run_of(tmp_path, "this", 10, verdict="fail")) == ["a", "b", "c"]


def test_hours_of_other_zones_are_compared_as_times(tmp_path: Path) -> None:
    """RFC 3339, 5.1: 11:30 at +02:00 is 09:30 at +00:00."""
    run_of(tmp_path, "east", 0, began="2026-03-14T11:30:00+02:00")
    assert found(tmp_path, run_of(tmp_path, "this", 10)) == ["east"]


@pytest.mark.parametrize(
    "changes",
    [
        {"verdict": "fail"},
        {"verdict": "unjudged"},
        {"verdict": ""},
        {"profile": "quick"},
        {"facts": {"product": {"file": "other.toml"}}},
        {"facts": {}},
    ],
)
def test_runs_that_did_not_pass_or_are_of_something_else_are_left_out(
    tmp_path: Path, changes: dict[str, object]
) -> None:
    run_of(tmp_path, "other", 8, **changes)
    assert found(tmp_path, run_of(tmp_path, "this", 10)) == []


def test_what_is_no_run_is_passed_over(tmp_path: Path) -> None:
    run_of(tmp_path, "good", 8)
    (tmp_path / "README.md").write_text("no run", encoding="utf-8")
    (tmp_path / "torn").mkdir()
    (tmp_path / "torn" / "run.json").write_text('{"legs": [', encoding="utf-8")
    assert found(tmp_path, run_of(tmp_path, "this", 10)) == ["good"]


def test_a_run_of_before_verdicts_were_written_is_read_as_one_without(tmp_path: Path) -> None:
    info = run_of(tmp_path, "old", 8)
    file = tmp_path / "old" / "run.json"
    file.write_text(file.read_text(encoding="utf-8").replace(' "verdict": "pass",\n', ""), encoding="utf-8")
    assert RunFolder(tmp_path / "old").read_info().verdict == ""
    assert info.verdict == "pass"


def test_a_folder_that_is_gone_has_nobody_beside_it(tmp_path: Path) -> None:
    info = RunInfo("gone", "2026-03-14T10:00:00+00:00", "0.1.0", [], False)
    assert passed_before(tmp_path / "nowhere" / "gone", info) == []
