"""A run of the command as a process that tests watch, signal and kill, and the processes it leaves."""

import contextlib
import json
import os
import select
import signal
import subprocess
import sys
import time
import uuid
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import TypeVar

from support.runs import Ended

LIMIT_S = 120.0
POLL_S = 0.01
MARK = "HIL_TEST_RUN"  # inherited by what the runner starts; firmware has an environment of its own, but its folder

Line = Mapping[str, object]
Found = TypeVar("Found")


class LiveRun:
    """`hil accept` in a session and process group of its own, as a shell would start it."""

    def __init__(self, cwd: Path, *arguments: str, environment: Mapping[str, str] | None = None) -> None:
        """Start it in `cwd`; what it prints goes to files there."""
        self.cwd = cwd
        self._token = uuid.uuid4().hex
        self._out, self._err = cwd / "out.txt", cwd / "err.txt"
        command = [sys.executable, "-W", "ignore", "-c", "from hil.cli.main import main; main()", "accept", *arguments]
        with self._out.open("wb") as out, self._err.open("wb") as err:
            self.process = subprocess.Popen(
                command,
                cwd=cwd,
                env={**os.environ, **(environment or {}), MARK: self._token},
                stdout=out,
                stderr=err,
                start_new_session=True,
            )

    def wait_folder(self) -> Path:
        """Wait until the run has its folder with a record."""
        return self._wait(lambda: next(iter(sorted((self.cwd / "reports").glob("*/run.json"))), None)).parent

    def wait_moment(self, source: str, kind: str, **data: object) -> Line:
        """Wait until the timeline on disk holds such a moment."""
        timeline = self.wait_folder() / "timeline.jsonl"
        return self._wait(lambda: next((m for m in lines_of(timeline) if fits(m, source, kind, data)), None))

    def wait_file(self, name: str) -> Path:
        """Wait until the run's folder holds a file."""
        return self._wait(lambda: next(iter(self.cwd.glob(f"reports/*/{name}")), None))

    def _wait(self, look: Callable[[], Found | None]) -> Found:
        limit_s = time.monotonic() + LIMIT_S
        while time.monotonic() < limit_s:
            ended = self.process.poll() is not None
            if (found := look()) is not None:
                return found
            assert not ended, f"the run ended too early:\n{self._said()}"
            time.sleep(POLL_S)  # a file of another process: nothing to wait on but its growth
        raise AssertionError(f"not seen within {LIMIT_S} s:\n{self._said()}")

    def signal_group(self, number: signal.Signals) -> None:
        """Signal the process group, as a terminal does."""
        os.killpg(self.process.pid, number)

    def wait_end(self, limit_s: float) -> bool:
        """Let the run go on for a while; True where it ended by itself meanwhile."""
        with contextlib.suppress(subprocess.TimeoutExpired):
            self.process.wait(limit_s)
        return self.process.returncode is not None

    def end(self, limit_s: float = LIMIT_S) -> Ended:
        """Wait for the runner's end."""
        code = self.process.wait(limit_s)
        return Ended(code, self._out.read_text(), self._err.read_text(), self.cwd / "reports")

    def _said(self) -> str:
        return self._out.read_text() + self._err.read_text()

    def processes(self) -> list[int]:
        """Every process that carries the run's mark, or stands in a folder below the run's."""
        return [int(entry.name) for entry in Path("/proc").iterdir() if entry.name.isdigit() and self._is_ours(entry)]

    def _is_ours(self, process: Path) -> bool:
        with contextlib.suppress(OSError):  # gone meanwhile
            marked = f"{MARK}={self._token}".encode() in (process / "environ").read_bytes()
            return marked or (process / "cwd").resolve().is_relative_to(self.cwd)
        return False

    def wait_gone(self, limit_s: float) -> list[str]:
        """Wait for the end of all its processes; returns the command lines of those left after the limit."""
        deadline_s = time.monotonic() + limit_s
        while (left := self.processes()) and time.monotonic() < deadline_s:
            for pid in left:
                _wait_end(pid, deadline_s - time.monotonic())
        return [_command_line(pid) for pid in left]

    def close(self) -> None:
        """Leave nothing behind, whatever the test came to."""
        for pid in self.processes():
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        self.process.wait(LIMIT_S)


def _wait_end(pid: int, limit_s: float) -> None:
    with contextlib.suppress(OSError):  # gone meanwhile
        handle = os.pidfd_open(pid)
        try:
            select.select([handle], [], [], max(limit_s, 0.0))
        finally:
            os.close(handle)


def _command_line(pid: int) -> str:
    with contextlib.suppress(OSError):
        return Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ").decode(errors="replace")
    return ""


def lines_of(timeline: Path) -> Iterator[Line]:
    """The whole lines of a timeline that is being written."""
    if timeline.exists():
        for line in timeline.read_text(encoding="utf-8").splitlines():
            with contextlib.suppress(ValueError):
                yield json.loads(line)


def fits(line: Line, source: str, kind: str, data: Mapping[str, object]) -> bool:
    """Whether a line of the timeline is such a moment."""
    return line["source"] == source and line["kind"] == kind and all(line.get(k) == v for k, v in data.items())
