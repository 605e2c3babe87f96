"""The second product, a rain sensor: where its product and bench file are, its builds, and its known-bad units.

Its known-bad units are written as the first product's are: changes to its own sources, with the signature they must have.
"""

import json
import re
import tomllib
from collections.abc import Sequence
from pathlib import Path

from hil.virtual.board.image import IMAGE_AT, pack_image
from hil.virtual.patches import Patch
from support import runs
from support.firmware import tar_of
from support.runs import Ended, hil

FOLDER = Path(__file__).parents[1] / "second_product"
FIRMWARE = FOLDER / "firmware"
PRODUCT_FILE = FOLDER / "rain_sensor.toml"
BENCH_FILE = FOLDER / "bench.toml"
SETTINGS_AT, SETTINGS_SIZE = 0x90000, 0x2000
VERSION_LINE = re.compile(r'^VERSION = "([^"\n]+)"$', re.MULTILINE)


def firmware_files() -> dict[str, str]:
    """The sources of its program: name and text."""
    return {file.name: file.read_text(encoding="utf-8") for file in sorted(FIRMWARE.glob("*.py"))}


def known_bad() -> tuple[str, ...]:
    """The names of its known-bad units, in order."""
    return tuple(sorted(file.stem for file in (FOLDER / "known_bad").glob("*.toml")))


def load_known_bad(name: str) -> Patch:
    """Read one of them."""
    file = FOLDER / "known_bad" / f"{name}.toml"
    return Patch.model_validate(tomllib.loads(file.read_text(encoding="utf-8")))


def write_build(folder: Path, name: str | None = None) -> Path:
    """Write a build, of the good program or of a known-bad unit's; returns the build file."""
    files = firmware_files() if name is None else load_known_bad(name).apply(firmware_files())
    found = VERSION_LINE.search(files["about.py"])
    assert found is not None, "about.py holds no VERSION line"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "rs4.img").write_bytes(pack_image(tar_of(files)))
    build_file = folder / "build.toml"
    build_file.write_text(
        f'version = "{found[1]}"\n\n[[images]]\nfile = "rs4.img"\noffset = {IMAGE_AT:#x}\n\n'
        f"[[settings]]\noffset = {SETTINGS_AT:#x}\nsize = {SETTINGS_SIZE:#x}\n",
        encoding="utf-8",
    )
    return build_file


def accept(folder: Path, *options: str, limit_s: float = 240.0) -> Ended:
    """Judge the good sensor on its bench; its run lands in a folder."""
    build = write_build(folder / "build")
    given = ("--product", str(PRODUCT_FILE), "--bench", str(BENCH_FILE), "--build", str(build))
    return runs.accept(*given, *options, cwd=folder, limit_s=limit_s)


def challenge(folder: Path, names: Sequence[str], *options: str, limit_s: float = 240.0) -> Ended:
    """Challenge the bench with known-bad sensors; their builds are made in a folder, and the series lands there."""
    units = folder / "units"
    for name in names:
        patch = load_known_bad(name)
        build = write_build(units / name, name)
        told = patch.model_dump(mode="json", exclude={"change"}, exclude_none=True, exclude_defaults=True)
        (units / f"{name}.toml").write_text(_toml({**told, "build": str(build.relative_to(units))}), encoding="utf-8")
    given = ("--units", str(units), "--product", str(PRODUCT_FILE), "--bench", str(BENCH_FILE), "--jobs", "1")
    return hil("challenge", *names, *given, *options, cwd=folder, limit_s=limit_s)


def _toml(told: dict[str, object]) -> str:
    """A unit file. What JSON writes of texts, numbers and lists of texts TOML reads alike."""
    lines = [f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in told.items() if key != "expect"]
    expected = told.get("expect", [])
    assert isinstance(expected, list)
    for one in expected:
        lines += ["", "[[expect]]", *(f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in one.items())]
    return "\n".join([*lines, ""])
