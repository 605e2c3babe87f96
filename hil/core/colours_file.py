"""The colours file, beside a bench file: how its camera sees a product's colours, as `hil bench learn` found them."""

from pathlib import Path

from pydantic import Field

from hil.core.aim_file import CameraSetting
from hil.core.kept_file import read_kept
from hil.core.toml_file import Strict


class LearntShares(Strict):
    """One colour: shares of red and green in its linear light, their covariance among units, and the frames it rests on."""

    share: tuple[float, float]
    spread: tuple[tuple[float, float], tuple[float, float]]
    frames: int


class ColoursFile(Strict):
    """By colour words; of the camera that the bench file names, as it was set then, and of one product."""

    camera: str
    settings: dict[CameraSetting, int] = Field(default_factory=dict)
    product: str
    learnt_from: tuple[str, ...]
    colours: dict[str, LearntShares]


def colours_file_of(bench_path: Path) -> Path:
    """Where the colours file of a bench file is."""
    return bench_path.with_suffix(".colours.json")


def read_colours(path: Path) -> ColoursFile | None:
    """Read one; None where there is none.

    Raises:
        InputError: it cannot be read.
    """
    return read_kept(path, ColoursFile, "colours file", "Learn anew: hil bench learn; or remove it.")
