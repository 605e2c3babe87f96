"""Whole runs for tests: the command in a process of its own."""

import os
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from hil.core.run_folder import RunFolder
from hil.core.verdicts import EXIT_CODES, Verdict
from support.warm import run_warm

LIMIT_S = 240.0
TRIES = 3


@dataclass(frozen=True)
class Ended:
    """How a command ended."""

    code: int
    out: str
    err: str
    reports: Path

    @property
    def folder(self) -> Path:
        """The one run folder it left."""
        folders = [path for path in self.reports.iterdir() if (path / "run.json").exists()]
        assert len(folders) == 1, f"{len(folders)} run folders in {self.reports}: {self.out}{self.err}"
        return folders[0]


@dataclass(frozen=True)
class Printed:
    """A recorded run, and what the command printed of it."""

    folder: Path
    out: str


def hil(*arguments: str, cwd: Path, environment: Mapping[str, str] | None = None, limit_s: float = LIMIT_S) -> Ended:
    """Run `hil …` in a folder; its runs land in `reports` there."""
    code, out, err = run_warm(arguments, cwd, {**os.environ, **(environment or {})}, limit_s)
    return Ended(code, out.decode(), err.decode(), cwd / "reports")


def undisturbed(
    *arguments: str, cwd: Path, environment: Mapping[str, str] | None = None, limit_s: float = LIMIT_S
) -> Ended:
    """Run `hil accept …` until no leg had to be driven again, as it is where a witness slept on a host too busy; or the last."""
    for number in range(1, TRIES + 1):
        folder = cwd / f"try-{number}"
        folder.mkdir()
        ended = hil("accept", *arguments, cwd=folder, environment=environment, limit_s=limit_s)
        if all(leg.take == 1 for leg in RunFolder(ended.folder).read_info().legs):
            break
    return ended


def accept(*options: str, cwd: Path, environment: Mapping[str, str] | None = None, limit_s: float = LIMIT_S) -> Ended:
    """Judge a unit; once more where that stays undecided, as it is where a witness slept on a host too busy."""
    ended = hil("accept", *options, cwd=cwd, environment=environment, limit_s=limit_s)
    if ended.code != EXIT_CODES[Verdict.UNJUDGED]:
        return ended
    again = cwd / "again"
    again.mkdir()
    return hil("accept", *options, cwd=again, environment=environment, limit_s=limit_s)


def suite(*arguments: str, cwd: Path, environment: Mapping[str, str] | None = None) -> Ended:
    """Run plain pytest over the shipped suite in a folder."""
    return plain_pytest("--pyargs", "hil_acceptance", *arguments, cwd=cwd, environment=environment)


def plain_pytest(*arguments: str, cwd: Path, environment: Mapping[str, str] | None = None) -> Ended:
    """Run plain pytest in a folder, without our own configuration."""
    command = [sys.executable, "-W", "ignore", "-m", "pytest", "-c", "/dev/null", "--rootdir", str(cwd)]
    done = subprocess.run(
        [*command, *arguments],
        cwd=cwd,
        env={**os.environ, **(environment or {})},
        capture_output=True,
        text=True,
        timeout=LIMIT_S,
        check=False,
    )
    return Ended(done.returncode, done.stdout, done.stderr, cwd / "reports")
