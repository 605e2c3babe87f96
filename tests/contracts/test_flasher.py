"""What every flasher must do: say who the chip is, put a build on it, and tell by reading back whether it is there.

Held alike over RFC 2217 to the virtual board's port and, in the lab, over a real USB serial port whose control lines reset the
chip into its loader. esptool is the library that speaks: the loader at the other end is held to it by the tests of the board.
On a desk the chip is the unit's: it must say the address of its label, and only the build of `--hil-build` is put on it.
"""

import contextlib
import socket
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from support.desk import Desk
from support.loader_board import ADDRESS, make_build

from hil.core.build import Build
from hil.core.clock import Clock
from hil.core.timeline import Timeline
from hil.instruments.console import Console
from hil.instruments.desk import flasher_of
from hil.instruments.flasher import Flasher
from hil.instruments.flasher.loader import LoaderFlasher
from hil.instruments.power.scpi import ScpiPower
from hil.instruments.power.ways import open_power
from hil.virtual.bench_switches import VirtualPower
from hil.virtual.world import ControlLine, WorldProcess

READY_S = 90.0  # the lab's processor is slow
UNIT = {"address": ADDRESS.hex(":"), "serial": "MV2-flash", "label_key": "label key 1"}


@dataclass(frozen=True)
class Scene:
    """A flasher, and a unit with its supply on, of a known address, and a build that may be put on it, if any."""

    flasher: Flasher
    build: Build | None
    address: bytes


def virtual_port(stack: contextlib.ExitStack, folder: Path) -> str:
    board = WorldProcess("board", {"air_port": 1, "flash_file": str(folder / "flash.bin"), **UNIT})
    stack.callback(board.stop)
    line = ControlLine("power", board.port("control_port"))
    stack.callback(line.close)
    VirtualPower(Timeline(Clock()), line).on(asked_by="test")
    return f"rfc2217://127.0.0.1:{board.port('serial_port')}"


def lab_port(stack: contextlib.ExitStack, folder: Path) -> str:
    scene = stack.enter_context(socket.create_server(("127.0.0.1", 0)))  # takes the lamp's orders, and shows none
    places = {"flash_file": str(folder / "flash.bin"), "truth_file": str(folder / "truth.jsonl")}
    told = {"radios": ["wlan5", "wlan6"], "scene_port": scene.getsockname()[1], "log_folder": str(folder / "unit")}
    unit = WorldProcess("lab.unit", {**UNIT, **places, **told}, ready_s=READY_S)
    stack.callback(unit.stop)
    power = ScpiPower(Timeline(Clock()), f"socket://127.0.0.1:{unit.port('supply_port')}")
    stack.callback(power.close)
    power.on(asked_by="test")
    return str(unit.ready["serial_port"])


def desk_scene(desk: Desk, stack: contextlib.ExitStack, folder: Path) -> Scene:
    supply = desk.named(desk.file.power, "power")
    if supply.operator is not None:
        pytest.skip("a person switches the supply: `hil bench check` asks them")
    port, label = desk.named(desk.file.console.port, "console.port"), desk.named(desk.file.unit, "unit")
    if supply.reset_line is None:  # else the unit has its supply always
        timeline = Timeline(Clock())
        power = open_power(timeline, supply, desk.file.slot, Console(port, timeline, folder / "console.raw"))
        stack.callback(power.close)
        stack.callback(power.off, asked_by="end of the test")
        power.on(asked_by="test")
    if desk.file.flasher.command is not None:
        pytest.skip("another program flashes: it asks no chip who it is, and reads nothing back")
    return Scene(flasher_of(port, desk.file.flasher), desk.build, bytes.fromhex(label.address.replace(":", "")))


@pytest.fixture
def scene(place: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Scene]:
    with contextlib.ExitStack() as stack:
        if place == "desk":
            yield desk_scene(request.getfixturevalue("desk"), stack, tmp_path)
            return
        port = (virtual_port if place == "virtual" else lab_port)(stack, tmp_path)
        yield Scene(LoaderFlasher(port, chip="esp32"), make_build(tmp_path), ADDRESS)


def test_the_chip_says_who_it_is(scene: Scene) -> None:
    identity = scene.flasher.identity()
    assert identity is not None
    assert identity.address == scene.address


@pytest.mark.daily
def test_a_build_is_put_on_and_read_back(scene: Scene, place: str) -> None:
    flasher, build = scene.flasher, scene.build
    if build is None:
        pytest.skip("it erases the unit: name the build that is to be on it, --hil-build FILE")
    with flasher.session():
        flasher.erase_all()
        assert not flasher.verify(build).matches
        check = flasher.write(build)
        assert (check.matches, check.seen_sha256) == (True, build.sha256)
        last = build.images[-1]
        flasher.erase_region(last.offset, 4096)
        check = flasher.verify(build)
        if place == "desk":
            assert flasher.write(build).matches  # the unit is left whole
    assert (check.matches, check.differing) == (False, (last.file.name,))
    assert check.seen_sha256 != build.sha256
