"""A desk without a camera: `hil accept` asks a person at a terminal what the unit's lamp shows, over the lab's radios and port.

The person is a typist who reads what the run records: presses a key at each stage that the unit's console tells, and answers.
"""

import fcntl
import os
import pty
import re
import subprocess
import sys
import termios
import threading
from pathlib import Path

import pytest
from support.desk import THE_LABS_ALONE
from support.verdicts import read_outcomes

from hil.core.moments import Moment
from hil.core.product import load_product
from hil.virtual import DEMO_PRODUCT
from hil.virtual.lab import bench as lab

pytestmark = [THE_LABS_ALONE, pytest.mark.beyond_desk("a person looks there, whom no test can be")]

ACCEPT = "from hil.cli.main import main; main()"
LIMIT_S, LOOKS_S, PRESSES_S = 500.0, 0.1, 0.6


def take_terminal(own: int) -> None:
    """Make it that of this session, which has none."""
    fcntl.ioctl(own, termios.TIOCSCTTY, 0)


class Typist:
    """Follows a run's timeline, and types."""

    def __init__(self, reports: Path, terminal: int) -> None:
        self._reports, self._terminal = reports, terminal
        self._told = load_product(DEMO_PRODUCT).console.stages
        self._keys: dict[str, str] = {}
        self._shown = "dark"
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._follow)
        self._thread.start()

    def _follow(self) -> None:
        read = 0
        while not self._ended.wait(LOOKS_S):
            for file in self._reports.glob("*/timeline.jsonl"):
                lines = file.read_text(encoding="utf-8").splitlines(keepends=True)
                whole = [line for line in lines[read:] if line.endswith("\n")]
                read += len(whole)
                for line in whole:
                    self._see(Moment.from_line(line))

    def _see(self, moment: Moment) -> None:
        if moment.is_("lamp by eye", "keys"):
            rows = [row.split("  ") for row in moment.text("text").splitlines()]
            self._keys = {told.partition(":")[0]: key for key, told in rows}
        elif moment.is_("operator", "asked"):
            self._type("y" if moment.text("what").endswith("y or n") else self._keys[self._shown])
        elif moment.is_("power", "off"):
            self._look("dark")
        elif moment.is_("console", "line"):
            shown = [stage for stage, text in self._told.items() if re.search(text, moment.text("text"))]
            for stage in shown:
                self._look(stage)

    def _look(self, stage: str) -> None:
        self._shown = stage
        self._type(self._keys.get(stage, ""))

    def _type(self, keys: str) -> None:
        self._ended.wait(PRESSES_S)
        os.write(self._terminal, keys.encode())

    def close(self) -> None:
        """Go home."""
        self._ended.set()
        self._thread.join()


def test_a_person_tells_the_order_of_stages(tmp_path: Path) -> None:
    bench = tmp_path / "bench.toml"
    given = Path(lab.__file__).with_name("lab_bench.toml").read_text(encoding="utf-8")
    bench.write_text(f"{given}\n[lamp_camera.operator]\nlimit_s = 60\n", encoding="utf-8")
    person, own = pty.openpty()
    typist = Typist(tmp_path / "reports", person)
    words = [sys.executable, "-W", "ignore", "-c", ACCEPT, "accept", "--bench", str(bench), "--leg", "first_start"]
    ended = subprocess.run(
        words, cwd=tmp_path, start_new_session=True, preexec_fn=lambda: take_terminal(own), pass_fds=[own],
        stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=LIMIT_S, check=False,
    )  # fmt: skip
    typist.close()
    assert ended.returncode in (0, 3), ended.stdout + ended.stderr  # what is timed finer than a finger may stay open
    assert re.search(r"You will be asked in \d legs to look at its lamp", ended.stdout), ended.stdout
    (junit,) = (tmp_path / "reports").glob("*/junit.xml")
    order = read_outcomes(junit)["test_start.py::test_lamp_order_on_first_start"]
    assert order.verdict == "pass", (order, ended.stdout)
