"""The build file, `build.toml`: one firmware as its images with their offsets, and where it keeps its settings."""

import hashlib
from itertools import pairwise
from pathlib import Path
from typing import Annotated

from pydantic import Field

from hil.core.errors import InputError
from hil.core.toml_file import Strict, load_toml

#: The smallest piece of serial NOR flash that can be erased alone, in bytes.
SECTOR = 4096


class Region(Strict):
    """A part of the flash, in bytes from its beginning; whole sectors, so that it can be erased alone."""

    offset: Annotated[int, Field(ge=0, multiple_of=SECTOR)]
    size: Annotated[int, Field(gt=0, multiple_of=SECTOR)]


class Image(Strict):
    """A file and where it goes in the flash, in bytes from its beginning; `update` marks the one an update sends."""

    file: Path
    offset: Annotated[int, Field(ge=0)]
    update: bool = False

    def content(self) -> bytes:
        """Return the bytes of the file.

        Raises:
            InputError: the file is missing, unreadable or empty.
        """
        try:
            content = self.file.read_bytes()
        except OSError as error:
            raise InputError(str(self.file), f"this image cannot be read: {error.strerror}.", "Build it.") from error
        if not content:
            raise InputError(str(self.file), "this image is empty.", "Build it again.")
        return content


class BuildFile(Strict):
    """What `build.toml` may say."""

    version: Annotated[str, Field(min_length=1)]
    images: Annotated[tuple[Image, ...], Field(min_length=1)]
    settings: tuple[Region, ...] = ()


class Build(BuildFile):
    """A checked build: its images are there, stand in offset order and do not touch each other or the settings."""

    path: Path

    @property
    def sha256(self) -> str:
        """What this build is known by, as 64 hex digits: see `sum_of`."""
        return sum_of([(image.offset, image.content()) for image in self.images])

    @property
    def for_update(self) -> Image:
        """The image that is sent to update a unit over the network: the one marked, else the only one.

        Raises:
            InputError: there are several, and not just one is marked.
        """
        marked = [image for image in self.images if image.update] or list(self.images)
        if len(marked) != 1:
            remedy = "Set update = true for the one that is."
            raise InputError(f"{self.path}: images", "none or several are marked as sent in an update.", remedy)
        return marked[0]


UNKNOWN_BUILD = Build.model_construct(version="unknown", images=(), settings=(), path=Path())
"""What is on a unit that is looked at as it is."""


def sum_of(pieces: list[tuple[int, bytes]]) -> str:
    """Return one SHA-256 over pieces of flash given as (offset, content), in hex.

    Over all pieces in offset order: the offset as 8 bytes, the length as 8 bytes, both least significant first, then
    the content. So the sum changes when a piece moves or grows, and not with the order they are listed in.
    """
    total = hashlib.sha256()
    for offset, content in sorted(pieces):
        total.update(offset.to_bytes(8, "little") + len(content).to_bytes(8, "little") + content)
    return total.hexdigest()


def load_build(path: Path) -> Build:
    """Read a build file, or the `build.toml` in a folder; image files are named from where the build file stands.

    Raises:
        InputError: the build file or an image is missing or wrong, or parts overlap in the flash.
    """
    path = path / "build.toml" if path.is_dir() else path
    said = load_toml(path, BuildFile, "build file")
    images = (image.model_copy(update={"file": path.parent / image.file}) for image in said.images)
    in_order = tuple(sorted(images, key=lambda image: image.offset))
    build = Build(version=said.version, images=in_order, settings=said.settings, path=path)
    _refuse_overlaps(build)
    return build


def _refuse_overlaps(build: Build) -> None:
    taken = [(image.offset, len(image.content()), f"image {image.file.name}") for image in build.images]
    taken += [(region.offset, region.size, "settings") for region in build.settings]
    taken.sort()
    for (first, size, name), (second, _, other) in pairwise(taken):
        # Erasing works on whole sectors, so two parts in one sector could not be written one after the other.
        end = first + size
        if second < -(-end // SECTOR) * SECTOR:
            problem = f"{name} ({first:#x} to {end:#x}) reaches into a sector of {other}, which begins at {second:#x}."
            raise InputError(f"{build.path}: images, settings", problem, "Move one of them, or make the first shorter.")
