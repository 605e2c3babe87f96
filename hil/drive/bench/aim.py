"""Aims the camera: has each lamp go on and off, and finds where the camera sees it. Of several slots: one after the other.

The unit is switched on and off by its supply, so it must light its lamp when it starts; nothing is written to it, but to the
virtual bench's, which comes without a program.
"""

import random
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from hil.core.aim_file import CameraSetting
from hil.core.bench_file import BenchFile
from hil.core.errors import BenchError, InputError
from hil.core.frames import Crops
from hil.core.run_folder import RunFolder
from hil.core.trial import draw
from hil.drive.draft.draft import Draft, driven_as
from hil.drive.load_bench import open_bench
from hil.instruments.bench import Bench, Purpose
from hil.lamp.aim import (
    SHIFT_PX,
    UNEVEN,
    Aimed,
    NotAimed,
    Turn,
    find_lamp,
    is_one_lamp,
    overlapping,
    readable,
    shift_px,
)
from hil.lamp.curve import CameraCurve, camera_curve
from hil.lamp.doubt import NotTold

TURNS, MOST_TURNS, PICTURES = 5, 9, 6
RIVAL = 0.1  # where another place goes on and off with so much of the lamp's light, more turns are taken
SETTLED_REAL_S, AGAIN_REAL_S = 0.6, 2.4  # after a switch, before the pictures show it; on a host that falls behind
UNEVEN_REAL_S = 0.6  # and up to so much more, by chance: what flashes by itself must not keep step with the turns
PICTURES_REAL_S = 3.0  # patience with so many pictures
LIT_S = 1.0  # after power on a lamp is lit: as `lamp_on_s` of most products; no source
BY = "bench aim"


@dataclass(frozen=True, slots=True)
class Aim:
    """What was found of a slot's lamp and the bench's own, the camera, a picture with that lamp lit, and pictures of it dark.

    How the camera was set, and its curve, where it was asked for.
    """

    slot: str
    unit: Aimed | NotAimed
    bench: Aimed | NotAimed
    camera: str
    picture: Crops
    dark: Crops
    settings: Mapping[CameraSetting, int]
    curve: CameraCurve | NotTold | None = None

    @property
    def dark_picture(self) -> Crops:
        """One picture with the lamps dark, of less noise than each."""
        middle: Crops = np.median(self.dark, axis=0).astype(np.uint8)
        return middle


@dataclass(frozen=True, slots=True)
class Aims:
    """What was found of one slot, or of several before one camera."""

    slots: tuple[Aim, ...]

    @property
    def lamps(self) -> dict[str, Aimed | NotAimed]:
        """All lamps by their names: each slot's, and the bench's own, which several slots may share."""
        several = len(self.slots) > 1
        told = {f"slot {aim.slot}'s lamp" if several else "the unit's lamp": aim.unit for aim in self.slots}
        known: list[Aimed] = []
        for aim in self.slots:
            if isinstance(aim.bench, Aimed):
                if any(is_one_lamp(aim.bench, other) for other in known):
                    continue
                known.append(aim.bench)
            told["the bench's own lamp" + (f" of slot {aim.slot}" if aim is not self.slots[0] else "")] = aim.bench
        return told

    @property
    def faults(self) -> list[str]:
        """Why nothing here may be used, though lamps were found: the camera moved meanwhile, or two slots have one lamp."""
        first = self.slots[0]
        moved = [(aim.slot, shift_px(first.dark, aim.dark)) for aim in self.slots[1:]]
        told = [
            f"the camera moved by {by_px:.0f} pixels between slot {first.slot} and slot {slot}: fix it, and aim again"
            for slot, by_px in moved
            if by_px > SHIFT_PX
        ]
        return told + [
            f"{one} and {other} lie in one place: what switches the one switches the other"
            for (one, first_found), (other, second_found) in combinations(self.lamps.items(), 2)
            if isinstance(first_found, Aimed)
            and isinstance(second_found, Aimed)
            and is_one_lamp(first_found, second_found)
        ]

    @property
    def troubles(self) -> list[str]:
        """What is wrong, or will make reading hard, in words."""
        told = []
        for name, found in self.lamps.items():
            told += [f"{name}: {found.reason}"] if isinstance(found, NotAimed) else []
            told += [f"{name}: {warning}" for warning in found.warnings] if isinstance(found, Aimed) else []
        aimed = {name: found for name, found in self.lamps.items() if isinstance(found, Aimed)}
        names = list(aimed)
        meet = [(names[i], names[j]) for i, j in overlapping(list(aimed.values()))]
        told += [f"the regions of {one} and {other} meet: move one of them away" for one, other in meet]
        if isinstance(self.slots[0].curve, NotTold):
            told.append(f"the camera's curve: {self.slots[0].curve.reason}")
        return told + self.faults

    @property
    def picture(self) -> Crops:
        """One picture with each slot's lamp lit."""
        lit: Crops = np.maximum.reduce([aim.picture for aim in self.slots])
        return lit


def aim_slots(bench_files: Sequence[BenchFile], *, linearity: bool = False) -> Aims:
    """Find the lamps of slots before one camera, one slot after the other, each by a bench file of its own.

    With `linearity` the camera's curve is measured too, once.

    Raises:
        InputError: the slots have one name or several cameras, a bench file names something that is not there, or the camera
            takes no exposure times.
        BenchError: an instrument is missing, busy or broken.
    """
    slots = [file.slot for file in bench_files]
    twice = next((slot for slot in slots if slots.count(slot) > 1), None)
    if twice is not None:
        raise InputError("--bench", f"two of the bench files are of slot {twice}.", "Give each its own slot.")
    if len(bench_files) > 1 and any(_camera_of(file) != _camera_of(bench_files[0]) for file in bench_files):
        raise InputError(
            "--bench",
            "the bench files do not name one camera (of virtual ones: one virtual.seed and virtual.places).",
            "Aim each camera by itself.",
        )
    aims: list[Aim] = []
    for file in bench_files:
        before = [
            aim.bench for aim, other in zip(aims, bench_files, strict=False) if file.bench_lamp == other.bench_lamp
        ]
        known = next((found for found in before if isinstance(found, Aimed)), None)
        measure = linearity and not any(aim.curve for aim in aims)
        aims.append(aim_bench(file, known, linearity=measure))
    curve = next((aim.curve for aim in aims if aim.curve), aims[0].curve)
    return Aims(tuple(replace(aim, curve=curve) for aim in aims))


def _camera_of(file: BenchFile) -> tuple[object, ...]:
    """What tells one camera from another; a bench that does not stay has one that no other has."""
    world = (file.virtual.seed, file.virtual.places) if file.kind == "virtual" else ()
    return (file.kind, file.lamp_camera.source, *world) if file.stays else (object(),)


def aim_bench(bench_file: BenchFile, own: Aimed | None = None, *, linearity: bool = False) -> Aim:
    """Find one slot's lamp, and the bench's own, where it is not known already; and the camera's curve, where asked.

    Raises:
        InputError: the bench file names something that is not there, or the camera takes no exposure times.
        BenchError: an instrument is missing, busy or broken.
    """
    unknown = driven_as(Draft())
    with TemporaryDirectory(prefix="hil-aim-") as place:
        folder = RunFolder(Path(place)).make()
        opened = open_bench(bench_file, Purpose(unknown, draw(unknown), folder, aims=True))
        try:
            if bench_file.kind == "virtual":
                _give_program(opened.bench)
            return _Aiming(opened.bench).aim(bench_file.slot, own, linearity=linearity)
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
        self._wanted, self._pictures, self._settled_s = 0, list[Crops](), SETTLED_REAL_S
        self._camera, self._lamp = bench.its_camera, bench.bench_lamp
        self._camera.on_picture = self._take

    def aim(self, slot: str, own: Aimed | None, *, linearity: bool) -> Aim:
        bench = self._bench
        steps_s = (
            self._steps_s() if linearity else []
        )  # a camera that takes none is told so before anything is switched
        bench.power.off(asked_by=BY)
        found_own = own or self._find(self._bench_turn)[0]
        found, turns = self._find(self._unit_turn)
        found = readable(found, turns) if isinstance(found, Aimed) else found
        curve = self._curve(found_own, steps_s) if steps_s and isinstance(found_own, Aimed) else None
        source, settings = str(self._camera.source), self._camera.settings
        return Aim(slot, found, found_own, source, turns[-1].lit[-1], turns[-1].dark, settings, curve)

    def _steps_s(self) -> list[float]:
        exposure = self._bench.exposure
        if exposure is None:
            where = f"--linearity: camera {self._camera.source}"
            problem = "is no device of this machine: nobody here can set its exposure."
            raise InputError(where, problem, "Leave it out: the curve of sRGB is taken then.")
        return exposure.steps_s()

    def _curve(self, own: Aimed, steps_s: Sequence[float]) -> CameraCurve | NotTold:
        """Pictures of the bench's own lamp, lit, and what lies about it, from short to long exposure."""
        exposure = self._bench.exposure
        assert exposure is not None  # it had steps
        x, y, width, height = own.region
        around = np.s_[:, max(0, y - height) : y + 2 * height, max(0, x - width) : x + 2 * width]
        pictures, taken_s = [], []
        self._switch(True)
        try:
            for step_s in steps_s:
                taken_s.append(exposure.set(step_s))
                pictures.append(self._look()[around])
        finally:
            exposure.restore()
            self._switch(False)
        return camera_curve(pictures, taken_s)

    def _find(self, turn: Callable[[], Turn]) -> tuple[Aimed | NotAimed, list[Turn]]:
        """Find a lamp, and its turns.

        By more turns where something goes on and off with it; by slower ones where none is found, or some came late.
        """
        for self._settled_s in (SETTLED_REAL_S, AGAIN_REAL_S):
            turns = [turn() for _ in range(TURNS)]
            while (found := find_lamp(turns)).rival > RIVAL and len(turns) < MOST_TURNS:
                turns.append(turn())
            if isinstance(found, Aimed) and UNEVEN not in found.warnings:
                break
        return found, turns

    def _bench_turn(self) -> Turn:
        self._switch(True)
        lit = self._look()
        self._switch(False)
        return Turn(lit, self._look())

    def _switch(self, on: bool) -> None:
        assert self._lamp is not None  # it comes with the camera
        self._lamp.switch(on)

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
        clock.pause(clock.unit_s(self._settled_s + random.uniform(0.0, UNEVEN_REAL_S)))
        with self._arrived:
            self._pictures, self._wanted = [], PICTURES
            if not self._arrived.wait_for(lambda: self._wanted == 0, PICTURES_REAL_S):
                problem = f"gave {len(self._pictures)} of {PICTURES} pictures within {PICTURES_REAL_S:g} s."
                raise BenchError(f"camera {self._camera.source}", problem, "Look at its cable and its frame rate.")
            return np.stack(self._pictures)

    def _take(self, picture: Crops) -> None:
        with self._arrived:
            if self._wanted:
                self._pictures.append(picture.copy())
                self._wanted -= 1
                self._arrived.notify_all()
