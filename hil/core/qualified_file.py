"""The qualification file, beside a bench file: which looks of a lamp its camera cannot tell apart, by `hil bench qualify`."""

from pathlib import Path

from pydantic import Field, model_validator

from hil.core.kept_file import read_kept
from hil.core.toml_file import Strict

Region = tuple[int, int, int, int]


class LookTold(Strict):
    """A colour, steady or flashing at a rate."""

    colour: str
    flash_hz: float | None = Field(default=None, gt=0.0)

    def __str__(self) -> str:
        """In words."""
        return self.colour if self.flash_hz is None else f"{self.colour} flashing {self.flash_hz:g} Hz"


class Alike(Strict):
    """Two looks that cannot be told apart, and what shows it: two colours, or one colour at two rates."""

    one: LookTold
    other: LookTold
    because: str

    @model_validator(mode="after")
    def _differ(self) -> "Alike":
        if self.one.colour == self.other.colour and not (self.one.flash_hz and self.other.flash_hz):
            raise ValueError("two looks of one colour differ by the rates at which they flash")
        return self

    def __str__(self) -> str:
        """In words."""
        return f"{self.one} and {self.other}"


class QualifiedFile(Strict):
    """What was found, when (a date), from which runs, and with the camera aimed so: the lamps' regions, where they were known."""

    day: str
    runs: tuple[str, ...]
    qualified: bool
    regions: tuple[Region | None, Region | None]
    alike: tuple[Alike, ...]


def qualified_file_of(bench_path: Path) -> Path:
    """Where the qualification file of a bench file is."""
    return bench_path.with_suffix(".qualified.json")


def read_qualified(path: Path) -> QualifiedFile | None:
    """Read one; None where there is none.

    Raises:
        InputError: it cannot be read.
    """
    return read_kept(path, QualifiedFile, "qualification file", "Qualify anew: hil bench qualify RUN RUN --bench FILE.")
