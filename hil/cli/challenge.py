"""`hil challenge`: puts units whose right verdict is known before the bench, to see whether the bench can be believed."""

import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from threading import Lock
from typing import Annotated

import typer
from hil_fixtures.session import new_folder_path

from hil.cli.challenge_table import Challenged, summary, table
from hil.cli.challenged_unit import KnownUnit, UnitRun, known_units
from hil.core.errors import InputError


def challenge(
    names: Annotated[list[str] | None, typer.Argument(metavar="[NAME …]", help="units (default: all)")] = None,
    reports: Annotated[Path, typer.Option(help="where the runs' folder is made")] = Path("reports"),
    speed: Annotated[float | None, typer.Option(help="unit seconds a real second; a unit may need it slower")] = None,
    jobs: Annotated[int, typer.Option(min=1, max=16, help="how many runs side by side")] = 2,
    part: Annotated[str, typer.Option(metavar="K/N", help="only each N-th unit, from the K-th on")] = "1/1",
) -> None:
    """Challenge the bench with units whose right verdict is known."""
    units = part_of(known_units(names or ()), part)
    folder = new_folder_path(reports)
    folder = folder.with_name(f"challenge-{folder.name}")
    series = _Series(units, folder, speed)
    results = series.run(jobs)
    typer.echo("")
    for line in table(results):
        typer.echo(line)
    typer.echo("")
    typer.echo(summary(results, series.past_s))
    typer.echo(f"Runs: {folder}")
    raise typer.Exit(0 if results and all(unit.exact for unit in results) else 1)


def part_of(units: Sequence[KnownUnit], part: str) -> list[KnownUnit]:
    """The K-th of N parts, dealt out like cards, so that slow units spread.

    Raises:
        InputError: it is no part.
    """
    first, _, of = part.partition("/")
    if not (first.isdecimal() and of.isdecimal() and 1 <= int(first) <= int(of)):
        raise InputError("--part", f"{part!r} is no part.", "Say K/N with K from 1 to N: 1/3, 2/3, 3/3.")
    return list(units[int(first) - 1 :: int(of)])


class _Series:
    """Runs units, some side by side, and says a line as each begins and ends."""

    def __init__(self, units: Sequence[KnownUnit], folder: Path, speed: float | None) -> None:
        self._units, self._folder, self._speed = units, folder, speed
        self._began_s = time.monotonic()
        self._running: set[UnitRun] = set()
        self._stopped = False
        self._lock = Lock()

    @property
    def past_s(self) -> float:
        """Real seconds since the beginning."""
        return time.monotonic() - self._began_s

    def run(self, jobs: int) -> list[Challenged]:
        """Run all; an interrupt winds up those that run and begins no more."""
        with ThreadPoolExecutor(max_workers=jobs, thread_name_prefix="challenge") as pool:
            waiting = [pool.submit(self._one, unit) for unit in self._units]
            try:
                return [future.result() for future in waiting]
            except BaseException:
                self._stop()
                pool.shutdown(wait=False, cancel_futures=True)
                raise

    def _one(self, unit: KnownUnit) -> Challenged:
        result = self._drive(unit, self._folder / unit.name)
        if result.slept:  # the bench's failure, not the unit's signature: once more
            result = replace(self._drive(unit, self._folder / f"{unit.name}-again"), runs=2)
        return result

    def _drive(self, unit: KnownUnit, folder: Path) -> Challenged:
        speed = unit.speed_for(self._speed)
        with self._lock:
            if self._stopped:
                return Challenged(unit.name, unit.golden, None, trouble="not begun")
            self._say(f"begins  {unit.name}" + (f" (speed {speed:g})" if speed is not None else ""))
            run = UnitRun(unit, folder, speed)
            self._running.add(run)
        result = run.outcome()
        with self._lock:
            self._running.discard(run)
            verdict = result.verdict or "no verdict"
            self._say(f"ends    {unit.name}: {verdict}, {'as expected' if result.exact else 'not as expected'}")
            for text in result.complaints:
                self._say(f"        ≠ {text}")
        return result

    def _stop(self) -> None:
        with self._lock:
            self._stopped = True
            for run in self._running:
                run.interrupt()

    def _say(self, text: str) -> None:
        typer.echo(f"{self.past_s:6.0f} s  {text}"[:80])
