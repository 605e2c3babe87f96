"""Earlier runs that lie beside a run: the folders of runs are their own record, and there is no other store."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from hil.core.errors import InputError
from hil.core.run_folder import RunFolder, RunInfo
from hil.core.verdicts import Verdict

LONG_AGO = datetime.min.replace(tzinfo=UTC)


def passed_before(folder: Path, info: RunInfo) -> list[tuple[RunFolder, RunInfo]]:
    """Runs beside this one that passed before it, under a product file of the same name and in the same profile, newest first.

    The build may be another one. A folder that is no run, or cannot be read, is passed over.
    """
    began = _began(info)
    found = [
        (run, other)
        for run, other in _beside(folder)
        if other.verdict == Verdict.PASS and _alike(info, other) and _began(other) < began
    ]
    return sorted(found, key=lambda pair: _began(pair[1]), reverse=True)


def _beside(folder: Path) -> Iterator[tuple[RunFolder, RunInfo]]:
    here = folder.resolve()
    try:
        others = sorted(path for path in here.parent.iterdir() if path != here)
    except OSError:
        return
    for path in others:
        run = RunFolder(path)
        try:
            yield run, run.read_info()
        except InputError:
            continue


def _alike(one: RunInfo, other: RunInfo) -> bool:
    files = [info.facts.get("product", {}).get("file") for info in (one, other)]
    return files[0] is not None and files[0] == files[1] and one.profile == other.profile


def _began(info: RunInfo) -> datetime:
    """When a run began; long ago where it does not say so in a way that can be compared."""
    try:
        began = datetime.fromisoformat(info.began)
    except ValueError:
        return LONG_AGO
    return began if began.tzinfo is not None else LONG_AGO
