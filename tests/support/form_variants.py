"""Units whose setup pages differ: the demo's firmware with a few texts changed, and the product file that tells of it.

A variant's file says why it is there, what it changes of the demo's product file (`[product]` is laid over it, `drop` takes
keys away), and what of the firmware: `pages` is a module of its own, whose `Pages` stand in for the demo's, and each
`[[change]]` puts a text in another's place. One that is bad is `of` a good one, and says which checks catch it.
"""

import json
import tomllib
from dataclasses import dataclass, field
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field

from hil.virtual import DEMO_PRODUCT
from hil.virtual.board.image import pack_image
from hil.virtual.build import firmware_files, make_build
from hil.virtual.patches import Change, ExpectedOfCheck
from support.firmware import tar_of

FOLDER = Path(__file__).parent.parent / "whole" / "form_variants"
LEGS = ("first_start", "form_saved", "form_edited")
"""The legs that every variant is driven for; a file may name others beside."""
OWN_PAGES = (("import pages\n", "import pages\nimport variant\n"), ("pages.Pages(unit)", "variant.Pages(unit)"))
"""How the firmware's `main.py` comes to a variant's pages."""


class Variant(BaseModel):
    """A variant's file."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    why: str = Field(min_length=1)
    of: str = ""
    legs: tuple[str, ...] = ()
    drop: tuple[str, ...] = ()
    product: dict[str, object] = Field(default_factory=dict)
    pages: str = ""
    change: tuple[Change, ...] = ()
    expect: tuple[ExpectedOfCheck, ...] = ()


@dataclass
class Whole:
    """A variant with all that it is made of: product file and firmware sources, and the legs to drive."""

    product: dict[str, object]
    files: dict[str, str]
    legs: list[str] = field(default_factory=lambda: list(LEGS))

    def replace(self, file: str, old: str, new: str) -> None:
        """Put a text in another's place, which must stand there once."""
        assert self.files[file].count(old) == 1, f"{file} has {old!r} {self.files[file].count(old)} times"
        self.files[file] = self.files[file].replace(old, new)


def names(*, bad: bool) -> list[str]:
    """The variants, in order: the good ones, or the bad ones."""
    return sorted(file.stem for file in FOLDER.glob("*.toml") if bool(load(file.stem).of) is bad)


def load(name: str) -> Variant:
    """Read a variant."""
    return Variant.model_validate(tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8")))


def made(name: str) -> Whole:
    """Put a variant together."""
    variant = load(name)
    whole = made(variant.of) if variant.of else Whole(tomllib.loads(DEMO_PRODUCT.read_text()), firmware_files())
    whole.legs += variant.legs
    for key in variant.drop:
        *outer, last = key.split(".")
        del _table(whole.product, outer)[last]
    _lay_over(whole.product, variant.product)
    if variant.pages:
        whole.files["variant.py"] = variant.pages
        for old, new in OWN_PAGES:
            whole.replace("main.py", old, new)
    for change in variant.change:
        whole.replace(change.file, change.old, change.new)
    return whole


def write(name: str, folder: Path) -> tuple[Path, Path]:
    """Write a variant's product file and build into a folder; returns both."""
    whole = made(name)
    build_file = make_build(folder / "build")
    next(build_file.parent.glob("*.img")).write_bytes(pack_image(tar_of(whole.files)))
    product_file = folder / "product.toml"
    product_file.write_text(
        "".join(f"{key} = {_toml(value)}\n" for key, value in whole.product.items()), encoding="utf-8"
    )
    return product_file, build_file


def _table(top: dict[str, object], keys: list[str]) -> dict[str, object]:
    for key in keys:
        inner = top[key]
        assert isinstance(inner, dict)
        top = inner
    return top


def _lay_over(below: dict[str, object], above: dict[str, object]) -> None:
    for key, value in above.items():
        there = below.get(key)
        if isinstance(there, dict) and isinstance(value, dict):
            _lay_over(there, value)
        else:
            below[key] = value


def _toml(value: object) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(key)} = {_toml(part)}" for key, part in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return json.dumps(value, ensure_ascii=False)  # texts, numbers and truths are written alike (TOML 1.0)
