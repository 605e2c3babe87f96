"""The aim file, beside a bench file: where its camera sees the lamps, as `hil bench aim` found them."""

from itertools import pairwise
from pathlib import Path
from typing import Annotated, Literal, get_args

from pydantic import AfterValidator, Field

from hil.core.kept_file import read_kept
from hil.core.toml_file import Strict

Region = tuple[int, int, int, int]
CameraSetting = Literal["exposure", "gain", "white_balance", "focus"]
CAMERA_SETTINGS: tuple[CameraSetting, ...] = get_args(CameraSetting)
CODES = 256


def _rising(curve: tuple[float, ...]) -> tuple[float, ...]:
    if curve[0] < 0.0 or curve[-1] != 1.0 or any(one > other for one, other in pairwise(curve)):
        raise ValueError("a curve rises from 0 or more to 1")
    return curve


Curve = Annotated[tuple[float, ...], Field(min_length=CODES, max_length=CODES), AfterValidator(_rising)]
"""Linear light, 0 to 1, of each 8-bit code of a camera."""


class AimFile(Strict):
    """Regions as x, y, width, height in pixels of a picture of that size; the camera's curve, where it was measured.

    `dark_picture`: the name of the file beside it with what the camera saw, all lamps dark: a run holds its own first look
    against it. `dim_light`: what lies around the unit's lamp looked the same while it was lit, however dark it is there.
    `settings`: how the camera was set then, in its driver's own units: a run sets it so again.
    """

    camera: str
    picture: tuple[int, int]
    unit_region: Region
    bench_region: Region
    curve: Curve | None = None
    dark_picture: str | None = None
    dim_light: bool = False
    settings: dict[CameraSetting, int] = Field(default_factory=dict)


def aim_file_of(bench_path: Path) -> Path:
    """Where the aim file of a bench file is."""
    return bench_path.with_suffix(".aim.json")


def dark_picture_of(aim_path: Path) -> Path:
    """Where the dark picture of an aim file is."""
    return aim_path.with_suffix(".dark.png")


def read_aim(path: Path) -> AimFile | None:
    """Read one; None where there is none.

    Raises:
        InputError: it cannot be read.
    """
    return read_kept(path, AimFile, "aim file", "Aim anew: hil bench aim.")
