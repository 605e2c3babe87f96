"""Known-bad units, and a golden one that is only just good: small changes to the reference firmware, one file each.

A patch file says why it is there and lists its changes: a file of the firmware, the text to be replaced, which must
stand there exactly once, and the text in its place. So a patch that no longer fits the firmware is noticed. What is wrong
may lie beside the program too: in how the build was put together, or in the unit's flash.
"""

import hashlib
import tomllib
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from hil.core.errors import InputError, OurBug

__all__ = ["Change", "FurtherImage", "Patch", "load_patch", "patch_names", "patch_sum"]

FOLDER = Path(__file__).parent / "known_bad"


class Change(BaseModel):
    """One text of a firmware file and what stands in its place."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    file: str
    old: str = Field(min_length=1)
    new: str


class FurtherImage(BaseModel):
    """An image that the build has beside its program: its file, where it belongs in the flash, and what is in it."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    file: str
    offset: int = Field(ge=0)
    content: str = Field(min_length=1)
    update: bool = False


class ExpectedOfCheck(BaseModel):
    """What one check must come to on such a unit, or all checks whose ids begin so (`test_form.py::*`).

    `reading` says on which side of its limits the reading must lie, `says` what must stand in the reason.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    check: str = Field(min_length=1)
    verdict: Literal["fail", "unjudged", "not reached"]
    reading: Literal["above", "below"] | None = None
    says: str = ""


class Patch(BaseModel):
    """What makes a unit known-bad, why it is one of them, and how it must be caught.

    `expect` names every check that must end other than in a pass; a unit without any is a golden one. `speed` is the
    fastest at which the bench's doubt still decides it, in unit seconds a real second. Of a known-bad unit the legs of
    the checks it names are driven, and `legs` (names, or ids with their parameters) beside them. `runs` is above one where
    the fault comes in some runs only: the unit is driven so often, and each check must come out so in one of them at least.
    `worn_flash_at` is the address of an octet of its flash that reads as zero.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    why: str = Field(min_length=1)
    speed: float | None = Field(default=None, gt=0.0)
    legs: tuple[str, ...] = ()
    runs: int = Field(default=1, ge=1)
    expect: tuple[ExpectedOfCheck, ...] = ()
    change: tuple[Change, ...] = ()
    image: tuple[FurtherImage, ...] = ()
    worn_flash_at: int | None = Field(default=None, ge=0)

    @model_validator(mode="after")
    def _differs(self) -> "Patch":
        if not self.change and not self.image and self.worn_flash_at is None:
            raise ValueError("nothing in it differs from the good unit")
        return self

    def apply(self, files: dict[str, str]) -> dict[str, str]:
        """Return the firmware's files (name: text) with the changes made.

        Raises:
            OurBug: a text to be replaced does not stand in its file exactly once.
        """
        patched = dict(files)
        for change in self.change:
            count = patched.get(change.file, "").count(change.old)
            if count != 1:
                raise OurBug(f"A patch finds {change.old!r} {count} times in firmware file {change.file}, not once.")
            patched[change.file] = patched[change.file].replace(change.old, change.new)
        return patched


def patch_names() -> tuple[str, ...]:
    """Return the names of all patches, in order."""
    return tuple(sorted(file.stem for file in FOLDER.glob("*.toml")))


def patch_sum(name: str) -> str:
    """Return what a patch file is known by, as 64 hex digits: the SHA-256 of its bytes.

    Raises:
        InputError: there is no such patch.
    """
    return hashlib.sha256(_file_of(name).read_bytes()).hexdigest()


def load_patch(name: str) -> Patch:
    """Read a patch by its name.

    Raises:
        InputError: there is no such patch.
    """
    file = _file_of(name)
    try:
        return Patch.model_validate(tomllib.loads(file.read_text(encoding="utf-8")))
    except (tomllib.TOMLDecodeError, ValidationError) as error:
        raise OurBug(f"Patch file {file.name} is wrong: {error}.") from error


def _file_of(name: str) -> Path:
    if name not in patch_names():
        raise InputError("patch", f"{name!r} is not known.", f"Choose one of: {', '.join(patch_names())}.")
    return FOLDER / f"{name}.toml"
