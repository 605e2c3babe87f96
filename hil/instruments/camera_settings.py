"""A camera's own settings, held: what it would set by itself is taken from it, and has the values that are kept.

A camera that sets itself shows one lamp in many colours, and one that comes back from the shelf has its maker's settings. So a
run gives it those that it was aimed with, reads them back, and refuses to see by others.
"""

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from hil.core.aim_file import CAMERA_SETTINGS, CameraSetting
from hil.core.errors import BenchError
from hil.core.moments import Json
from hil.instruments.device_controls import DeviceControls

NOT_LOCKED = "cannot be locked"
# Numbers of linux/v4l2-controls.h: what has the camera do it by itself, what that is by hand, and the value.
EXPOSURE_ABSOLUTE = 0x009A0902
NUMBERS: Mapping[CameraSetting, tuple[int, int, int]] = {
    "exposure": (0x009A0901, 1, EXPOSURE_ABSOLUTE),  # V4L2_EXPOSURE_MANUAL is 1
    "gain": (0x00980912, 0, 0x00980913),
    "white_balance": (0x0098090C, 0, 0x0098091A),
    "focus": (0x009A090C, 0, 0x009A090A),
}


class NotAsBefore(BenchError):
    """A camera is there, and does not take what it was aimed or started with."""


@dataclass(frozen=True, slots=True)
class HeldSettings:
    """How a camera is set. `told`: of each setting whether it is locked, in words; `values`: in the driver's own units."""

    told: Mapping[CameraSetting, str]
    values: Mapping[CameraSetting, int]


def hold_settings(path: Path, kept: Mapping[CameraSetting, int]) -> HeldSettings:
    """Take a camera's settings from it, and give it those that are kept; the others stay as they are.

    Raises:
        NotAsBefore: it does not take one that is kept.
    """
    controls = DeviceControls(path)
    told: dict[CameraSetting, str] = {}
    values: dict[CameraSetting, int] = {}
    for name in CAMERA_SETTINGS:
        by_itself, by_hand, number = NUMBERS[name]
        automatic = _value(controls, by_itself, by_hand)
        value = _value(controls, number, kept.get(name))
        if name in kept and value != kept[name]:
            has = "takes none" if value is None else f"stays at {value}"
            problem = f"its {name.replace('_', ' ')} is to be {kept[name]}, and {has}."
            raise NotAsBefore(f"camera {path}", problem, "Is it another one? Aim anew: hil bench aim.")
        # One that has no such automatic keeps its value; of one that has neither nobody knows.
        locked = automatic == by_hand or (automatic is None and value is not None)
        if locked and value is not None:
            values[name] = value
        told[name] = NOT_LOCKED if not locked else "locked" if value is None else locked_at(value)
    return HeldSettings(told, values)


def locked_at(value: int) -> str:
    """How a setting that has a value is told."""
    return f"locked at {value}"


def in_words(told: Mapping[str, Json]) -> str:
    """How a camera is set, from what was booked of it."""
    plain = {name.replace("_", " "): str(state) for name, state in told.items()}
    open_ones = [name for name, state in plain.items() if state == NOT_LOCKED]
    held = [f"{name} {state}" for name, state in plain.items() if state != NOT_LOCKED]
    unlocked = [f"{NOT_LOCKED}: {', '.join(open_ones)}"] if open_ones else []
    return "; ".join([*([", ".join(held)] if held else []), *unlocked])


def _value(controls: DeviceControls, number: int, wanted: int | None) -> int | None:
    """What a control is set to, once it was given what is wanted; None where there is none that can be set."""
    try:
        controls.range_of(number)
        if wanted is not None:
            with suppress(OSError):  # refused: it stays as it is
                controls.set(number, wanted)
        return controls.read(number)
    except OSError:
        return None
