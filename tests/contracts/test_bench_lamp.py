"""What every lamp of the bench's own must do: be dark when it is opened, and follow its orders, each booked with its doubt.

Held against the virtual scene's lamp by its picture, and, in the lab, against a line of a real USB serial port by the requests
that come at the other end: what the kernel does to the line there is the outside check. On a desk its camera sees it.
"""

import contextlib
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from support.desk import Desk, SeenLamp

from hil.core.clock import Clock
from hil.core.errors import InputError
from hil.core.timeline import Timeline
from hil.instruments.bench_lamp import BenchLamp
from hil.instruments.line_lamp import LineLamp
from hil.virtual.bench_switches import VirtualBenchLamp
from hil.virtual.lab.usb_serial import UsbSerialPort
from hil.virtual.world import ControlLine, WorldProcess

LIMIT_S = 10.0


@dataclass(frozen=True)
class Scene:
    """A lamp; `is_lit` is what the other end knows of it."""

    lamp: BenchLamp
    timeline: Timeline
    is_lit: Callable[[], bool]

    def wait_lit(self, lit: bool) -> None:
        """Wait until the other end knows."""
        until_s = time.monotonic() + LIMIT_S
        while self.is_lit() != lit:
            assert time.monotonic() < until_s, f"not {'lit' if lit else 'dark'} within {LIMIT_S:g} s"
            time.sleep(0.01)  # neither other end tells by itself


def lit_in_truth(truth: Path) -> bool:
    changes = [line for line in truth.read_text(encoding="utf-8").splitlines() if '"bench"' in line]
    return bool(changes) and "255" in changes[-1]


@pytest.fixture
def scene(place: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Scene]:
    timeline, truth = Timeline(Clock()), tmp_path / "truth.jsonl"
    with contextlib.ExitStack() as stack:
        if place == "virtual":
            process = WorldProcess("scene", {"seed": 1, "truth_file": str(truth)})
            stack.callback(process.stop)
            line = ControlLine("bench lamp", process.port("control_port"))
            stack.callback(line.close)
            yield Scene(VirtualBenchLamp(timeline, line), timeline, lambda: lit_in_truth(truth))
            return
        if place == "desk":
            desk: Desk = request.getfixturevalue("desk")
            told = desk.named(desk.file.bench_lamp, "bench_lamp")
            lamp = LineLamp(timeline, told.port, told.line)
            stack.callback(lamp.close)
            seen = SeenLamp(desk, stack, tmp_path / "lamp")
            yield Scene(lamp, timeline, lambda: seen.is_lit)
            return
        port = UsbSerialPort("bench-lamp", bus=1)
        stack.callback(port.close)
        lamp = LineLamp(timeline, port.port, "rts")
        stack.callback(lamp.close)
        yield Scene(lamp, timeline, lambda: bool(port.lines) and port.lines[-1][1])


@pytest.mark.daily
def test_it_is_dark_at_first_and_follows_its_orders(scene: Scene) -> None:
    scene.wait_lit(False)
    for on in (True, False, True):
        scene.lamp.switch(on)
        scene.wait_lit(on)
        assert scene.lamp.is_on is on
    told = [m for m in scene.timeline.since() if m.is_("bench lamp", "switched")]
    assert [m.data["on"] for m in told] == [True, False, True]
    assert max(m.doubt_s for m in told) < 0.5


def test_a_port_that_is_not_there_is_wrong_input() -> None:
    with pytest.raises(InputError, match=r"bench_lamp\.port = '/dev/no-such-port'"):
        LineLamp(Timeline(Clock()), "/dev/no-such-port", "dtr")
