"""Holds the console's two rates against the kernel's own pseudo-terminal, which tells the rate its other side was set to."""

import os
import pty
import termios
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from hil.core.clock import Clock
from hil.core.timeline import Timeline
from hil.instruments.console import Console

ROM, PROGRAM = 57600, 115200
LIMIT_S = 20.0


@pytest.fixture
def terminal() -> Iterator[tuple[int, str]]:
    """Our end of a pseudo-terminal, and the path of the other."""
    ours, theirs = pty.openpty()
    yield ours, os.ttyname(theirs)
    os.close(ours)
    os.close(theirs)


def rate_of(terminal: int) -> int:
    """The rate the port is set to, in bauds."""
    code = termios.tcgetattr(terminal)[4]
    return {termios.B57600: ROM, termios.B115200: PROGRAM}[code]


def await_rate(terminal: int, rate: int) -> bool:
    """Wait until the port is set to a rate."""
    waited = threading.Event()
    for _ in range(int(LIMIT_S / 0.02)):
        if rate_of(terminal) == rate:
            return True
        waited.wait(0.02)
    return False


def test_the_port_listens_at_the_roms_rate_after_a_start(terminal: tuple[int, str], tmp_path: Path) -> None:
    ours, path = terminal
    timeline = Timeline(Clock())
    console = Console(path, timeline, tmp_path / "raw", baud=PROGRAM, rom_baud=ROM, rom_speaks_s=1.5)
    console.open()
    assert rate_of(ours) == PROGRAM
    timeline.add("power", "on", asked_by="leg")
    assert await_rate(ours, ROM)
    assert await_rate(ours, PROGRAM)
    console.close()


def test_one_rate_is_never_changed(terminal: tuple[int, str], tmp_path: Path) -> None:
    ours, path = terminal
    timeline = Timeline(Clock())
    console = Console(path, timeline, tmp_path / "raw", baud=ROM)
    console.open()
    timeline.add("power", "on", asked_by="leg")
    os.write(ours, b"hello\n")
    assert timeline.wait(lambda m: m.is_("console", "line"), limit_s=LIMIT_S, awaited="the line", since=0)
    assert rate_of(ours) == ROM
    console.close()
