"""A finding accepted by name, through the whole command: judged by the day the run began, and said on the sheet.

On the good run with one answer altered: port 8080, which refused, is open.
"""

import json
from datetime import date, timedelta
from pathlib import Path

import pytest
from support.alterations import copy_run
from support.verdicts import judge

from hil.core.accepted import day_of
from hil.core.run_folder import RunFolder

CHECK = "test_openness.py::test_no_other_port_open_when_connected"
GIVEN = '\n[accepted.{name}]\nuntil = {until}\nreason = "pilot series"\nby = "N. N."\n'
SELECTED = ("-k", "test_no_other_port_open_when_connected")


@pytest.fixture(scope="module")
def leaky_run(good_run: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The good run, with port 8080 open when connected."""
    run = copy_run(good_run, tmp_path_factory.mktemp("leaky") / "run")
    folder = RunFolder(run)
    leg = next(leg for leg in folder.read_info().legs if leg.name == "open_when_connected")
    changed, lines = 0, []
    for line in folder.timeline.read_text(encoding="utf-8").splitlines():
        moment = json.loads(line)
        if (
            moment.get("purpose") == "port 8080"
            and moment["source"] == "pages"
            and leg.begin_s <= moment["t"] <= leg.end_s
        ):
            moment["kind"], changed = "hung up", changed + 1
        lines.append(json.dumps(moment, ensure_ascii=False) + "\n")
    assert changed == 1
    folder.timeline.write_text("".join(lines), encoding="utf-8")
    return run


def product_file(run: Path, folder: Path, name: str, until: date) -> Path:
    """The run's product file, with a finding accepted."""
    file = folder / "product.toml"
    text = RunFolder(run).product_file.read_text(encoding="utf-8")
    file.write_text(text + GIVEN.format(name=name, until=until.isoformat()), encoding="utf-8")
    return file


def began(run: Path) -> date:
    """The day on which a run began."""
    day = day_of(RunFolder(run).read_info().began)
    assert day is not None
    return day


def test_what_nobody_accepts_fails(leaky_run: Path, tmp_path: Path) -> None:
    judged = judge(leaky_run, tmp_path / "out", *SELECTED)
    assert (judged.code, judged.verdicts[CHECK]) == (1, "fail")
    assert "TCP port 8080 is open, against ETSI EN 303 645" in judged.outcomes[CHECK].reason


def test_accepted_up_to_the_day_of_the_run_it_passes_and_says_so(leaky_run: Path, tmp_path: Path) -> None:
    file = product_file(leaky_run, tmp_path, "open_port_8080", began(leaky_run))
    judged = judge(leaky_run, tmp_path / "out", *SELECTED, "--product", str(file))
    assert judged.verdicts[CHECK] == "pass"
    said = f"accepted until {began(leaky_run)} by N. N.: pilot series"
    assert said in (tmp_path / "out" / "sheet.html").read_text(encoding="utf-8")
    assert f"open_port_8080: TCP port 8080 is open; {said}" in judged.ended.out


@pytest.mark.parametrize("name", ["open_port_8080", "open_port_8081"])
def test_expired_or_of_another_name_it_fails(name: str, leaky_run: Path, tmp_path: Path) -> None:
    late = name == "open_port_8081"
    until = began(leaky_run) + timedelta(days=30 if late else -1)
    file = product_file(leaky_run, tmp_path, name, until)
    judged = judge(leaky_run, tmp_path / "out", *SELECTED, "--product", str(file))
    assert (judged.code, judged.verdicts[CHECK]) == (1, "fail")
    assert (f"accepted by N. N. until {until} only" in judged.outcomes[CHECK].reason) is not late


def test_a_finding_of_no_name_is_wrong_input(leaky_run: Path, tmp_path: Path) -> None:
    file = product_file(leaky_run, tmp_path, "open_door", began(leaky_run))
    judged = judge(leaky_run, tmp_path / "out", *SELECTED, "--product", str(file))
    assert judged.code == 2
    assert "no finding is called 'open_door'" in judged.said
