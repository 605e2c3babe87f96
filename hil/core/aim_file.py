"""The aim file, beside a bench file: where its camera sees the lamps, as `hil bench aim` found them."""

import json
from pathlib import Path

from hil.core.errors import InputError
from hil.core.toml_file import Strict

Region = tuple[int, int, int, int]


class AimFile(Strict):
    """Regions as x, y, width, height in pixels of a picture of that size."""

    camera: str
    picture: tuple[int, int]
    unit_region: Region
    bench_region: Region


def aim_file_of(bench_path: Path) -> Path:
    """Where the aim file of a bench file is."""
    return bench_path.with_suffix(".aim.json")


def read_aim(path: Path) -> AimFile | None:
    """Read one; None where there is none.

    Raises:
        InputError: it cannot be read.
    """
    if not path.exists():
        return None
    try:
        return AimFile.model_validate_json(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        told = str(error).splitlines()[0]
        raise InputError(str(path), f"this aim file cannot be read: {told}.", "Aim anew: hil bench aim.") from error


def write_aim(aim: AimFile, path: Path) -> None:
    """Write one, in place of any other.

    Raises:
        OSError: it cannot be written.
    """
    new = path.with_name(f"{path.name}.new")
    new.write_text(json.dumps(aim.model_dump(mode="json"), indent=2) + "\n", encoding="utf-8")
    new.replace(path)
