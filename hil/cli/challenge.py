"""`hil challenge`: puts units whose right verdict is known before the bench, to see whether the bench can be believed."""

import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from threading import Lock
from typing import Annotated

import typer
from hil_fixtures.interrupts import ended_in_order
from hil_fixtures.profiles import USUAL
from hil_fixtures.session import new_folder_path

from hil.cli.challenge_folder import Asked, SeriesFolder, tool_revision
from hil.cli.challenge_plan import Plan, SuiteCheck, plan_of, suite_checks
from hil.cli.challenge_table import never_caught_lines, sum_lines, table
from hil.cli.challenged_unit import KnownUnit, UnitRun, known_units
from hil.cli.own_units import own_product, own_units
from hil.core.errors import InputError
from hil.core.run_folder import RunFolder
from hil.core.text import printable
from hil.core.verdicts import EXIT_INTERRUPTED
from hil.drive.facts import now_text
from hil.judge.challenged import Challenged, Outcome, over_runs
from hil.legs.leg import Profile
from hil.sheet.challenge_page import Challenge, challenge_page

ALL_PARTS = "1/1"


def challenge(
    names: Annotated[list[str] | None, typer.Argument(metavar="[NAME …]", help="units (default: all)")] = None,
    reports: Annotated[Path, typer.Option(help="where the series' folder is made")] = Path("reports"),
    speed: Annotated[float | None, typer.Option(help="unit seconds a real second; a unit may need it slower")] = None,
    jobs: Annotated[int, typer.Option(min=1, max=16, help="how many runs side by side")] = 2,
    part: Annotated[str, typer.Option(metavar="K/N", help="only each N-th unit, from the K-th on")] = ALL_PARTS,
    profile: Annotated[
        Profile | None,
        typer.Option(help="which checks of golden units (default: quick); of others those of their legs"),
    ] = None,
    golden_runs: Annotated[
        int, typer.Option(min=1, max=1000, metavar="N", help="how often golden units are driven")
    ] = 1,
    brief: Annotated[
        bool, typer.Option("--brief", help="of known-bad units the legs of the first check that must fail alone")
    ] = False,
    units: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="units of your own product: a file for each")
    ] = None,
    product: Annotated[Path | None, typer.Option(help="their product file")] = None,
    bench: Annotated[Path | None, typer.Option(help="bench file (default: the virtual bench)")] = None,
    resume: Annotated[Path | None, typer.Option(metavar="FOLDER", help="go on with a series that stopped")] = None,
) -> None:
    """Challenge the bench with units whose right verdict is known."""
    if resume is None:
        folder = SeriesFolder(_new_path(reports))
        own = own_product(units, product, bench)
        asked = Asked(now_text(), tuple(names or ()), part, speed, profile or USUAL, golden_runs, brief, own)
        known = _units(asked)  # wrong input leaves nothing behind
        folder.begin(asked)
    else:
        said = names or speed is not None or profile is not None or part != ALL_PARTS or golden_runs != 1 or brief
        if said or units or product or bench:
            raise InputError(
                "--resume", "the series knows what it is about.", "Leave out what says so: names, --part …."
            )
        folder = SeriesFolder(resume)
        asked = folder.read_asked()
        known = _units(asked)
    checks = suite_checks()
    plans = [plan_of(unit, checks, asked.speed, asked.profile, brief=asked.brief) for unit in known]
    series = _Series(plans, folder, asked.own.options)
    try:
        with ended_in_order(series.stop):
            series.run(jobs)
        code = 0 if series.results and all(unit.exact for unit in series.results) else 1
    except KeyboardInterrupt:
        code = EXIT_INTERRUPTED
    folder.write_page(challenge_page(_told(series, asked, checks)))
    _say_results(series, asked, checks)
    raise typer.Exit(code)


def _units(asked: Asked) -> list[KnownUnit]:
    known = own_units(asked.own, asked.names) if asked.own.units else known_units(asked.names)
    return repeated(part_of(known, asked.part), asked.golden_runs)


def repeated(units: Sequence[KnownUnit], golden_runs: int) -> list[KnownUnit]:
    """With each golden unit so many times, the further ones under names of their own (`good.2`)."""
    return [
        unit if number == 1 else replace(unit, name=f"{unit.name}.{number}")
        for unit in units
        for number in range(1, (golden_runs if unit.golden else 1) + 1)
    ]


def _new_path(reports: Path) -> Path:
    path = new_folder_path(reports)
    return path.with_name(f"challenge-{path.name}")


def part_of(units: Sequence[KnownUnit], part: str) -> list[KnownUnit]:
    """The K-th of N parts, dealt out like cards, so that slow units spread.

    Raises:
        InputError: it is no part.
    """
    first, _, of = part.partition("/")
    if not (first.isdecimal() and of.isdecimal() and 1 <= int(first) <= int(of)):
        raise InputError("--part", f"{part!r} is no part.", "Say K/N with K from 1 to N: 1/3, 2/3, 3/3.")
    return list(units[int(first) - 1 :: int(of)])


def _told(series: "_Series", asked: Asked, checks: Sequence[SuiteCheck]) -> Challenge:
    """What the page tells of."""
    whole = next((unit for unit in series.results if unit.driven.folder), None)
    info = RunFolder(series.folder.path / whole.driven.folder).read_info() if whole is not None else None
    return Challenge(
        number=series.folder.path.name,
        began=asked.began,
        ended=now_text(),
        part="" if asked.part == ALL_PARTS else asked.part,
        profile=asked.profile,
        brief=asked.brief,
        units=tuple(series.results),
        asked=len(series.plans),
        all_units=asked.all_units,
        titles={check.name: check.title for check in checks},
        facts=info.facts if info is not None else {},
    )


def _say_results(series: "_Series", asked: Asked, checks: Sequence[SuiteCheck]) -> None:
    typer.echo("")
    for line in table(series.results):
        typer.echo(line)
    typer.echo("")
    for line in sum_lines(series.results, series.past_s):
        typer.echo(line)
    if asked.all_units and not asked.brief and series.complete:
        for line in never_caught_lines(series.results, [check.name for check in checks]):
            typer.echo(line)
    typer.echo(f"Page: {series.folder.page}")
    if not series.complete:
        typer.echo(f"Not complete. Go on with: hil challenge --resume {series.folder.path}")


def _which(plan: Plan, number: int) -> str:
    told = [f"speed {plan.speed:g}"] if plan.speed is not None else []
    told += [f"run {number} of {plan.unit.runs}"] if plan.unit.runs > 1 else []
    return f" ({', '.join(told)})" if told else ""


def _odd(take: Challenged) -> bool:
    """Whether one run of several says what none of them should."""
    return bool(take.differences or take.trouble)


class _Series:
    """Runs units, some side by side, and says a line as each begins and ends."""

    def __init__(self, plans: Sequence[Plan], folder: SeriesFolder, options: Sequence[str]) -> None:
        self.plans, self.folder, self._options = plans, folder, options
        self._results: dict[str, Challenged] = {}
        self._began_s = time.monotonic()
        self._running: set[UnitRun] = set()
        self._stopped = False
        self._lock = Lock()

    @property
    def past_s(self) -> float:
        """Real seconds since the beginning."""
        return time.monotonic() - self._began_s

    @property
    def results(self) -> list[Challenged]:
        """What the units came to so far, in their order."""
        return [self._results[plan.unit.name] for plan in self.plans if plan.unit.name in self._results]

    @property
    def complete(self) -> bool:
        """Whether every unit has come to a result."""
        whole = [unit for unit in self.results if unit.outcome is not Outcome.NO_RUN]
        return len(whole) == len(self.plans)

    def run(self, jobs: int) -> None:
        """Run all that have no result yet; an interrupt winds up those that run and begins no more."""
        waiting = [plan for plan in self.plans if not self._recall(plan)]
        if self._results:
            self._say(f"{len(self._results)} of {len(self.plans)} units have their result already")
        with ThreadPoolExecutor(max_workers=jobs, thread_name_prefix="challenge") as pool:
            try:
                for future in [pool.submit(self._one, plan) for plan in waiting]:
                    future.result()
            except BaseException:
                self.stop()
                pool.shutdown(wait=False, cancel_futures=True)
                raise

    def _recall(self, plan: Plan) -> bool:
        kept = self.folder.kept(plan.unit.name, plan.key(tool_revision()))
        if kept is not None:
            self._results[plan.unit.name] = kept
        return kept is not None

    def _one(self, plan: Plan) -> None:
        tool, takes = tool_revision(), list[Challenged]()
        while len(takes) < plan.unit.runs and not (takes and takes[-1].outcome is Outcome.NO_RUN):
            takes.append(self._take(plan, tool, len(takes) + 1))
        result = takes[0] if plan.unit.runs == 1 else over_runs(takes)
        with self._lock:
            if not self._stopped or result.outcome is not Outcome.NO_RUN:
                self._results[plan.unit.name] = result
            if result.outcome is not Outcome.NO_RUN:
                self.folder.keep(result, plan.key(tool))

    def _take(self, plan: Plan, tool: str, number: int) -> Challenged:
        result = self._drive(plan, tool, number)
        if result.slept:  # the bench's failure, not the unit's signature: once more
            return replace(self._drive(plan, tool, number), runs=2)
        return result

    def _drive(self, plan: Plan, tool: str, number: int) -> Challenged:
        unit, legs = plan.unit, [f"--leg={leg}" for leg in plan.legs]
        options = [f"--profile={plan.profile}", *legs, *self._options]
        if not (unit.golden or plan.legs):
            return unit.without_run("its signature names no check of the suite")
        with self._lock:
            if self._stopped:
                return unit.without_run("not begun")
            self._say(f"begins  {unit.name}{_which(plan, number)}")
            run = UnitRun(unit, self.folder.fresh(unit.name), options, plan.speed)
            self._running.add(run)
        result = run.outcome()
        with self._lock:
            self._running.discard(run)
            self._say_end(result, as_expected=result.exact or (plan.unit.runs > 1 and not _odd(result)))
        return replace(result, driven=replace(result.driven, tool_revision=tool))

    def _say_end(self, result: Challenged, *, as_expected: bool) -> None:
        verdict = result.verdict or "no verdict"
        self._say(f"ends    {result.name}: {verdict}, {'as expected' if as_expected else 'not as expected'}")
        for difference in result.differences:
            self._say(f"        ≠ {difference.text}")
        if result.trouble:
            self._say(f"        {result.trouble}")

    def stop(self) -> None:
        """Wind up what runs, and begin no more."""
        with self._lock:
            running, self._stopped = () if self._stopped else tuple(self._running), True
        for run in running:  # once: a second interrupt would disturb the winding up
            run.interrupt()

    def _say(self, text: str) -> None:
        typer.echo(printable(f"{self.past_s:6.0f} s  {text}")[:80])
