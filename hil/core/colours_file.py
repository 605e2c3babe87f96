"""The colours file, beside a bench file: how its camera sees a product's colours, as `hil bench learn` found them."""

import json
from pathlib import Path

from hil.core.errors import InputError
from hil.core.toml_file import Strict


class LearntShares(Strict):
    """One colour: shares of red and green in its linear light, their covariance among units, and the frames it rests on."""

    share: tuple[float, float]
    spread: tuple[tuple[float, float], tuple[float, float]]
    frames: int


class ColoursFile(Strict):
    """By colour words; of the camera that the bench file names, and of one product."""

    camera: str
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
    if not path.exists():
        return None
    try:
        return ColoursFile.model_validate_json(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        told, remedy = str(error).splitlines()[0], "Learn anew: hil bench learn; or remove it."
        raise InputError(str(path), f"this colours file cannot be read: {told}.", remedy) from error


def write_colours(colours: ColoursFile, path: Path) -> None:
    """Write one, in place of any other.

    Raises:
        OSError: it cannot be written.
    """
    new = path.with_name(f"{path.name}.new")
    new.write_text(json.dumps(colours.model_dump(mode="json"), indent=2) + "\n", encoding="utf-8")
    new.replace(path)
