"""Verdicts of a run, check by check, as its junit.xml tells them; and which witnesses each shipped check names."""

import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree as ET

from support.runs import Ended, hil

LIMIT_S = 60.0
LIST_CHECKS = """
import json, sys
import pytest
from hil_fixtures.wanted import name_of, witnesses_of

class List:
    def pytest_collection_finish(self, session):
        named = {name_of(item): witnesses_of(item) for item in session.items}
        open(sys.argv[1], "w").write(json.dumps(named))

options = ["--collect-only", "-q", "-c", "/dev/null", "--rootdir", ".", "-p", "no:cacheprovider"]
sys.exit(pytest.main([*options, "--hil-profile", "release", "--pyargs", "hil_acceptance"], plugins=[List()]))
"""


@dataclass(frozen=True)
class Outcome:
    """A check's verdict, why it is no pass, and the leg it rests on."""

    verdict: str
    reason: str
    leg: str


Outcomes = dict[str, Outcome]


def read_outcomes(junit: Path) -> Outcomes:
    """Read every check of a junit.xml."""
    return {case.get("name", ""): _outcome(case) for case in ET.parse(junit).iter("testcase")}


def _outcome(case: ET.Element) -> Outcome:
    end = next(iter(case), None)
    verdict, reason = ("pass", "") if end is None else (end.get("type", ""), end.get("message", ""))
    return Outcome(verdict, reason, case.get("classname", ""))


def read_property(junit: Path, name: str) -> str:
    """Read a property of a junit.xml: `verdict` or `partial`."""
    return next(p.get("value", "") for p in ET.parse(junit).iter("property") if p.get("name") == name)


def verdicts_of(outcomes: Outcomes) -> dict[str, str]:
    """The verdicts alone."""
    return {name: outcome.verdict for name, outcome in outcomes.items()}


@dataclass(frozen=True)
class Judged:
    """How judging a recorded run ended; no outcomes where nothing was judged."""

    ended: Ended
    outcomes: Outcomes
    junit: Path

    @property
    def code(self) -> int:
        """The exit code."""
        return self.ended.code

    @property
    def said(self) -> str:
        """All that was printed."""
        return self.ended.out + self.ended.err

    @property
    def verdicts(self) -> dict[str, str]:
        """Verdict by check."""
        return verdicts_of(self.outcomes)


def judge(run: Path, into: Path, *arguments: str, environment: dict[str, str] | None = None) -> Judged:
    """Run `hil judge` on a folder; the sheet goes into another."""
    into.mkdir(parents=True, exist_ok=True)
    ended = hil("judge", str(run), "--into", str(into), *arguments, cwd=into, environment=environment)
    assert "Traceback" not in ended.out + ended.err, f"{ended.out}{ended.err}"
    junit = into / "junit.xml"
    return Judged(ended, read_outcomes(junit) if junit.exists() else {}, junit)


def witnesses_by_check(folder: Path) -> dict[str, frozenset[str]]:
    """Collect the shipped suite as pytest does, and tell the witnesses each check names; `folder` takes a file."""
    listed = folder / "checks.json"
    command = [sys.executable, "-W", "ignore", "-c", LIST_CHECKS, str(listed)]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=LIMIT_S, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    named: dict[str, list[str]] = json.loads(listed.read_text(encoding="utf-8"))
    return {check: frozenset(witnesses) for check, witnesses in named.items()}
