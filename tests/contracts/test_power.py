"""What every supply must do: switch when told, tell its state, and say so when it is gone.

Held alike against the virtual board's switch and, in the lab, against a supply that speaks SCPI over TCP, a relay on a line of a
real USB serial port with its contact read back, one on a line of a GPIO chip of the kernel by the reports that come at the
chip's other end, a port of the kernel's own USB hub, by what is plugged in there, and reset lines, which hold the unit instead of
switching, by the requests that come at the other end of a USB serial port. On a desk the unit's console tells whether it has a
supply.
"""

import contextlib
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from support.desk import THE_LABS_ALONE, Desk, DeskUnit, place_of, speaks
from support.gpio_chip import GpioChip
from support.scpi import Supply

from hil.core.clock import Clock
from hil.core.errors import BenchError, InputError
from hil.core.timeline import Timeline
from hil.instruments.console import Console, open_port
from hil.instruments.power import Power
from hil.instruments.power.hub_port import DEVICES, HubPortPower
from hil.instruments.power.relay import AdapterRelay, GpioRelay
from hil.instruments.power.reset_line import AdapterReset, ConsoleReset
from hil.instruments.power.scpi import ScpiPower
from hil.instruments.power.ways import open_power
from hil.virtual.bench_switches import VirtualPower
from hil.virtual.lab.usb_serial import UsbSerialPort
from hil.virtual.world import ControlLine, WorldProcess

WAYS = {
    "lab": ("scpi", "relay", "gpio", "hub port", "console reset", "adapter reset"),
    "virtual": ("switch",),
    "desk": ("of the desk",),
}
CANNOT_GO = "hub port"  # of it there is none in the lab: its hub is the machine's own
LIMIT_S = 10.0


@dataclass(frozen=True)
class Scene:
    """A supply; `is_on` is what the other end knows of it, `go` takes it away, and `tells_current` whether it can."""

    power: Power
    timeline: Timeline
    is_on: Callable[[], bool]
    go: Callable[[], object]
    tells_current: bool = False


def virtual_power(stack: contextlib.ExitStack, timeline: Timeline, folder: Path) -> Scene:
    truth = folder / "truth.jsonl"
    config = {"air_port": 1, "flash_file": str(folder / "flash.bin"), "address": "02:00:00:00:00:b2"}
    told = {"serial": "MV2-1", "label_key": "label key 1", "truth_file": str(truth)}
    board = WorldProcess("board", {**config, **told})
    stack.callback(board.stop)
    line = ControlLine("power", board.port("control_port"))
    stack.callback(line.close)

    def is_on() -> bool:
        switched = [told for told in truth.read_text(encoding="utf-8").splitlines() if '"what": "power"' in told]
        return bool(switched) and "true" in switched[-1]

    return Scene(VirtualPower(timeline, line), timeline, is_on, board.stop, tells_current=True)


def scpi_power(stack: contextlib.ExitStack, timeline: Timeline) -> Scene:
    supply = stack.enter_context(contextlib.closing(Supply()))
    power = stack.enter_context(contextlib.closing(ScpiPower(timeline, supply.port)))
    return Scene(power, timeline, lambda: supply.on, supply.unplug, tells_current=True)


class Relay:
    """A relay on RTS of an adapter, whose second contact leads to CD."""

    def __init__(self) -> None:
        """Plug the adapter in."""
        self.on, self._changed, self._over = False, threading.Event(), False
        self.adapter = UsbSerialPort("relay-1", bus=1, on_lines=self._lines)
        self._thread = threading.Thread(target=self._follow, daemon=True)
        self._thread.start()

    def _lines(self, _dtr: bool, rts: bool) -> None:
        self.on = rts
        self._changed.set()

    def _follow(self) -> None:
        """Have the contact follow: from a thread of its own, as the host takes it only once its port is open."""
        while self._changed.wait() and not self._over:
            self._changed.clear()
            with contextlib.suppress(OSError):  # unplugged
                self.adapter.assert_inputs(cd=self.on, dsr=False)

    def close(self) -> None:
        """Be gone."""
        self._over = True
        self._changed.set()
        self.adapter.close()


def relay_power(stack: contextlib.ExitStack, timeline: Timeline) -> Scene:
    relay = stack.enter_context(contextlib.closing(Relay()))
    made = AdapterRelay(timeline, relay.adapter.port, "rts", read_back="cd")
    power = stack.enter_context(contextlib.closing(made))
    return Scene(power, timeline, lambda: relay.on, relay.adapter.unplug)


LINE, CONTACT = 3, 5
CONTACT_OPEN = 1 << CONTACT  # pulled high: closed it leads to ground


def gpio_power(stack: contextlib.ExitStack, timeline: Timeline) -> Scene:
    """A relay that closes while its line is low, as many boards of relays do, and a contact to ground."""
    chip: GpioChip

    def follow(lines: int) -> None:
        chip.inputs = CONTACT_OPEN if lines >> LINE & 1 else 0

    chip = stack.enter_context(contextlib.closing(GpioChip(follow)))
    chip.inputs = CONTACT_OPEN
    made = GpioRelay(timeline, "cp2112_gpio", LINE, inverted=True, read_back=CONTACT, read_back_inverted=True)
    power = stack.enter_context(contextlib.closing(made))
    assert chip.lines == 1 << LINE, "the supply is off at first"
    return Scene(power, timeline, lambda: not chip.lines >> LINE & 1, chip.unplug)


def hub_port_power(stack: contextlib.ExitStack, timeline: Timeline) -> Scene:
    unit = stack.enter_context(contextlib.closing(UsbSerialPort("MV2-hub", bus=1)))
    assert unit.port.startswith("/dev/tty")
    (device,) = (told.parent.name for told in DEVICES.glob("*/serial") if told.read_text().strip() == "MV2-hub")
    bus, _, port = device.partition("-")
    power = HubPortPower(timeline, f"usb{bus}", int(port))
    stack.callback(lambda: unit.port)  # a device is taken off for good only where the host has taken it
    stack.callback(power.on, asked_by="end of the test")
    return Scene(power, timeline, (DEVICES / device).exists, unit.unplug)


def desk_power(stack: contextlib.ExitStack, timeline: Timeline, desk: Desk, folder: Path) -> Scene:
    with contextlib.ExitStack() as trying:
        unit = DeskUnit(desk, trying, folder)
        console = unit.console(timeline, folder / "console.raw")
        console.open()  # while the unit has its supply: some adapters have theirs from it
        stack.callback(console.close)
    power = stack.enter_context(contextlib.closing(open_power(timeline, unit.supply, desk.file.slot, console)))
    stack.callback(power.off, asked_by="end of the test")
    return Scene(power, timeline, lambda: speaks(timeline), lambda: None)


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Hold each test on every way to switch a supply that there is in its place."""
    if "way" in metafunc.fixturenames:
        ways = WAYS[place_of(metafunc.config)]
        if metafunc.function is test_one_that_is_gone_says_so:
            ways = tuple(way for way in ways if way != CANNOT_GO)
        metafunc.parametrize("way", ways)


def console_reset(stack: contextlib.ExitStack, timeline: Timeline, folder: Path) -> Scene:
    """The console's own port: RTS holds the unit."""
    unit = stack.enter_context(contextlib.closing(UsbSerialPort("MV2-reset", bus=1)))
    console = stack.enter_context(contextlib.closing(Console(unit.port, timeline, folder / "console.raw")))
    console.open()
    power = stack.enter_context(contextlib.closing(ConsoleReset(timeline, console)))
    return Scene(power, timeline, lambda: not unit.lines[-1][1], unit.unplug)


def adapter_reset(stack: contextlib.ExitStack, timeline: Timeline, _folder: Path) -> Scene:
    adapter = stack.enter_context(contextlib.closing(UsbSerialPort("reset-1", bus=1)))
    power = stack.enter_context(contextlib.closing(AdapterReset(timeline, adapter.port, "dtr")))
    return Scene(power, timeline, lambda: not adapter.lines[-1][0], adapter.unplug)


@pytest.fixture
def scene(way: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Scene]:
    timeline = Timeline(Clock())
    with contextlib.ExitStack() as stack:
        placed = {"switch": virtual_power, "console reset": console_reset, "adapter reset": adapter_reset}
        made = {"scpi": scpi_power, "relay": relay_power, "gpio": gpio_power, "hub port": hub_port_power}
        if way == "of the desk":
            yield desk_power(stack, timeline, request.getfixturevalue("desk"), tmp_path)
        elif way in placed:
            yield placed[way](stack, timeline, tmp_path)
        else:
            yield made[way](stack, timeline)


def wait_on(scene: Scene, on: bool) -> None:
    """Wait until the other end knows."""
    until_s = time.monotonic() + LIMIT_S
    while scene.is_on() != on:
        assert time.monotonic() < until_s, f"not {'on' if on else 'off'} within {LIMIT_S:g} s"
        time.sleep(0.01)  # no other end tells by itself


@pytest.mark.daily
def test_it_switches_and_tells_its_state(scene: Scene) -> None:
    on = scene.power.on(asked_by="leg")
    assert scene.power.read_back()
    wait_on(scene, True)
    off = scene.power.off(asked_by="leg")
    assert not scene.power.read_back()
    wait_on(scene, False)
    scene.power.on(asked_by="leg")
    wait_on(scene, True)
    first, second = (m for m in scene.timeline.since() if m.is_("power", "state"))
    assert on.time_s < first.time_s < off.time_s < second.time_s
    if scene.tells_current:
        assert first.number("current_ma", 0.0) > 10.0 * second.number("current_ma", 1.0)
    assert max(m.doubt_s for m in scene.timeline.since()) < 1.0


@pytest.mark.beyond_desk("nobody unplugs the supply")
def test_one_that_is_gone_says_so(scene: Scene) -> None:
    scene.power.on(asked_by="leg")
    scene.go()
    with pytest.raises(BenchError):
        read_on(scene.power)


def read_on(power: Power) -> None:
    """Read it until it raises: the kernel takes a little to notice."""
    until_s = time.monotonic() + LIMIT_S
    while time.monotonic() < until_s:
        power.read_back()
        time.sleep(0.01)


@THE_LABS_ALONE
def test_a_gpio_line_is_named_that_can_be_had(tmp_path: Path) -> None:
    """A chip of that label, a line that it has, and one that nobody holds: else the message names what there is."""
    timeline = Timeline(Clock())
    with contextlib.closing(GpioChip()) as chip, contextlib.closing(GpioRelay(timeline, chip.path, LINE)) as relay:
        with pytest.raises(
            BenchError, match=rf"line {LINE} of cp2112_gpio cannot be had: hil holds it\. Name a free one"
        ):
            GpioRelay(timeline, chip.path, LINE)
        with pytest.raises(InputError, match=r"power\.gpio\.line = 8: cp2112_gpio has no such line\. They are 0 to 7"):
            GpioRelay(timeline, chip.path, 8)
        with pytest.raises(InputError, match=r"power\.gpio\.read_back = 'RELAY': cp2112_gpio has no such line"):
            GpioRelay(timeline, chip.path, 0, read_back="RELAY")
        with pytest.raises(InputError, match=rf"chip = 'pinctrl'.* There are: {chip.path} \(cp2112_gpio\)"):
            GpioRelay(timeline, "pinctrl", 0)
        with contextlib.closing(GpioChip()) as twin, pytest.raises(InputError, match=rf"{twin.path} bear that label"):
            GpioRelay(timeline, "cp2112_gpio", 0)
        assert relay.on(asked_by="leg").is_("power", "on")
        assert chip.lines == 1 << LINE


HELD, LET_GO = (False, True), (False, False)  # DTR, RTS


@THE_LABS_ALONE
def test_a_unit_stays_in_reset_while_its_port_changes_hands(tmp_path: Path) -> None:
    """As the flasher needs it: off, the console closed, on; then off, the console open again, with nothing in between."""
    timeline = Timeline(Clock())
    with contextlib.closing(UsbSerialPort("MV2-hands", bus=1)) as unit:
        console = Console(unit.port, timeline, tmp_path / "console.raw")
        with contextlib.closing(console), contextlib.closing(ConsoleReset(timeline, console)) as power:
            console.open()
            power.off(asked_by="leg")
            held = wait_lines(unit, HELD)
            console.close()
            assert not power.read_back()
            power.on(asked_by="leg")
            wait_lines(unit, LET_GO)
            assert unit.lines[held] == LET_GO, "closing the console left the lines alone"
            open_port(unit.port, 115200).close()  # it is free
            power.off(asked_by="leg")
            held = wait_lines(unit, HELD)
            console.open()
            assert not power.read_back()
            power.on(asked_by="leg")
            wait_lines(unit, LET_GO)
            assert unit.lines[held] == LET_GO, "opening the console left the lines alone"
    assert all(m.data["in_reset"] is True for m in timeline.since() if m.source == "power")


def wait_lines(unit: UsbSerialPort, last: tuple[bool, bool]) -> int:
    """Wait until the lines are so; how many changes had come by then."""
    until_s = time.monotonic() + LIMIT_S
    while not unit.lines or unit.lines[-1] != last:
        assert time.monotonic() < until_s, f"the lines (DTR, RTS) are not {last} within {LIMIT_S:g} s: {unit.lines}"
        time.sleep(0.01)  # the port tells of none by itself
    return len(unit.lines)
