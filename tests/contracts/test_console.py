"""What every console must do with a unit's port: lose nothing, leave the unit alone when it opens, reset it when told.

Held alike against the virtual board's port (RFC 2217) and, in the lab, against a real USB serial port whose other end is a
test's: what the kernel does to the control lines there is the outside check. On a desk the unit itself is there, which tells when
it starts.
"""

import contextlib
import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

import pytest
from support.desk import DeskUnit

from hil.core.clock import Clock
from hil.core.timeline import Expired, Timeline
from hil.instruments.console import RESET_REAL_S, Console
from hil.virtual.bench_air import AirThread
from hil.virtual.board.serial_port import SerialPort, pins_of
from hil.virtual.lab.usb_serial import UsbSerialPort

LIMIT_S = 30.0
OPENINGS, STARTS_S = 5, 1.0  # within which a chip that was reset says its first line
SAID = b"".join(b"line %d \xff\xfe: \xe2\x98\x98 and some more of it\r\n" % number for number in range(150))

pytestmark = pytest.mark.filterwarnings("ignore:set(Daemon|Name)\\(\\) is deprecated:DeprecationWarning")


class FarPort(Protocol):
    """The unit's end.

    `held` are the changes of its reset pin, with their times (monotonic); `loader_calls` how often it was let go of with
    the boot pin low: that pin is looked at then, and at no other time.
    """

    held: list[tuple[bool, float]]
    loader_calls: int

    @property
    def port(self) -> str:
        """How the host names it."""

    def say(self, octets: bytes) -> None:
        """Send to the host."""

    def close(self) -> None:
        """Be gone."""


class _Pins:
    """What a board with the usual circuit of two transistors sees of the lines."""

    def __init__(self) -> None:
        self.held: list[tuple[bool, float]] = []
        self.loader_calls = 0

    def see(self, reset: bool, boot: bool) -> None:
        """Take the pins as they are now."""
        if reset != (self.held[-1][0] if self.held else False):
            self.held.append((reset, time.monotonic()))
            self.loader_calls += boot and not reset


class VirtualFarPort(_Pins):
    """The virtual board's adapter."""

    def __init__(self) -> None:
        super().__init__()
        self._loop = AirThread()
        self._serial = SerialPort(lambda _octets: None, self.see)
        self.port = f"rfc2217://127.0.0.1:{self._loop.run(self._serial.open())}"

    def say(self, octets: bytes) -> None:
        self._loop.loop.call_soon_threadsafe(self._serial.write, octets)

    def close(self) -> None:
        self._loop.loop.call_soon_threadsafe(self._serial.close)
        self._loop.close()


class LabFarPort(_Pins):
    """A USB device."""

    def __init__(self) -> None:
        super().__init__()
        self._usb = UsbSerialPort(f"MV2-{os.getpid()}", on_lines=lambda dtr, rts: self.see(*pins_of(dtr=dtr, rts=rts)))
        self.port = self._usb.port

    def say(self, octets: bytes) -> None:
        self._usb.say(octets)

    def close(self) -> None:
        self._usb.close()


@pytest.fixture
def far(place: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[FarPort | DeskUnit]:
    with contextlib.ExitStack() as stack:
        if place == "desk":
            yield DeskUnit(request.getfixturevalue("desk"), stack, tmp_path)
            return
        made = VirtualFarPort() if place == "virtual" else LabFarPort()
        stack.callback(made.close)
        yield made


@pytest.fixture
def timeline() -> Timeline:
    return Timeline(Clock())


@pytest.fixture
def console(far: FarPort | DeskUnit, timeline: Timeline, tmp_path: Path) -> Iterator[Console]:
    raw_file = tmp_path / "console.raw"
    made = far.console(timeline, raw_file) if isinstance(far, DeskUnit) else Console(far.port, timeline, raw_file)
    made.open()
    with contextlib.closing(made):
        yield made


def wait_lines(timeline: Timeline, count: int) -> list[str]:
    """The texts of so many lines."""
    texts: list[str] = []

    def enough(moment: object) -> bool:
        texts[:] = [m.text("text") for m in timeline.since() if m.is_("console", "line")]
        return len(texts) >= count

    assert not isinstance(timeline.wait(enough, limit_s=LIMIT_S, awaited=f"{count} lines", since=0), Expired), texts
    return texts


@pytest.mark.beyond_desk("a unit says what it likes: nobody knows its octets beforehand")
def test_every_octet_arrives_once_and_in_order(
    console: Console, far: FarPort, timeline: Timeline, tmp_path: Path
) -> None:
    far.say(SAID)
    texts = wait_lines(timeline, 150)
    assert texts == [line.decode("utf-8", "backslashreplace") for line in SAID.split(b"\r\n")[:-1]]
    assert (tmp_path / "console.raw").read_bytes() == SAID


@pytest.mark.daily
def test_opening_neither_resets_the_unit_nor_calls_its_loader(
    console: Console, far: FarPort | DeskUnit, timeline: Timeline
) -> None:
    if isinstance(far, DeskUnit):  # one that was reset, or is in its loader, starts with the line of its ROM
        for _ in range(OPENINGS):
            assert far.started(timeline, STARTS_S) is None
            console.close()
            console.open()
        assert far.started(timeline, STARTS_S) is None
        return
    far.say(b"still here\n")
    assert wait_lines(timeline, 1) == ["still here"]
    assert far.held == []
    assert far.loader_calls == 0


def test_a_reset_is_felt_as_booked(console: Console, far: FarPort | DeskUnit, timeline: Timeline) -> None:
    console.reset("test")
    released = next(m for m in timeline.since() if m.is_("console", "reset line released"))
    if isinstance(far, DeskUnit):
        started_s = far.started(timeline, STARTS_S)
        assert started_s is not None
        assert started_s > released.time_s - released.doubt_s
        return
    far.say(b"after\n")
    wait_lines(timeline, 1)
    (held, held_s), (let_go, let_go_s) = far.held
    assert (held, let_go, far.loader_calls) == (True, False, 0)
    assert let_go_s - held_s == pytest.approx(RESET_REAL_S + 0.03, abs=0.06)  # a line change takes RFC 2217 some 50 ms
    assert abs(released.time_s - timeline.clock.at(let_go_s)) <= released.doubt_s + 0.01  # its own way to the test
