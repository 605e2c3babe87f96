"""However checks are chosen and ordered, each has the verdict it has in the whole run; and a part says it is one.

On a stored run, good and altered to hold every verdict; and live, where the route must shrink with the selection.
"""

import random
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from support.alterations import copy_run, cut_short, say, tighten
from support.runs import Ended, hil, plain_pytest
from support.verdicts import Outcomes, read_outcomes, read_property, verdicts_of

from hil.core.run_folder import RunFolder

AT_ONCE = 2
SEEDS = range(3)
ALONE = 6
SHUFFLE = """
import os, random

def pytest_collection_modifyitems(items):
    random.Random(int(os.environ["SHUFFLE_SEED"])).shuffle(items)
    print("first of the shuffled:", items[0].name)
"""


@pytest.fixture(scope="module")
def mixed_run(good_run: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A recorded run in which some checks pass, some fail and some cannot be judged."""
    run = copy_run(good_run, tmp_path_factory.mktemp("mixed") / "run")
    tighten(run, "hotspot_up_s", 20.0)
    say(run, "form_saved", "Guru Meditation Error: Core 0 panic'ed")
    cut_short(run, "probe")
    return run


class Session:
    """Judges a stored run with plain pytest, in a folder of its own."""

    def __init__(self, run: Path, folder: Path) -> None:
        """Name the run, and where sheets go."""
        self.run, self.folder = run, folder

    def __call__(
        self, name: str, *arguments: str, target: str = "hil_acceptance", seed: int | None = None
    ) -> tuple[Ended, Path]:
        """Run the suite, or a part of it, with some options of pytest; the run's own junit.xml comes back with it."""
        cwd = self.folder / name
        cwd.mkdir()
        environment = {} if seed is None else {"SHUFFLE_SEED": str(seed), "PYTHONPATH": str(cwd)}
        if seed is not None:
            (cwd / "shuffle.py").write_text(SHUFFLE, encoding="utf-8")
            arguments = ("-p", "shuffle", *arguments)
        options = ("--pyargs", target, "--hil-run", str(self.run), "--hil-into", str(cwd / "judged"))
        ended = plain_pytest(*options, *arguments, cwd=cwd, environment=environment)
        junit = cwd / "judged" / "junit.xml"
        assert junit.exists(), ended.out + ended.err
        return ended, junit


@pytest.fixture(scope="module")
def session(mixed_run: Path, tmp_path_factory: pytest.TempPathFactory) -> Session:
    """Judges the mixed run."""
    return Session(mixed_run, tmp_path_factory.mktemp("sessions"))


@pytest.fixture(scope="module")
def whole(session: Session) -> Outcomes:
    """What the whole suite says of the mixed run."""
    ended, junit = session("whole", "-p", "cacheprovider", "-o", f"cache_dir={session.folder / 'cache'}")
    assert ended.code == 1
    assert read_property(junit, "partial") == "no"
    outcomes = read_outcomes(junit)
    counts = Counter(verdicts_of(outcomes).values())
    assert counts["fail"] >= 2, ended.out
    assert counts["unjudged"] >= 2, ended.out
    assert counts["pass"] == len(outcomes) - counts["fail"] - counts["unjudged"] - counts["not applicable"]
    return outcomes


def part_of(whole: Outcomes, chosen: Callable[[str], bool]) -> Outcomes:
    """The whole run's outcomes of some checks."""
    return {name: outcome for name, outcome in whole.items() if chosen(name)}


def test_by_name(session: Session, whole: Outcomes) -> None:
    """`-k`: both a pass, a fail and an unjudged check are among those chosen."""
    ended, junit = session("by name", "-k", "hotspot")
    expected = part_of(whole, lambda name: "hotspot" in name)
    assert read_outcomes(junit) == expected
    assert set(verdicts_of(expected).values()) >= {"pass", "fail", "unjudged"}
    assert (ended.code, read_property(junit, "partial")) == (1, "yes")


def test_stopped_at_the_first(session: Session, whole: Outcomes) -> None:
    """`-x` judges up to the first check that is no pass, and no further."""
    ended, junit = session("stopped", "-x")
    stopped = read_outcomes(junit)
    assert stopped == part_of(whole, lambda name: name in stopped)
    verdicts = list(verdicts_of(stopped).values())
    assert set(verdicts[:-1]) <= {"pass"}
    assert verdicts[-1] != "pass"
    assert ended.code == {"fail": 1, "unjudged": 3}[verdicts[-1]]


def test_last_failed(session: Session, whole: Outcomes) -> None:
    """`--last-failed` after the whole run chooses all that did not pass, and says that it is a part."""
    cache = ("-p", "cacheprovider", "-o", f"cache_dir={session.folder / 'cache'}")
    ended, junit = session("last failed", *cache, "--last-failed")
    assert read_outcomes(junit) == part_of(whole, lambda name: whole[name].verdict not in ("pass", "not applicable"))
    assert (ended.code, read_property(junit, "partial")) == (1, "yes")


def test_one_file_alone_is_a_part(session: Session, whole: Outcomes) -> None:
    """A file of the suite, named by its module: nothing is deselected, and still it is a part."""
    ended, junit = session("one file", target="hil_acceptance.test_power_cut")
    assert read_outcomes(junit) == part_of(whole, lambda name: name.startswith("test_power_cut.py"))
    assert (ended.code, read_property(junit, "verdict"), read_property(junit, "partial")) == (0, "pass", "yes")


def test_shuffled(session: Session, whole: Outcomes) -> None:
    """In any order of collection every check has its verdict, and it is the whole run."""
    with ThreadPoolExecutor(AT_ONCE) as pool:
        runs = list(pool.map(lambda seed: session(f"shuffled {seed}", "-s", seed=seed), SEEDS))
    for ended, junit in runs:
        assert read_outcomes(junit) == whole
        assert (ended.code, read_property(junit, "partial")) == (1, "no")
    firsts = {line for ended, _ in runs for line in ended.out.splitlines() if line.startswith("first of the")}
    assert len(firsts) > 1, "nothing was shuffled"


def test_one_alone(session: Session, whole: Outcomes) -> None:
    """A check by itself; the sample holds each verdict there is."""
    draw = random.Random(20261125)
    codes = {"pass": 0, "fail": 1, "unjudged": 3, "not applicable": 3}  # of that alone: nothing was judged
    by_verdict = [[n for n, o in whole.items() if o.verdict == verdict] for verdict in codes]
    sample = {draw.choice(names) for names in by_verdict}
    sample |= set(draw.sample(sorted(whole.keys() - sample), ALONE - len(sample)))

    def judge_alone(check: str) -> tuple[Ended, Outcomes, str]:
        ended, junit = session(f"alone {check}", target="hil_acceptance." + check.replace(".py", ""))
        return ended, read_outcomes(junit), read_property(junit, "partial")

    with ThreadPoolExecutor(AT_ONCE) as pool:
        for check, (ended, outcomes, partial) in zip(sample, pool.map(judge_alone, sample), strict=True):
            assert outcomes == {check: whole[check]}, check
            assert ended.code == codes[whole[check].verdict]
            assert partial == "yes"


@pytest.mark.parametrize("chosen", ["test_start", "test_hotspot_security"])
def test_live(chosen: str, good_run: Path, tmp_path: Path) -> None:
    """A live run of a part: the checks pass as in the whole run, and the unit is powered up as its legs need, no more."""
    ended = hil("accept", "-k", chosen, cwd=tmp_path)
    folder = ended.folder
    outcomes, of_whole = read_outcomes(folder / "junit.xml"), read_outcomes(good_run / "junit.xml")
    assert verdicts_of(outcomes) == verdicts_of(part_of(of_whole, lambda name: chosen in name))
    assert (ended.code, read_property(folder / "junit.xml", "partial")) == (0, "yes")
    assert "Only a part of the checks was run" in ended.out
    each, legs = power_ups_by_leg(good_run), [leg.name for leg in RunFolder(folder).read_info().legs]
    assert power_ups(folder) == sum(each[leg] for leg in legs) < power_ups(good_run)
    wanted = {leg for outcome in outcomes.values() for leg in outcome.leg.split(".")}
    bridges = {leg.name for leg in RunFolder(folder).read_info().legs if leg.bridge}
    assert set(legs) == wanted | bridges
    assert not wanted & bridges


def power_ups(run: Path) -> int:
    """How often the supply was switched on in a run."""
    return sum(moment.is_("power", "on") for moment in RunFolder(run).read_moments())


def power_ups_by_leg(run: Path) -> dict[str, int]:
    """How often each leg of a run switched the supply on."""
    folder = RunFolder(run)
    ons_s = [m.time_s for m in folder.read_moments() if m.is_("power", "on")]
    legs = folder.read_info().legs
    return {leg.name: sum(leg.begin_s <= on_s <= leg.end_s for on_s in ons_s) for leg in legs}
