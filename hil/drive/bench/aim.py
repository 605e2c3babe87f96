"""Aims the camera: has each lamp go on and off, and finds where the camera sees it.

The unit is switched on and off by its supply, so it must light its lamp when it starts; nothing is written to it, but to the
virtual bench's, which comes without a program.
"""

import threading
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from hil.core.bench_file import BenchFile
from hil.core.errors import BenchError
from hil.core.frames import Crops
from hil.core.run_folder import RunFolder
from hil.core.trial import draw
from hil.drive.draft.draft import Draft, driven_as
from hil.drive.load_bench import open_bench
from hil.instruments.bench import Bench, Purpose
from hil.lamp.aim import Aimed, NotAimed, Turn, find_lamp, overlapping

TURNS, PICTURES = 4, 6
SETTLED_REAL_S = 0.6  # after a switch, before the pictures show it: more than any camera's delay
PICTURES_REAL_S = 3.0  # patience with so many pictures
LIT_S = 1.0  # after power on a lamp is lit: as `lamp_on_s` of most products; no source
BY = "bench aim"


@dataclass(frozen=True, slots=True)
class Aim:
    """What was found of both lamps, the camera it was found with, and a picture with the unit's lamp lit."""

    unit: Aimed | NotAimed
    bench: Aimed | NotAimed
    camera: str
    picture: Crops

    @property
    def troubles(self) -> list[str]:
        """What is wrong, or will make reading hard, in words."""
        told = []
        for name, found in (("the unit's lamp", self.unit), ("the bench's own lamp", self.bench)):
            told += [f"{name}: {found.reason}"] if isinstance(found, NotAimed) else []
            told += [f"{name}: {warning}" for warning in found.warnings] if isinstance(found, Aimed) else []
        both = [found for found in (self.unit, self.bench) if isinstance(found, Aimed)]
        return told + (["the two regions meet: move the bench's own lamp away"] if overlapping(both) else [])


def aim_bench(bench_file: BenchFile) -> Aim:
    """Find both lamps.

    Raises:
        InputError: the bench file names something that is not there.
        BenchError: an instrument is missing, busy or broken.
    """
    unknown = driven_as(Draft())
    with TemporaryDirectory(prefix="hil-aim-") as place:
        folder = RunFolder(Path(place)).make()
        opened = open_bench(bench_file, Purpose(unknown, draw(unknown), folder, aims=True))
        try:
            if bench_file.kind == "virtual":
                _give_program(opened.bench)
            return _Aiming(opened.bench).aim()
        finally:
            with suppress(BenchError):
                opened.bench.power.off(asked_by=BY)
            opened.close()


def _give_program(bench: Bench) -> None:
    bench.power.on(asked_by=BY)
    bench.console.close()
    bench.flasher.write(bench.build)
    bench.console.open()


class _Aiming:
    """Takes pictures of one lamp after the other."""

    def __init__(self, bench: Bench) -> None:
        self._bench, self._arrived = bench, threading.Condition()
        self._wanted, self._pictures = 0, list[Crops]()
        bench.camera.on_picture = self._take

    def aim(self) -> Aim:
        bench = self._bench
        bench.power.off(asked_by=BY)
        own = find_lamp([self._bench_turn() for _ in range(TURNS)])
        turns = [self._unit_turn() for _ in range(TURNS)]
        return Aim(find_lamp(turns), own, str(bench.camera.source), turns[-1].lit[-1])

    def _bench_turn(self) -> Turn:
        lamp = self._bench.bench_lamp
        lamp.switch(True)
        lit = self._look()
        lamp.switch(False)
        return Turn(lit, self._look())

    def _unit_turn(self) -> Turn:
        power, clock = self._bench.power, self._bench.clock
        power.on(asked_by=BY)
        clock.pause(LIT_S)
        lit = self._look()
        power.off(asked_by=BY)
        return Turn(lit, self._look())

    def _look(self) -> Crops:
        """Pictures from a little later on."""
        clock = self._bench.clock
        clock.pause(clock.unit_s(SETTLED_REAL_S))
        with self._arrived:
            self._pictures, self._wanted = [], PICTURES
            if not self._arrived.wait_for(lambda: self._wanted == 0, PICTURES_REAL_S):
                problem = f"gave {len(self._pictures)} of {PICTURES} pictures within {PICTURES_REAL_S:g} s."
                raise BenchError(
                    f"camera {self._bench.camera.source}", problem, "Look at its cable and its frame rate."
                )
            return np.stack(self._pictures)

    def _take(self, picture: Crops) -> None:
        with self._arrived:
            if self._wanted:
                self._pictures.append(picture.copy())
                self._wanted -= 1
                self._arrived.notify_all()
