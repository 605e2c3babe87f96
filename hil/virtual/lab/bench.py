"""Opens the lab's bench: starts the unit and the film, and puts the desk's own instruments on them."""

import os
import random
import secrets
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

from hil.core.bench_file import BenchFile, BenchLampPlace, ConsolePort, FlasherPlace, LampCamera, PowerPlace, ScpiPlace
from hil.core.build import load_build
from hil.core.errors import InputError
from hil.instruments.bench import OpenBench, Purpose
from hil.instruments.desk import open_desk
from hil.virtual.build import make_build
from hil.virtual.lab.film import PIXEL_FORMAT
from hil.virtual.label import draw_label
from hil.virtual.truth import TruthFile
from hil.virtual.world import WorldProcess

UNIT_RADIOS = ("wlan5", "wlan6")
READY_S = 90.0  # the lab's processor is slow
CHIP = "esp32"
LOOKED_AT_HZ = 12.0  # of the 30 frames a second: what its processor can do beside all else


def open_lab(bench_file: BenchFile, purpose: Purpose) -> OpenBench:
    """Start the unit and open every instrument.

    Raises:
        InputError: this machine is not the lab.
        BenchError: something did not start.
    """
    if os.environ.get("LAB") != "1":
        remedy = "Run it in there: ci/lab/run .venv/bin/hil accept --bench lab"
        raise InputError("bench file: kind = 'lab'", "this machine is not the lab.", remedy)
    with ExitStack() as stack:
        folder = purpose.folder
        placed = start_parts(bench_file, folder.path / "virtual", stack)
        build = purpose.build or load_build(make_build(folder.path / "build"))
        opened = open_desk(placed, replace(purpose, build=build))
        stack.callback(opened.close)
        clock, truth = opened.bench.clock, TruthFile(folder.path / "virtual" / "truth.jsonl")
        truth("run clock", zero_s=-clock.real_s(clock.at(0.0)), speed=clock.speed)
        truth.close()
        return OpenBench(opened.bench, {**opened.facts, "board": "in the lab, in its own time"}, stack.pop_all().close)


def start_parts(bench_file: BenchFile, folder: Path, stack: ExitStack) -> BenchFile:
    """Start film and unit, with what they keep in a new folder; return the bench file of a desk on which they are.

    Raises:
        BenchError: one did not start.
    """
    world = folder.resolve()
    world.mkdir()
    truth, seed = str(world / "truth.jsonl"), secrets.randbelow(1 << 30)
    label = bench_file.unit or draw_label(random.Random(seed))
    film = _process("film", {"seed": seed, "truth_file": truth}, stack)
    config: dict[str, object] = {
        "radios": UNIT_RADIOS,
        "scene_port": film.port("control_port"),
        "flash_file": str(world / "flash.bin"),
        "truth_file": truth,
        "log_folder": str(world / "unit"),
        "address": label.address,
        "serial": label.serial_number,
        "label_key": label.hotspot_key,
        "seed": seed,
    }
    unit = _process("unit", config, stack)
    regions = film.ready["regions"]
    assert isinstance(regions, dict)
    camera = LampCamera(
        source=str(film.ready["source"]),
        pixel_format=PIXEL_FORMAT,
        frame_rate=LOOKED_AT_HZ,
        unit_region=tuple(regions["unit"]),
        bench_region=tuple(regions["bench"]),
    )
    return bench_file.model_copy(
        update={
            "kind": "desk",
            "unit": label,
            "power": PowerPlace(scpi=ScpiPlace(port=f"socket://127.0.0.1:{unit.port('supply_port')}")),
            "console": ConsolePort(port=str(unit.ready["serial_port"])),
            "flasher": FlasherPlace(chip=CHIP),
            "lamp_camera": bench_file.lamp_camera if bench_file.lamp_camera.operator else camera,
            "bench_lamp": BenchLampPlace(port=str(film.ready["bench_lamp_port"]), line="rts"),
        }
    )


def _process(name: str, config: dict[str, object], stack: ExitStack) -> WorldProcess:
    process = WorldProcess(f"lab.{name}", config, ready_s=READY_S)
    stack.callback(process.stop)
    return process
