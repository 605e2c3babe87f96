"""Measures the suite itself: false alarms on golden units, and what the route saves.

    ci/measure suite [QUICK [RELEASE]]     100 quick and 3 release runs by default, some 40 s and 5 min each

Every run draws the camera's delay and lost frames and the unit's clock anew. Prints false alarms with their upper bound
(Clopper and Pearson, 95 %); for each release run the unit time beside the route's lower bound, and beside the unit time of
the same checks each setting up for itself (by the durations measured in that very run); and how long judging it anew takes,
in a process of its own, start included. Ends with 1 on a false alarm.
"""

import random
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from hil_fixtures.wanted import legs_of
from scipy.stats import binomtest
from support.runs import Ended, hil

from hil.cli.collected import collect
from hil.core.run_folder import RunFolder
from hil.core.stages import Unknown
from hil.drive.route import plan_route
from hil.legs.leg import LegCall

QUICK, RELEASE, SEED = 100, 3, 2001
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


def drive(folder: Path, profile: str, seed: int) -> Ended:
    """Drive the good unit on a bench drawn by a seed."""
    dice = random.Random(seed)
    drawn = {"ppm": dice.uniform(-500, 500), "latency": dice.uniform(0.03, 0.25), "drop": dice.uniform(0.0, 0.05)}
    (folder / "bench.toml").write_text(BENCH.format(seed=seed, **drawn), encoding="utf-8")
    return hil("accept", "--profile", profile, "--bench", "bench.toml", cwd=folder, limit_s=1800.0)


def false_alarms(profile: str, runs: int, first_seed: int) -> int:
    """Drive so many golden units, print what did not pass, and the bound; returns how many."""
    failed = unjudged = 0
    for number in range(runs):
        with tempfile.TemporaryDirectory() as name:
            ended = drive(Path(name), profile, first_seed + number)
            failed += ended.code == 1
            unjudged += ended.code not in (0, 1)
            print(f"{profile} {number + 1} of {runs}: exit code {ended.code}", file=sys.stderr, flush=True)
            if ended.code:
                print(f"{profile}, seed {first_seed + number}: {ended.out.strip()}")
            if profile == "release" and not ended.code:
                print_saving(ended.folder)
    bound = binomtest(failed, runs).proportion_ci(0.90, "exact").high  # one-sided 95 %
    print(f"{profile}: {failed} false alarms and {unjudged} unjudged in {runs} golden runs; true rate of false alarms")
    print(f"    below {bound:.1%} (one-sided 95 %, Clopper and Pearson)")
    return failed


def print_saving(folder: Path) -> None:
    """What the route of a release run took, beside its lower bound and beside checks that set up for themselves."""
    info = RunFolder(folder).read_info()
    took_s: dict[str, float] = {}
    for leg in info.legs:
        id_ = f"{leg.name}[{leg.parameter}]" if leg.parameter else leg.name
        took_s[id_] = min(leg.end_s - leg.begin_s, took_s.get(id_, float("inf")))
    items = [item for item in collect(["--hil-profile", "release"]) if all(c.id in took_s for c in legs_of(item))]
    calls = {call.id: call for item in items for call in legs_of(item)}
    alone_s = sum(_alone_s(legs_of(item), calls, took_s) for item in items)
    route = info.facts["route"]
    unit_s = info.legs[-1].end_s - info.legs[0].begin_s
    print(
        f"release route: {unit_s:.0f} s of unit time, lower bound {route['lower bound']}; the same {len(items)} checks"
    )
    print(f"    each setting up for itself: {alone_s:.0f} s, {alone_s / unit_s:.1f} times as long")
    begun_s = time.monotonic()
    hil("judge", str(folder), cwd=folder.parent)
    print(f"    judged anew from pixels and frames in {time.monotonic() - begun_s:.1f} s")


def _alone_s(wanted: tuple[LegCall, ...], calls: dict[str, LegCall], took_s: dict[str, float]) -> float:
    """The unit time of a route for one check alone."""
    ids = {call.id for call in wanted}
    bridges = [call for call in calls.values() if call.id not in ids and not call.leg.last and not call.parameter_id]
    return plan_route(Unknown(), wanted, bridges, took_s.__getitem__).expected_s


def main(quick: int, release: int) -> int:
    """Drive, count, print."""
    alarms = false_alarms("quick", quick, SEED) if quick else 0
    return 1 if alarms + (false_alarms("release", release, SEED + 1000) if release else 0) else 0


if __name__ == "__main__":
    given = [int(text) for text in sys.argv[1:]]
    sys.exit(main(*(given + [QUICK, RELEASE][len(given) :])))
