"""What every supply must do: switch when told, tell its state and its current, and say so when it is gone.

Held alike against the virtual board's switch and against the lab unit's supply, which speaks SCPI over TCP.
"""

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from support.scpi import Supply

from hil.core.clock import Clock
from hil.core.errors import BenchError
from hil.core.timeline import Timeline
from hil.instruments.power import Power
from hil.instruments.scpi_power import ScpiPower
from hil.virtual.bench_switches import VirtualPower
from hil.virtual.world import ControlLine, WorldProcess


@dataclass(frozen=True)
class Scene:
    """A supply; `go` takes it away."""

    power: Power
    timeline: Timeline
    go: Callable[[], object]


def virtual_power(stack: contextlib.ExitStack, timeline: Timeline, folder: Path) -> tuple[Power, Callable[[], object]]:
    config = {"air_port": 1, "flash_file": str(folder / "flash.bin"), "address": "02:00:00:00:00:b2"}
    board = WorldProcess("board", {**config, "serial": "MV2-1", "label_key": "label key 1"})
    stack.callback(board.stop)
    line = ControlLine("power", board.port("control_port"))
    stack.callback(line.close)
    return VirtualPower(timeline, line), board.stop


def scpi_power(stack: contextlib.ExitStack, timeline: Timeline) -> tuple[Power, Callable[[], object]]:
    supply = stack.enter_context(contextlib.closing(Supply()))
    power = stack.enter_context(contextlib.closing(ScpiPower(timeline, supply.port)))
    return power, supply.unplug


@pytest.fixture
def scene(place: str, tmp_path: Path) -> Iterator[Scene]:
    timeline = Timeline(Clock())
    with contextlib.ExitStack() as stack:
        made = virtual_power(stack, timeline, tmp_path) if place == "virtual" else scpi_power(stack, timeline)
        yield Scene(made[0], timeline, made[1])


@pytest.mark.daily
def test_it_switches_and_tells_its_state_and_current(scene: Scene) -> None:
    on = scene.power.on(asked_by="leg")
    assert scene.power.read_back()
    off = scene.power.off(asked_by="leg")
    assert not scene.power.read_back()
    first, second = (m for m in scene.timeline.since() if m.is_("power", "state"))
    assert on.time_s < first.time_s < off.time_s < second.time_s
    assert first.number("current_ma", 0.0) > 10.0 * second.number("current_ma", 1.0)
    assert max(m.doubt_s for m in scene.timeline.since()) < 1.0


def test_one_that_is_gone_says_so(scene: Scene) -> None:
    scene.power.on(asked_by="leg")
    scene.go()
    with pytest.raises(BenchError):
        scene.power.read_back()
