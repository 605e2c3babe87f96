"""`hil suite`: which defects of the field the shipped checks stand for, and which they do not, and why."""

from collections.abc import Sequence
from dataclasses import dataclass
from fnmatch import fnmatch
from importlib.util import find_spec
from pathlib import Path

from hil_fixtures.wanted import SUITE, name_of, profile_of
from pydantic import Field
from rich.console import Console
from rich.table import Table

from hil.cli.collected import collect
from hil.core.errors import OurBug
from hil.core.toml_file import Strict, load_toml


class Defect(Strict):
    """A class of defects: `checks` are names, or patterns of names, of checks that stand for it; else `not_seen` says why."""

    words: str
    often: bool = False
    checks: tuple[str, ...] = ()
    not_seen: str = ""


class Catalogue(Strict):
    """All classes, by a short name."""

    defect: dict[str, Defect] = Field(min_length=1)


@dataclass(frozen=True, slots=True)
class Covered:
    """A class, and the checks of the suite that stand for it, with the profiles that have them."""

    name: str
    defect: Defect
    checks: tuple[str, ...]
    profiles: tuple[str, ...]


def load_catalogue() -> Catalogue:
    """The catalogue that lies beside the checks."""
    spec = find_spec(SUITE)
    if spec is None or not spec.submodule_search_locations:
        raise OurBug(f"{SUITE} is not installed.")
    return load_toml(Path(spec.submodule_search_locations[0]) / "defects.toml", Catalogue, "catalogue of defects")


def covered(catalogue: Catalogue, profile_by_check: dict[str, str]) -> list[Covered]:
    """Each class with its checks.

    Raises:
        OurBug: a pattern fits no check.
    """
    rows = []
    for name, defect in catalogue.defect.items():
        found: dict[str, str] = {}
        for pattern in defect.checks:
            fit = {check: profile for check, profile in profile_by_check.items() if fnmatch(check, pattern)}
            if not fit:
                raise OurBug(f"The catalogue of defects names {pattern!r}, and no check is called so.")
            found |= fit
        rows.append(Covered(name, defect, tuple(found), tuple(dict.fromkeys(found.values()))))
    return rows


def suite() -> None:
    """Show which defects of the field the checks stand for."""
    items = collect(["--hil-profile", "soak"])
    rows = covered(load_catalogue(), {_plain(name_of(item)): str(profile_of(item)) for item in items})
    table = Table(
        "defect", "checks", "profile", title="What the suite stands for", title_justify="left", show_lines=False
    )
    for row in rows:
        table.add_row(f"{'★ ' if row.defect.often else ''}{row.defect.words}", _told(row), ", ".join(row.profiles))
    screen = Console(highlight=False)
    screen.print(table)
    screen.print(_summary(rows))


def _plain(name: str) -> str:
    """A check's name without its parameters."""
    return name.partition("[")[0]


def _told(row: Covered) -> str:
    if not row.checks:
        return f"none: {row.defect.not_seen}"
    files = dict.fromkeys(check.partition("::")[0].removeprefix("test_").removesuffix(".py") for check in row.checks)
    return f"{len(row.checks)} in {', '.join(files)}"


def _summary(rows: Sequence[Covered]) -> str:
    often = [row for row in rows if row.defect.often]
    seen, seen_often = sum(bool(row.checks) for row in rows), sum(bool(row.checks) for row in often)
    return (
        f"{seen} of {len(rows)} classes of defects have checks; "
        f"of the {len(often)} most frequent or most damaging (★), {seen_often}."
    )
