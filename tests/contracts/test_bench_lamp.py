"""What every lamp of the bench's own must do: be dark when it is opened, and follow its orders, each booked with its doubt.

Held against the virtual scene's lamp by its picture, and, in the lab, against a line of a real USB serial port and one of a GPIO
chip of the kernel, by the requests that come at their other ends: what the kernel does to the line there is the outside check.
On a desk its camera sees it.
"""

import contextlib
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from support.desk import Desk, SeenLamp, place_of
from support.gpio_chip import GpioChip

from hil.core.clock import Clock
from hil.core.errors import InputError
from hil.core.timeline import Timeline
from hil.instruments.bench_lamp import BenchLamp
from hil.instruments.desk import open_lamp
from hil.instruments.line_lamp import GpioLamp, LineLamp
from hil.virtual.bench_switches import VirtualBenchLamp
from hil.virtual.lab.usb_serial import UsbSerialPort
from hil.virtual.world import ControlLine, WorldProcess

WAYS = {"lab": ("adapter", "gpio"), "virtual": ("virtual",), "desk": ("of the desk",)}
LIMIT_S = 10.0
LED = 2


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


def virtual_lamp(stack: contextlib.ExitStack, timeline: Timeline, folder: Path) -> Scene:
    truth = folder / "truth.jsonl"
    process = WorldProcess("scene", {"seed": 1, "truth_file": str(truth)})
    stack.callback(process.stop)
    line = ControlLine("bench lamp", process.port("control_port"))
    stack.callback(line.close)
    return Scene(VirtualBenchLamp(timeline, line), timeline, lambda: lit_in_truth(truth))


def adapter_lamp(stack: contextlib.ExitStack, timeline: Timeline, _folder: Path) -> Scene:
    port = stack.enter_context(contextlib.closing(UsbSerialPort("bench-lamp", bus=1)))
    lamp = stack.enter_context(contextlib.closing(LineLamp(timeline, port.port, "rts")))
    return Scene(lamp, timeline, lambda: bool(port.lines) and port.lines[-1][1])


def gpio_lamp(stack: contextlib.ExitStack, timeline: Timeline, _folder: Path) -> Scene:
    chip = stack.enter_context(contextlib.closing(GpioChip()))
    lamp = stack.enter_context(contextlib.closing(GpioLamp(timeline, chip.path, LED)))
    return Scene(lamp, timeline, lambda: bool(chip.lines >> LED & 1))


def desk_lamp(stack: contextlib.ExitStack, timeline: Timeline, folder: Path, desk: Desk) -> Scene:
    told = desk.named(desk.file.bench_lamp, "bench_lamp")
    lamp = stack.enter_context(contextlib.closing(open_lamp(timeline, told)))
    seen = SeenLamp(desk, stack, folder / "lamp")
    return Scene(lamp, timeline, lambda: seen.is_lit)


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Hold each test on every way to have a lamp that there is in its place."""
    if "way" in metafunc.fixturenames:
        metafunc.parametrize("way", WAYS[place_of(metafunc.config)])


@pytest.fixture
def scene(way: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Scene]:
    timeline = Timeline(Clock())
    with contextlib.ExitStack() as stack:
        if way == "of the desk":
            yield desk_lamp(stack, timeline, tmp_path, request.getfixturevalue("desk"))
        else:
            make = {"virtual": virtual_lamp, "adapter": adapter_lamp, "gpio": gpio_lamp}[way]
            yield make(stack, timeline, tmp_path)


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
