"""Measures the suite itself: false alarms on golden units, known-bad units missed, and what the route saves.

    ci/measure suite                                       100 quick and 3 release runs, and every known-bad unit
    ci/measure suite --quick-runs 10 --release-runs 0 --known-bad 1/20        a small part
    ci/measure suite --into FOLDER                         goes on with what was measured there: interrupt it at any time

Every run draws the camera's delay and lost frames and the unit's clock anew, by its seed. Two runs go side by side
(`--jobs`); a quick one takes some 30 s, a release one some 5 min, the known-bad units an hour. Prints false alarms with
their upper bound (Clopper and Pearson, 95 %); of each release run the unit time beside the route's lower bound, and beside
the unit time of the same checks each setting up for itself, by the durations measured in that very run; how long judging
it anew takes, start included; and what came of the known-bad units. Only runs of the tool as it is now are counted.

Ends with 1 on a false alarm, a known-bad unit that came to anything else than its signature, or a route that takes more
than a quarter of what the checks alone would; else with 3 where a golden unit was left undecided; else with 0.
"""

import json
import random
import shutil
import sys
import time
from argparse import ArgumentParser, Namespace
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import asdict, dataclass
from pathlib import Path
from threading import Lock

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

import pytest
from hil_fixtures.wanted import legs_of
from support.runs import Ended, hil

from hil.cli.challenge_folder import tool_revision
from hil.cli.collected import collect
from hil.core.run_folder import RunFolder
from hil.core.stages import Unknown
from hil.drive.route import plan_route
from hil.judge.statistics import rate_statement
from hil.legs.leg import DECLARED, LegCall

QUICK, RELEASE, JOBS = 100, 3, 2
FIRST_SEED = {"quick": 2001, "release": 3001}
LIMIT_S, SERIES_LIMIT_S = 1800.0, 6 * 3600.0
DECIDED = (0, 1, 3)  # what else is no run: driven again next time
LEAST_SAVING = 4.0  # times the route's unit time that the checks each alone must take
BENCH = """
name = "drawn bench"
kind = "virtual"

[virtual]
speed = 4.0
seed = {seed}
chip_clock_ppm = {ppm:.0f}
camera_latency_s = [{latency:.3f}, {latency:.3f}]
camera_drop = {drop:.3f}

[air_monitor]
channels = [1, 6]
"""


@dataclass(frozen=True, slots=True)
class Saving:
    """What the route of a run took, in unit seconds, and the least it could; what its checks would take each alone."""

    checks: int
    unit_s: float
    bound: str
    alone_s: float
    judged_s: float

    @property
    def times(self) -> float:
        """How many times as long they would take alone."""
        return self.alone_s / self.unit_s


@dataclass(frozen=True, slots=True)
class Golden:
    """A golden unit's run: what it came to, and of a release run that passed what it saved."""

    tool: str
    profile: str
    seed: int
    code: int
    said: str
    saving: Saving | None = None


class Kept:
    """The runs so far, a JSON line each in the folder."""

    def __init__(self, folder: Path) -> None:
        """Read what is there."""
        folder.mkdir(parents=True, exist_ok=True)
        self._file, self._lock = folder / "golden.jsonl", Lock()
        lines = self._file.read_text(encoding="utf-8").splitlines() if self._file.exists() else []
        self._runs = [_golden(line) for line in lines]

    def add(self, run: Golden) -> None:
        """Keep a run."""
        with self._lock, self._file.open("a", encoding="utf-8") as file:
            self._runs.append(run)
            file.write(json.dumps(asdict(run)) + "\n")

    def of(self, profile: str, tool: str) -> list[Golden]:
        """The runs of a profile by this very tool, by seed."""
        runs = [run for run in self._runs if (run.profile, run.tool) == (profile, tool)]
        return sorted(runs, key=lambda run: run.seed)


def _golden(line: str) -> Golden:
    said = json.loads(line)
    saving = said.pop("saving")
    return Golden(**said, saving=Saving(**saving) if saving else None)


def drive(folder: Path, profile: str, seed: int) -> Ended:
    """Drive the good unit on a bench drawn by a seed."""
    dice = random.Random(seed)
    drawn = {"ppm": dice.uniform(-500, 500), "latency": dice.uniform(0.03, 0.25), "drop": dice.uniform(0.0, 0.05)}
    shutil.rmtree(folder, ignore_errors=True)  # a run that was interrupted
    folder.mkdir(parents=True)
    (folder / "bench.toml").write_text(BENCH.format(seed=seed, **drawn), encoding="utf-8")
    return hil("accept", "--profile", profile, "--bench", "bench.toml", cwd=folder, limit_s=LIMIT_S)


def run_golden(into: Path, profile: str, seed: int, items: Sequence[pytest.Item]) -> Golden:
    """Drive one, and leave its folder only where it did not pass; `items` are the checks of its profile."""
    tool, folder = tool_revision(), into / f"{profile}-{seed}"
    ended = drive(folder, profile, seed)
    saving = saved_by(ended.folder, items) if profile == "release" and not ended.code else None
    if not ended.code:
        shutil.rmtree(folder)
    return Golden(tool, profile, seed, ended.code, (ended.out + ended.err).strip() if ended.code else "", saving)


def saved_by(folder: Path, collected: Sequence[pytest.Item]) -> Saving:
    """What the route of a release run took, beside its lower bound and beside checks that set up for themselves."""
    info = RunFolder(folder).read_info()
    took_s: dict[str, float] = {}
    for leg in info.legs:
        id_ = f"{leg.name}[{leg.parameter}]" if leg.parameter else leg.name
        took_s[id_] = min(leg.end_s - leg.begin_s, took_s.get(id_, float("inf")))
    items = [item for item in collected if all(c.id in took_s for c in legs_of(item))]
    bridges = {
        name: LegCall(leg) for name, leg in DECLARED.items() if name in took_s
    }  # some have no check of their own
    calls = bridges | {call.id: call for item in items for call in legs_of(item)}
    alone_s = sum(_alone_s(legs_of(item), calls, took_s) for item in items)
    begun_s = time.monotonic()
    judged = hil("judge", str(folder.resolve()), cwd=folder.parent)
    judged_s = time.monotonic() - begun_s
    if judged.code:
        raise SystemExit(
            f"judging {folder} anew ended with {judged.code}, where it had passed:\n{judged.out}{judged.err}"
        )
    unit_s = info.legs[-1].end_s - info.legs[0].begin_s
    return Saving(len(items), unit_s, str(info.facts["route"]["lower bound"]), alone_s, judged_s)


def _alone_s(wanted: Sequence[LegCall], calls: dict[str, LegCall], took_s: dict[str, float]) -> float:
    """The unit time of a route for one check alone."""
    ids = {call.id for call in wanted}
    bridges = [call for call in calls.values() if call.id not in ids and not call.leg.last and not call.parameter_id]
    plan = plan_route(Unknown(), list(wanted), bridges, took_s.__getitem__)
    if plan.unreached:
        raise SystemExit(
            f"no route leads to {', '.join(plan.unreached)} alone: nothing can be said of what the route saves"
        )
    return plan.expected_s


def golden_runs(into: Path, profile: str, runs: int, jobs: int) -> list[Golden]:
    """As many golden runs as asked for, those that are kept already among them."""
    kept, tool = Kept(into), tool_revision()
    asked = range(FIRST_SEED[profile], FIRST_SEED[profile] + runs)
    items = collect(["--hil-profile", profile])  # here: pytest wants the main thread
    driven = {run.seed for run in kept.of(profile, tool)}
    with ThreadPoolExecutor(max_workers=jobs) as pool:
        begun = [pool.submit(run_golden, into, profile, seed, items) for seed in asked if seed not in driven]
        try:
            for future in as_completed(begun):
                done = future.result()
                if done.code in DECIDED:
                    kept.add(done)
                print(f"{profile}, seed {done.seed}: exit code {done.code}", file=sys.stderr, flush=True)
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
    return [run for run in kept.of(profile, tool) if run.seed in asked]


def say_golden(profile: str, runs: Sequence[Golden], asked: int) -> int:
    """Print what golden runs came to; the exit code for them."""
    alarms, undecided = sum(run.code == 1 for run in runs), sum(run.code not in (0, 1) for run in runs)
    for run in runs:
        if run.code:
            print(f"{profile}, seed {run.seed}, exit code {run.code}:\n{run.said}")
        if run.saving:
            say_saving(run.saving)
    print(f"{profile}: false alarms: {rate_statement(alarms, len(runs) - undecided)}; {undecided} undecided")
    lacking = asked - len(runs)
    if lacking:
        print(f"    {lacking} of {asked} came to no run: go on with the same command")
    slow = any(run.saving and run.saving.times < LEAST_SAVING for run in runs)
    return 1 if alarms or slow else 3 if undecided or lacking else 0


def say_saving(saving: Saving) -> None:
    """Print what a release run saved."""
    print(
        f"release route: {saving.unit_s:.0f} s of unit time, lower bound {saving.bound}; the same {saving.checks} checks"
    )
    print(f"    each setting up for itself: {saving.alone_s:.0f} s, {saving.times:.1f} times as long")
    print(f"    judged anew from pixels and frames in {saving.judged_s:.1f} s")


def known_bad(into: Path, part: str, jobs: int) -> int:
    """Challenge the bench with a part of the known units, or go on with that; the exit code, none wanted: 0."""
    if part == "none":
        return 0
    series = next(iter(sorted((into / f"known-bad-{part.replace('/', '-of-')}").glob("challenge-*"))), None)
    asked = (
        ["--resume", str(series)] if series else ["--reports", f"known-bad-{part.replace('/', '-of-')}", "--part", part]
    )
    ended = hil("challenge", *asked, "--jobs", str(jobs), cwd=into, limit_s=SERIES_LIMIT_S)
    print(ended.out.partition("\nunit ")[2] or ended.out + ended.err)
    return ended.code


def main(asked: Namespace) -> int:
    """Drive, count, print."""
    into, codes = asked.into.resolve(), []
    for profile, runs in (("quick", asked.quick_runs), ("release", asked.release_runs)):
        if runs:
            codes.append(say_golden(profile, golden_runs(into, profile, runs, asked.jobs), runs))
    codes.append(known_bad(into, asked.known_bad, asked.jobs))
    return 1 if 1 in codes else max(codes)


def parser() -> ArgumentParser:
    """The command line."""
    made = ArgumentParser(prog="ci/measure suite")
    made.add_argument("--quick-runs", type=int, default=QUICK)
    made.add_argument("--release-runs", type=int, default=RELEASE)
    made.add_argument("--known-bad", default="1/1", metavar="K/N", help="which part of them, or none")
    made.add_argument("--jobs", type=int, default=JOBS, help="how many runs side by side")
    made.add_argument(
        "--into", type=Path, default=Path("reports/measured-suite"), help="the folder of what is measured"
    )
    return made


if __name__ == "__main__":
    sys.exit(main(parser().parse_args()))
