"""A real desk, as its bench file names it: what the contracts have at the other end of its instruments."""

import contextlib
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import numpy as np
import pytest

from hil.core.bench_file import BenchFile, load_bench_file
from hil.core.build import Build, load_build
from hil.core.clock import Clock
from hil.core.errors import InputError
from hil.core.product import Console as Voice
from hil.core.product import load_product
from hil.core.timeline import Expired, Timeline
from hil.instruments.console import Console
from hil.instruments.lamp_camera import Crops, LampCamera, Region
from hil.instruments.power.ways import open_power

DARK_S, SPEAKS_S, ALONE_S = 1.0, 10.0, 3.0
QUIET_S = 3.0  # for so long a unit says nothing where it has no supply
SEEN_S = 1.5  # the camera's pictures come later than they are
LEAST_BRIGHTER, TIMES_NOISE = 1.0, 5.0  # of 255, over the whole region; standard deviations: common practice, no source
Named = TypeVar("Named")
DESK: pytest.StashKey["Desk | None"] = pytest.StashKey()
IN_THE_LAB = os.environ.get("LAB") == "1"
THE_LABS_ALONE = pytest.mark.skipif(not IN_THE_LAB, reason="the lab's alone: ci/measure lab")


@dataclass(frozen=True)
class Desk:
    """A desk's bench file, the build that may be put on its unit, and how the unit's console speaks."""

    file: BenchFile
    build: Build | None
    voice: Voice

    def named(self, value: Named | None, key: str) -> Named:
        """What the bench file says; where it says nothing of it there is nothing to hold."""
        if value is None:
            pytest.skip(f"the bench file names no {key}")
        return value

    @property
    def networks(self) -> tuple[list[str], str]:
        """The access point's radios, two where the control network's may be the second, and the country."""
        place = self.named(self.file.access_point, "access_point")
        return [*place.radios, place.control_radio][:2], place.country

    @property
    def probe(self) -> str:
        """The probe's radio."""
        return self.named(self.file.probe, "probe").radio

    @property
    def camera(self) -> tuple[int | str, Region, Region]:
        """The camera, and where the unit's lamp and the bench's own are."""
        told, remedy = self.file.lamp_camera, "aim it: hil bench aim"
        return (
            self.named(told.source, "lamp_camera.source"),
            self.named(told.unit_region, f"lamp_camera.unit_region: {remedy}"),
            self.named(told.bench_region, f"lamp_camera.bench_region: {remedy}"),
        )


def desk_of(config: pytest.Config) -> Desk | None:
    """The desk that was asked for.

    Raises:
        InputError: a file is missing or wrong, or the bench file is of another kind.
    """
    given = config.option
    if not given.hil_bench:
        return None
    file = load_bench_file(Path(given.hil_bench))
    if file.kind != "desk":
        remedy = "Without --hil-bench the contracts are held on the virtual bench's parts."
        raise InputError(f"{given.hil_bench}: kind = {file.kind!r}", "no desk.", remedy)
    voice = load_product(Path(given.hil_product)).console if given.hil_product else Voice()
    return Desk(file, load_build(Path(given.hil_build)) if given.hil_build else None, voice)


def place_of(config: pytest.Config) -> str:
    """Where the contracts are held: `virtual`, `lab` or `desk`."""
    if config.stash[DESK]:
        return "desk"
    return "lab" if IN_THE_LAB else "virtual"


class DeskUnit:
    """The unit in the slot, with its supply on: what it says when it starts is how it shows that it did."""

    def __init__(self, desk: Desk, stack: contextlib.ExitStack, folder: Path) -> None:
        """Start it twice, and know it by the first line that comes at each; a unit that tells no start is of no use here."""
        self.supply = place = desk.named(desk.file.power, "power")
        if place.operator is not None:
            pytest.skip("a person switches the supply: `hil bench check` asks them")
        if place.reset_line is not None:
            pytest.skip("nothing switches the supply: a reset line only holds the unit")
        self.port = desk.named(desk.file.console.port, "console.port")
        self._voice = desk.voice
        told = Timeline(Clock())
        console = self.console(told, folder / "start.raw")
        supply = open_power(told, place, desk.file.slot, console)
        stack.callback(supply.close)
        stack.callback(supply.off, asked_by="end of the test")
        supply.on(asked_by="test")  # some adapters have their supply from the unit
        with contextlib.closing(console):
            console.open()
            supply.off(asked_by="test")
            told.clock.pause(DARK_S)
            mark = told.mark()
            supply.on(asked_by="test")
            self._first = _line(told, mark, SPEAKS_S)
            if not self._first:
                pytest.skip(f"the unit said nothing within {SPEAKS_S:g} s of power on: nobody tells when it starts")
            if _line(told, told.mark(), ALONE_S, self._first):
                pytest.skip("the unit restarts by itself: nobody can tell what made it restart")

    def console(self, timeline: Timeline, raw_file: Path) -> Console:
        """The console at its port, not yet open."""
        told = self._voice
        return Console(
            self.port, timeline, raw_file, baud=told.baud, rom_baud=told.rom_baud, rom_speaks_s=told.rom_speaks_s
        )

    def started(self, timeline: Timeline, limit_s: float, since: int = 0) -> float | None:
        """When it said that it starts, within so long; None where it did not."""
        seen = timeline.wait(
            lambda m: m.is_("console", "line") and m.text("text") == self._first,
            limit_s=limit_s,
            awaited=f"the line {self._first!r}",
            since=since,
        )
        return None if isinstance(seen, Expired) else seen.time_s


def speaks(timeline: Timeline) -> bool:
    """Whether a unit said something just now."""
    said_s = [m.time_s for m in timeline.since() if m.is_("console", "line")]
    return bool(said_s) and timeline.clock.now_s() - said_s[-1] < QUIET_S


def _line(timeline: Timeline, since: int, limit_s: float, text: str = "") -> str:
    seen = timeline.wait(
        lambda m: m.is_("console", "line") and bool(m.text("text").strip()) and text in ("", m.text("text")),
        limit_s=limit_s,
        awaited="a line of the unit's",
        since=since,
    )
    return "" if isinstance(seen, Expired) else seen.text("text")


class SeenLamp:
    """The bench's own lamp as the desk's camera sees it."""

    def __init__(self, desk: Desk, stack: contextlib.ExitStack, folder: Path) -> None:
        """Look at it while it is dark, to know it when it is lit."""
        source, unit, bench = desk.camera
        folder.mkdir()
        timeline, told = Timeline(Clock()), desk.file.lamp_camera
        self._region, self._levels = bench, list[float]()
        camera = LampCamera(
            source, unit, bench, timeline, folder, pixel_format=told.pixel_format, frame_rate=told.frame_rate
        )
        camera.on_picture = self._see
        camera.start()
        stack.callback(camera.stop)
        assert camera.wait_past(timeline.clock.now_s() + SEEN_S, limit_s=2.0 * SEEN_S), "the camera shows nothing"
        begun = len(self._levels)
        assert camera.wait_past(timeline.clock.now_s() + SEEN_S, limit_s=2.0 * SEEN_S), "the camera shows nothing"
        dark = np.array(self._levels[begun:])
        self._least = float(np.median(dark)) + max(LEAST_BRIGHTER, TIMES_NOISE * float(dark.std()))

    def _see(self, picture: Crops) -> None:
        x, y, width, height = self._region
        self._levels.append(float(picture[y : y + height, x : x + width].mean()))

    @property
    def is_lit(self) -> bool:
        """Whether it is brighter in the newest picture than it was dark."""
        return self._levels[-1] > self._least
