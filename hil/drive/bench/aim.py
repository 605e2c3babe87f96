"""Aims the camera: has each lamp go on and off, and finds where the camera sees it. Of several slots: one after the other.

The unit is switched on and off by its supply, so it must light its lamp when it starts; nothing is written to it, but to the
virtual bench's, which comes without a program.
"""

import random
import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from hil.core.bench_file import BenchFile
from hil.core.errors import BenchError, InputError
from hil.core.frames import Crops
from hil.core.run_folder import RunFolder
from hil.core.trial import draw
from hil.drive.bench.aims import Aim, Aims
from hil.drive.bench.exposing import Cut, cut_exposure, set_back
from hil.drive.bench.found import Found
from hil.drive.draft.draft import Draft, driven_as
from hil.drive.load_bench import open_bench
from hil.instruments.bench import Bench, Purpose
from hil.instruments.exposure import LONGEST_S, Exposure, in_units
from hil.lamp.aim import UNEVEN, Aimed, NotAimed, Turn, find_lamp, readable
from hil.lamp.curve import CameraCurve, camera_curve
from hil.lamp.doubt import NotTold

TURNS, MOST_TURNS, PICTURES = 5, 9, 6
RIVAL = 0.1  # where another place goes on and off with so much of the lamp's light, more turns are taken
SETTLED_REAL_S, AGAIN_REAL_S = 0.6, 2.4  # after a switch, before the pictures show it; on a host that falls behind
UNEVEN_REAL_S = 0.6  # and up to so much more, by chance: what flashes by itself must not keep step with the turns
PICTURES_REAL_S = 3.0  # patience with so many pictures
LONGER, MUCH_LONGER = 1.9, 3.0  # times an exposure: in one so long the sensor's own pattern is outshone
LIT_S = 1.0  # after power on a lamp is lit: as `lamp_on_s` of most products; no source
BY = "bench aim"
Say = Callable[[str], None]


def aim_slots(
    bench_files: Sequence[BenchFile], *, linearity: bool = False, cuts: bool = True, say: Say = lambda _: None
) -> Aims:
    """Find the lamps of slots before one camera, one slot after the other, each by a bench file of its own.

    With `linearity` the camera's curve is measured too, once; where it `cuts`, its exposure is cut by the first slot's lamp.
    Each step is told before it begins, by `say`.

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
        cut = aims[0].cut if aims else None
        of_slot = partial(_say_of_slot, say, file.slot) if len(bench_files) > 1 else say
        aims.append(aim_bench(file, known, cut, linearity=measure, cuts=cuts and not aims, say=of_slot))
    curve = next((aim.curve for aim in aims if aim.curve), aims[0].curve)
    return Aims(tuple(replace(aim, curve=curve) for aim in aims))


def _say_of_slot(say: Say, slot: str, step: str) -> None:
    say(f"slot {slot}: {step}")


def _camera_of(file: BenchFile) -> tuple[object, ...]:
    """What tells one camera from another; a bench that does not stay has one that no other has."""
    world = (file.virtual.seed, file.virtual.places) if file.kind == "virtual" else ()
    return (file.kind, file.lamp_camera.source, *world) if file.stays else (object(),)


def aim_bench(
    bench_file: BenchFile, own: Aimed | None, before: Cut | None, *, linearity: bool, cuts: bool, say: Say
) -> Aim:
    """Find one slot's lamp, and the bench's own, where it is not known already; and the camera's curve, where asked.

    By an exposure that was cut `before`, by another slot's lamp; or by one that is cut now, where asked.

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
            return _Aiming(opened.bench, say).aim(bench_file.slot, own, before, linearity=linearity, cuts=cuts)
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

    def __init__(self, bench: Bench, say: Say) -> None:
        self._bench, self._say, self._arrived = bench, say, threading.Condition()
        self._wanted, self._pictures, self._settled_s = 0, list[Crops](), SETTLED_REAL_S
        self._camera, self._lamp = bench.its_camera, bench.bench_lamp
        self._camera.on_picture = self._take

    def aim(self, slot: str, own: Aimed | None, before: Cut | None, *, linearity: bool, cuts: bool) -> Aim:
        bench = self._bench
        # A camera that takes none is told so before anything is switched.
        steps_s = self._steps_s() if linearity else []
        bench.power.off(asked_by=BY)
        if before is not None and bench.exposure is not None:
            bench.exposure.set(before.to_s)
        found, cut = self._by_cut_exposure() if cuts else (self._both(own), before)
        curve = self._curve(found.own, steps_s) if steps_s and isinstance(found.own, Aimed) else None
        settings = dict(self._camera.settings) | ({"exposure": in_units(cut.to_s)} if cut is not None else {})
        unit = readable(found.unit, found.turns) if isinstance(found.unit, Aimed) else found.unit
        source, last = str(self._camera.source), found.turns[-1]
        displaced, placed = self._displaced(found), found.displaced is None
        return Aim(slot, unit, found.own, source, last.lit[-1], last.dark, settings, curve, cut, displaced, placed)

    def _displaced(self, found: Found) -> NotTold | None:
        """Say why what lies around the unit's lamp does not tell where the camera looks, however dark it is there."""
        exposure = self._bench.exposure
        self._say("what lies around the unit's lamp")
        with suppress(InputError):
            if exposure is not None and (longer := self._longer(exposure)) is not None:
                return found.place_beside(longer, list(self._own_lit()))
        untried = NotTold("the camera takes no longer exposure to try that by")
        return untried if found.displaced is None else found.displaced

    def _longer(self, exposure: Exposure) -> Crops | None:
        """Dark pictures by a longer exposure than the camera has; None where it takes none that is much longer."""
        now_s = exposure.now_s()
        longer_s = min(MUCH_LONGER * now_s, exposure.range_s()[1], LONGEST_S)
        if longer_s < LONGER * now_s:
            return None
        try:
            exposure.set(longer_s)
        except BenchError:  # not every one within its range, as some drivers have it
            return None
        try:
            return self._look()
        finally:
            exposure.set(now_s)

    def _both(self, own: Aimed | None) -> Found:
        """Find the bench's own lamp, where it is not known, and the unit's."""
        found_own = own or self._find_own()
        return Found(*self._find_unit(), found_own)

    def _by_cut_exposure(self) -> tuple[Found, Cut | None]:
        """Cut the exposure to what shows the lamp's colour, and find both lamps by it, unless more is lost by it than won.

        A camera that takes no exposure times keeps what it has.
        """
        unit, turns = self._find_unit()
        exposure, cut = self._bench.exposure, None
        if exposure is not None and isinstance(unit, Aimed):
            self._say("exposure: looking for one that shows the lamp's colour")
            with suppress(InputError):
                cut = cut_exposure(exposure, self._unit_turn, unit.region, [unit.region])
        if exposure is None or cut is None:
            return Found(unit, turns, self._find_own()), None
        with set_back(exposure, cut.from_s):
            again = self._both(None)
        was_displaced = Found(unit, turns, again.own).displaced is not None
        if again.is_readable and (was_displaced or again.place_beside(turns[-1].dark) is None):
            return again, cut
        exposure.set(cut.from_s)
        return Found(unit, turns, self._find_own()), None

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
        pictures, taken_s, at_first_s = [], [], exposure.now_s()
        self._say(f"the camera's curve, by {len(steps_s)} exposures")
        self._switch(True)
        try:
            for step_s in steps_s:
                taken_s.append(exposure.set(step_s))
                pictures.append(self._look()[around])
        finally:
            exposure.set(at_first_s)
            self._switch(False)
        return camera_curve(pictures, taken_s)

    def _find_own(self) -> Aimed | NotAimed:
        return self._find(self._bench_turn, "the bench's own lamp")[0]

    def _find_unit(self) -> tuple[Aimed | NotAimed, list[Turn]]:
        return self._find(self._unit_turn, "the unit's lamp")

    def _find(self, turn: Callable[[], Turn], name: str) -> tuple[Aimed | NotAimed, list[Turn]]:
        """Find the lamp of that name, and its turns.

        By more turns where something goes on and off with it; by slower ones where none is found, or some came late.
        """
        for self._settled_s in (SETTLED_REAL_S, AGAIN_REAL_S):
            turns = [self._told(turn, name, number) for number in range(1, TURNS + 1)]
            while (found := find_lamp(turns)).rival > RIVAL and len(turns) < MOST_TURNS:
                turns.append(self._told(turn, name, len(turns) + 1))
            if isinstance(found, Aimed) and UNEVEN not in found.warnings:
                break
        return found, turns

    def _told(self, turn: Callable[[], Turn], name: str, number: int) -> Turn:
        self._say(f"{name}: on and off, {number} of {max(TURNS, number)}")
        return turn()

    def _bench_turn(self) -> Turn:
        return Turn(self._own_lit(), self._look())

    def _own_lit(self) -> Crops:
        self._switch(True)
        lit = self._look()
        self._switch(False)
        return lit

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
