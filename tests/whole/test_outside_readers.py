"""What a run leaves for other programs, read by those programs: junit.xml by junitparser, allure-results by Allure 3.

Allure comes by npm into a folder of its own; reading the results then needs no network. Both are held against the
verdicts that the run itself wrote down, check by check, on a good run and on one altered so that some checks fail and
some are unjudged.
"""

import json
import os
import shutil
import subprocess
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import pytest
from junitparser import Error, Failure, JUnitXml, Skipped
from support.alterations import copy_run, drop, tighten
from support.runs import suite
from support.verdicts import read_outcomes, verdicts_of

NPM = shutil.which("npm")
ALLURE = "allure@3"
LIMIT_S = 300.0
needs_npm = pytest.mark.skipif(NPM is None and not os.environ.get("CI"), reason="npm is not installed")
KIND_OF = {Failure: "fail", Error: "not judged", Skipped: "not applicable"}
STATUS_OF = {"passed": "pass", "failed": "fail", "broken": "not judged", "skipped": "not applicable"}


@dataclass(frozen=True)
class Left:
    """What a run left, and its verdicts by its own record."""

    junit: Path
    allure: Path
    verdicts: dict[str, str]

    @property
    def totals(self) -> Counter[str]:
        """How many of each; to other programs, unjudged and not reached are one kind of error."""
        return Counter("not judged" if v in ("unjudged", "not reached") else v for v in self.verdicts.values())


@pytest.fixture(scope="module")
def good(good_run: Path) -> Left:
    """The good run as it was driven; its verdicts are the moments it booked."""
    lines = (good_run / "timeline.jsonl").read_text(encoding="utf-8").split("\n")
    moments = [json.loads(line) for line in lines if line]
    verdicts = {m["check"]: m["kind"] for m in moments if m["source"] == "verdict"}
    return Left(good_run / "junit.xml", good_run / "allure-results", verdicts)


@pytest.fixture(scope="module")
def mixed(quick_run: Path, tmp_path_factory: pytest.TempPathFactory) -> Left:
    """The same run without its camera, and under a limit it does not keep, judged again by plain pytest."""
    folder = tmp_path_factory.mktemp("mixed")
    run = copy_run(quick_run, folder / "run")
    drop(run, "camera")
    tighten(run, "hotspot_up_s", 5.0)
    results, into = folder / "allure-results", folder / "judged"
    suite("--hil-run", str(run), "--hil-into", str(into), "--alluredir", str(results), cwd=folder)
    left = Left(into / "junit.xml", results, verdicts_of(read_outcomes(into / "junit.xml")))
    assert left.verdicts["test_absent_network.py::test_hotspot_opens_in_time"] == "fail"
    assert left.verdicts["test_absent_network.py::test_lamp_order_into_setup"] == "unjudged"
    return left


@pytest.mark.parametrize("which", ["good", "mixed"])
def test_junitparser_reads_every_check_with_its_verdict(which: str, request: pytest.FixtureRequest) -> None:
    left: Left = request.getfixturevalue(which)
    seen: dict[str, str] = {}
    xml = JUnitXml.fromfile(str(left.junit))
    for suite_ in xml:
        for case in suite_:
            assert len(case.result) <= 1
            seen[case.name] = KIND_OF[type(case.result[0])] if case.result else "pass"
            assert all(result.message for result in case.result)
            assert case.time >= 0.0
    assert set(seen) == set(left.verdicts)
    assert Counter(seen.values()) == left.totals
    assert (xml.tests, xml.failures, xml.errors, xml.skipped) == (
        len(seen),
        left.totals["fail"],
        left.totals["not judged"],
        left.totals["not applicable"],
    )


@pytest.fixture(scope="module")
def allure(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Allure's command, installed by npm into a folder that is thrown away."""
    assert NPM is not None, "npm is wanted here: CI has it"
    folder = tmp_path_factory.mktemp("allure")
    install = [NPM, "install", "--no-audit", "--no-fund", "--ignore-scripts", "--loglevel=error", ALLURE]
    done = subprocess.run(install, cwd=folder, capture_output=True, text=True, timeout=LIMIT_S, check=False)
    if done.returncode and not os.environ.get("CI"):
        pytest.skip(f"npm could not install Allure: {done.stderr[-300:]}")
    assert done.returncode == 0, done.stderr
    return folder / "node_modules" / ".bin" / "allure"


@needs_npm
@pytest.mark.parametrize("which", ["good", "mixed"])
def test_allure_reads_every_check_with_its_verdict(
    which: str, allure: Path, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    left: Left = request.getfixturevalue(which)
    command = [str(allure), "generate", "-o", str(tmp_path / "report"), str(left.allure)]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=LIMIT_S, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    summary = json.loads((tmp_path / "report" / "summary.json").read_text(encoding="utf-8"))
    stats = {status: count for status, count in summary["stats"].items() if status in STATUS_OF and count}
    assert summary["stats"]["total"] == len(left.verdicts)
    assert Counter({STATUS_OF[status]: count for status, count in stats.items()}) == left.totals
