"""Known units of somebody's own product: a folder with a file for each, which names its build and its signature.

why = "Gives up joining after 24 s."
build = "gives_up_late/build.toml"      # as `hil accept --build` takes it, from this file's folder on

[[expect]]                              # every check that must end other than in a pass; a golden unit has none
check = "test_absent_network.py::test_gives_up_in_time"
verdict = "fail"
reading = "above"
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from hil.cli.challenged_unit import KnownUnit
from hil.core.build import load_build
from hil.core.errors import InputError
from hil.core.toml_file import Strict, load_toml
from hil.core.verdicts import Verdict
from hil.judge.signature import ExpectedVerdict


class Expected(Strict):
    """What one check must come to, or all whose ids begin so (`test_form.py::*`)."""

    check: Annotated[str, Field(min_length=1)]
    verdict: Literal["fail", "unjudged", "not reached"]
    reading: Literal["above", "below"] | None = None
    says: str = ""


class UnitFile(Strict):
    """A unit: why it is one of them, its build, and how it must be caught; for the rest see `KnownUnit`."""

    why: Annotated[str, Field(min_length=1)]
    build: Path
    speed: Annotated[float, Field(gt=0.0)] | None = None
    legs: tuple[str, ...] = ()
    runs: Annotated[int, Field(ge=1)] = 1
    expect: tuple[Expected, ...] = ()


@dataclass(frozen=True, slots=True)
class OwnProduct:
    """Whose units a series drives: where their files are, their product file and the bench; empty: the demo's."""

    units: str = ""
    product: str = ""
    bench: str = ""

    @property
    def options(self) -> list[str]:
        """What `hil accept` must be told of it."""
        given = {"--product": self.product, "--bench": self.bench}
        return [word for name, value in given.items() if value for word in (name, value)]


def own_product(units: Path | None, product: Path | None, bench: Path | None) -> OwnProduct:
    """Take the options of a series together.

    Raises:
        InputError: there is a product or bench file without units for it, or no such file.
    """
    if units is None and (product or bench):
        name = "--product" if product else "--bench"
        raise InputError(name, "the shipped units are of the demo's product, on its bench.", "Give --units FOLDER too.")
    missing = next((path for path in (product, bench) if path and not path.is_file()), None)
    if missing is not None:
        raise InputError(str(missing), "there is no such file.", "Give the path of one.")
    paths = (str(path.resolve()) if path else "" for path in (units, product, bench))
    return OwnProduct(*paths)


def own_units(own: OwnProduct, names: Sequence[str] = ()) -> list[KnownUnit]:
    """Read the units of those names, in order; all there are where none is named.

    Raises:
        InputError: there are none, no unit is called so, or a file or build is wrong.
    """
    files = {file.stem: file for file in sorted(Path(own.units).glob("*.toml"))}
    if not files:
        raise InputError(own.units, "there are no units here.", "Give a folder with a TOML file for each.")
    for name in names:
        if name not in files:
            raise InputError("unit", f"{name!r} is not known.", f"Choose from: {', '.join(files)}.")
    return [_read(file, own) for name, file in files.items() if not names or name in names]


def _read(file: Path, own: OwnProduct) -> KnownUnit:
    told = load_toml(file, UnitFile, "unit file")
    build = load_build(file.parent / told.build)
    expected = tuple(ExpectedVerdict(e.check, Verdict(e.verdict), e.reading, e.says) for e in told.expect)
    files = (file, *(Path(path) for path in (own.product, own.bench) if path))
    digest = hashlib.sha256(b"".join(one.read_bytes() for one in files) + build.sha256.encode()).hexdigest()
    return KnownUnit(file.stem, None, told.why, expected, told.speed, told.legs, digest, told.runs, str(build.path))
