"""The folder of a series: what it is about, a result for each unit that came to its end, and the units' runs.

    series.json          what was asked for, and when it began
    results/UNIT.json    what a unit came to, written when its run has ended
    UNIT/, UNIT-2/, …    its builds and runs, a folder each time it was begun
    challenge.html       the whole as a page

A series that was interrupted is taken up again from this folder. Every file is written whole or not at all.
"""

import hashlib
from dataclasses import dataclass, field
from importlib.util import find_spec
from itertools import count
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from hil.cli.own_units import OwnProduct
from hil.core.errors import BenchError, InputError
from hil.drive.facts import tool_version
from hil.judge.challenged import Challenged
from hil.legs.leg import Profile

PACKAGES = ("hil", "hil_acceptance", "hil_fixtures")
PATCHES = "known_bad"  # known by sums of their own
SHORT_DIGEST = 12


@dataclass(frozen=True, slots=True)
class Asked:
    """What a series is about: units by name (none: all), a part of them, the speed, how golden units are driven, how others.

    `own` says whose units they are, where they are not the demo's.
    """

    began: str
    names: tuple[str, ...]
    part: str
    speed: float | None
    profile: Profile
    golden_runs: int = 1
    brief: bool = False
    own: OwnProduct = field(default_factory=OwnProduct)

    @property
    def all_units(self) -> bool:
        """Whether every unit there is was asked for."""
        return not self.names and self.part.partition("/")[2] == "1"


@dataclass(frozen=True, slots=True)
class _Kept:
    key: str
    unit: Challenged


class SeriesFolder:
    """Reads and writes that folder."""

    def __init__(self, path: Path) -> None:
        """Name it; nothing is made or read yet."""
        self.path = path
        self._results = path / "results"

    def begin(self, asked: Asked) -> None:
        """Make it.

        Raises:
            InputError: it cannot be made there.
        """
        try:
            self._results.mkdir(parents=True)
        except OSError as error:
            raise InputError(
                str(self.path), f"a series' folder cannot be made here: {error}.", "Give --reports FOLDER."
            ) from error
        self._write(self.path / "series.json", TypeAdapter(Asked).dump_json(asked, indent=1))

    def read_asked(self) -> Asked:
        """Read what the series is about.

        Raises:
            InputError: this is not the folder of a series.
        """
        file = self.path / "series.json"
        try:
            return TypeAdapter(Asked).validate_json(file.read_bytes())
        except (OSError, ValidationError) as error:
            problem = error.strerror if isinstance(error, OSError) else "it is not the record of a series"
            raise InputError(str(file), f"{problem}.", "Name a folder reports/challenge-….") from error

    def keep(self, unit: Challenged, key: str) -> None:
        """Keep a result under what it is known by."""
        self._write(self._result_of(unit.name), TypeAdapter(_Kept).dump_json(_Kept(key, unit), indent=1))

    def kept(self, name: str, key: str) -> Challenged | None:
        """The result of a unit, where a whole one that is known by that was kept, and its run is still there."""
        try:
            kept = TypeAdapter(_Kept).validate_json(self._result_of(name).read_bytes())
        except (OSError, ValidationError):  # none yet, or a torn one
            return None
        run = self.path / kept.unit.driven.folder / "run.json"
        return kept.unit if (kept.key, kept.unit.name) == (key, name) and run.exists() else None

    def fresh(self, name: str) -> Path:
        """A folder for a run of a unit in which nothing was run before."""
        paths = (self.path / (name if number == 1 else f"{name}-{number}") for number in count(1))
        return next(path for path in paths if not path.exists())

    @property
    def page(self) -> Path:
        """The page."""
        return self.path / "challenge.html"

    def write_page(self, html: str) -> None:
        """Write the page."""
        self._write(self.page, html.encode("utf-8"))

    def _result_of(self, name: str) -> Path:
        return self._results / f"{name}.json"

    def _write(self, file: Path, content: bytes) -> None:
        new = file.with_name(f"{file.name}.new")
        try:
            new.write_bytes(content)
            new.replace(file)
        except OSError as error:
            raise BenchError(str(file), f"it cannot be written: {error}.", "Make room on the disk.") from error


def tool_revision() -> str:
    """The tool's version, and what its sources are known by: their SHA-256, the patches of known-bad units left out."""
    total = hashlib.sha256()
    for package in PACKAGES:
        for file in _sources(package):
            content = file.read_bytes()
            total.update(f"{package} {file.name} {len(content)}\n".encode() + content)
    return f"{tool_version()}, sources {total.hexdigest()[:SHORT_DIGEST]}"


def _sources(package: str) -> list[Path]:
    spec = find_spec(package)
    folders = (spec.submodule_search_locations if spec else None) or ()
    files = (file for folder in folders for file in Path(folder).rglob("*") if file.suffix in (".py", ".toml"))
    return sorted(file for file in files if PATCHES not in file.parts)
