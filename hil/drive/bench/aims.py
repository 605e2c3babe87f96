"""What was found of one slot's lamps, or of several before one camera, and what is wrong with it."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from hil.core.aim_file import CameraSetting
from hil.core.frames import Crops
from hil.drive.bench.exposing import Cut
from hil.lamp.aim import SHIFT_PX, Aimed, NotAimed, is_one_lamp, overlapping, shift_px
from hil.lamp.curve import CameraCurve
from hil.lamp.doubt import NotTold


@dataclass(frozen=True, slots=True)
class Aim:
    """What was found of a slot's lamp and the bench's own, the camera, a picture with that lamp lit, and pictures of it dark.

    How the camera was set, by which cut of its exposure, and its curve, where it was asked for. `displaced`: why what lies around
    the unit's lamp does not tell where the camera looks however dark it is there, where it does not; `placed`: whether it is
    bright enough to tell it all the same.
    """

    slot: str
    unit: Aimed | NotAimed
    bench: Aimed | NotAimed
    camera: str
    picture: Crops
    dark: Crops
    settings: Mapping[CameraSetting, int]
    curve: CameraCurve | NotTold | None = None
    cut: Cut | None = None
    displaced: NotTold | None = None
    placed: bool = True

    @property
    def dim_light(self) -> bool:
        """Whether a run may tell by what lies around the lamp where the camera looks, however dark it is there."""
        return self.displaced is None

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
        for aim in self.slots:
            both = isinstance(aim.unit, Aimed) and isinstance(aim.bench, Aimed)
            if both and aim.displaced is not None and not aim.placed:
                told.append(
                    f"slot {aim.slot}: no run may notice that the camera was moved ({aim.displaced.reason}): light it better"
                    + (", or --keep-exposure" if aim.cut is not None else "")
                )
        if isinstance(self.slots[0].curve, NotTold):
            told.append(f"the camera's curve: {self.slots[0].curve.reason}")
        return told + self.faults

    @property
    def picture(self) -> Crops:
        """One picture with each slot's lamp lit."""
        lit: Crops = np.maximum.reduce([aim.picture for aim in self.slots])
        return lit
