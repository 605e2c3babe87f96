"""Builds of the reference firmware with a test's own changes in it."""

import io
import tarfile
from collections.abc import Mapping
from pathlib import Path

from hil.virtual.board.image import pack_image
from hil.virtual.build import firmware_files, make_build

# What stands in a firmware file, and what shall stand there.
Changes = Mapping[str, Mapping[str, str]]


def write_build(folder: Path, changes: Changes) -> Path:
    """Write a build with texts of its files replaced, each of which must be there once; returns the build file."""
    build_file = make_build(folder)
    files = firmware_files()
    for name, texts in changes.items():
        for old, new in texts.items():
            assert files[name].count(old) == 1, f"{name} has {old!r} {files[name].count(old)} times"
            files[name] = files[name].replace(old, new)
    image = next(file for file in folder.iterdir() if file.suffix == ".img")
    image.write_bytes(pack_image(tar_of(files)))
    return build_file


def tar_of(files: Mapping[str, str]) -> bytes:
    """Return an archive of files that differs in nothing else."""
    octets = io.BytesIO()
    with tarfile.open(fileobj=octets, mode="w", format=tarfile.USTAR_FORMAT) as archive:
        for name, text in sorted(files.items()):
            entry = tarfile.TarInfo(name)
            entry.size = len(text.encode())
            archive.addfile(entry, io.BytesIO(text.encode()))
    return octets.getvalue()
