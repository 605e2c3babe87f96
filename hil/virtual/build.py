"""Builds of the reference firmware: the image in the layout the virtual board starts from, and its build file.

The image is the same byte for byte whenever its sources are.
"""

import io
import re
import tarfile
from collections.abc import Sequence
from pathlib import Path

from hil.core.errors import InputError, OurBug
from hil.virtual.board.image import IMAGE_AT, pack_image
from hil.virtual.patches import FurtherImage, load_patch

__all__ = ["SETTINGS_AT", "SETTINGS_SIZE", "firmware_files", "make_build"]

FIRMWARE = Path(__file__).parent / "firmware"
IMAGE_FILE = "mv2.img"
SETTINGS_AT = 0x90000
SETTINGS_SIZE = 0x2000
VERSION_LINE = re.compile(r'^VERSION = "([^"\n]+)"$', re.MULTILINE)
VERSION_TEXT = re.compile(r"[0-9A-Za-z.+-]{1,32}")


def make_build(folder: Path, patch: str | None = None, version: str | None = None) -> Path:
    """Write a build into a folder, which is made if need be: its image and `build.toml`, whose path is returned.

    Args:
        folder: Where to; files of an earlier build there are replaced.
        patch: Name of a known-bad unit (`patches.patch_names()`), None for the good firmware.
        version: What the unit shall say it is, None for what the sources say.

    Raises:
        InputError: there is no such patch, or the version is no version.
    """
    files = firmware_files()
    further: tuple[FurtherImage, ...] = ()
    if patch is not None:
        patched = load_patch(patch)
        files, further = patched.apply(files), patched.image
    if version is not None:
        files["version.py"] = _with_version(files["version.py"], version)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / IMAGE_FILE).write_bytes(pack_image(_tar(files)))
    for image in further:
        (folder / image.file).write_text(image.content, encoding="utf-8")
    build_file = folder / "build.toml"
    build_file.write_text(_build_toml(_version_of(files["version.py"]), further), encoding="utf-8")
    return build_file


def firmware_files() -> dict[str, str]:
    """Return the sources of the reference firmware: name and text."""
    return {file.name: file.read_text(encoding="utf-8") for file in sorted(FIRMWARE.glob("*.py"))}


def _with_version(source: str, version: str) -> str:
    if not VERSION_TEXT.fullmatch(version):
        raise InputError("version", f"{version!r} is no version.", "Use up to 32 letters, digits, dots and + or -.")
    return VERSION_LINE.sub(f'VERSION = "{version}"', source)


def _version_of(source: str) -> str:
    found = VERSION_LINE.search(source)
    if found is None:
        raise OurBug("The firmware's version.py holds no VERSION line.")
    return found[1]


def _tar(files: dict[str, str]) -> bytes:
    """Return an archive with nothing in it that differs from one making to the next."""
    octets = io.BytesIO()
    with tarfile.open(fileobj=octets, mode="w", format=tarfile.USTAR_FORMAT) as archive:
        for name in sorted(files):
            content = files[name].encode()
            entry = tarfile.TarInfo(name)  # time, owner and group are zero by default
            entry.size = len(content)
            archive.addfile(entry, io.BytesIO(content))
    return octets.getvalue()


def _build_toml(version: str, further: Sequence[FurtherImage]) -> str:
    images = "".join(
        f'[[images]]\nfile = "{image.file}"\noffset = {image.offset:#x}\nupdate = {str(image.update).lower()}\n\n'
        for image in further
    )
    return (
        f'version = "{version}"\n\n'
        f'[[images]]\nfile = "{IMAGE_FILE}"\noffset = {IMAGE_AT:#x}\n\n'
        f"{images}"
        f"[[settings]]\noffset = {SETTINGS_AT:#x}\nsize = {SETTINGS_SIZE:#x}\n"
    )
