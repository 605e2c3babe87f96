"""No check passes on a run whose witness was away: dropped, standing still, or stopped early, for each it names.

A good run, recorded, is altered one witness at a time and judged again by the command itself, once for all checks.
"""

import hashlib
import shutil
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from math import inf
from pathlib import Path

import pytest
from support.alterations import ALTERATIONS, copy_run, dead_stretches
from support.by_day import of_the_day
from support.verdicts import Judged, judge, read_outcomes, verdicts_of, witnesses_by_check

from hil.core.run_folder import RunFolder
from hil.evidence.views import WITNESSES

AT_ONCE = 2
ALL_CASES = [(alteration, witness) for alteration in ALTERATIONS for witness in sorted(set(WITNESSES.values()))]
CASES = of_the_day(ALL_CASES, one_in=3)  # each judging computes for seconds

Judge = Callable[[str, str], Judged]


@pytest.fixture(scope="module")
def checks(tmp_path_factory: pytest.TempPathFactory) -> dict[str, frozenset[str]]:
    """Every shipped check, with the witnesses it names."""
    return witnesses_by_check(tmp_path_factory.mktemp("checks"))


@pytest.fixture(scope="module")
def promised(good_run: Path) -> frozenset[str]:
    """The checks of something that the product promises."""
    verdicts = verdicts_of(read_outcomes(good_run / "junit.xml"))
    return frozenset(check for check, verdict in verdicts.items() if verdict != "not applicable")


@pytest.fixture(scope="module")
def judge_altered(good_run: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Judge]:
    """Judge the good run as altered; all alterations are judged, two at once, where the first is asked for."""
    folder = tmp_path_factory.mktemp("altered")
    with ThreadPoolExecutor(AT_ONCE) as pool:
        queue = _Queue(good_run, folder, pool)
        yield queue.judged


class _Queue:
    """Alterations that leave the same record (a witness that tells events alone stands still by falling silent) are one."""

    def __init__(self, run: Path, folder: Path, pool: ThreadPoolExecutor) -> None:
        self._run, self._folder, self._pool = run, folder, pool
        self._by_record: dict[str, Future[Judged]] = {}
        self._by_case: dict[tuple[str, str], Future[Judged]] = {}

    def judged(self, alteration: str, witness: str) -> Judged:
        """Wait for one."""
        if not self._by_case:
            for case in [("", ""), *CASES]:
                self._by_case[case] = self._submit(*case)
        return self._by_case[alteration, witness].result()

    def _submit(self, alteration: str, witness: str) -> Future[Judged]:
        altered = copy_run(self._run, self._folder / f"{alteration} {witness}")
        if alteration:
            ALTERATIONS[alteration](altered, witness)
        record = _digest(altered)
        if record in self._by_record:
            shutil.rmtree(altered)
        else:
            self._by_record[record] = self._pool.submit(_judge_and_forget, altered)
        return self._by_record[record]


def _judge_and_forget(altered: Path) -> Judged:
    judged = judge(altered, altered.with_name(f"{altered.name}, judged"))
    shutil.rmtree(altered)
    return judged


def _digest(folder: Path) -> str:
    files = sorted(file for file in folder.rglob("*") if file.is_file())
    return hashlib.sha256(b"".join(str(f.relative_to(folder)).encode() + f.read_bytes() for f in files)).hexdigest()


def test_the_unaltered_copy_passes_every_check(
    judge_altered: Judge, checks: dict[str, frozenset[str]], promised: frozenset[str]
) -> None:
    """The control of this experiment: what is not altered is judged, all of it that is promised, and passes."""
    judged = judge_altered("", "")
    assert judged.code == 0, judged.ended.out
    assert judged.verdicts == {check: "pass" if check in promised else "not applicable" for check in checks}
    assert len(promised) > 0.9 * len(checks)


def test_each_witness_is_named_by_some_check(checks: dict[str, frozenset[str]]) -> None:
    """A witness that no check names would make the tests below say nothing of it."""
    assert set(WITNESSES.values()) == set().union(*checks.values())
    assert all(checks.values())


@pytest.mark.parametrize(("alteration", "witness"), CASES)
def test_no_check_passes_without_a_witness_it_names(
    alteration: str,
    witness: str,
    judge_altered: Judge,
    checks: dict[str, frozenset[str]],
    promised: frozenset[str],
    good_run: Path,
) -> None:
    """Each is unjudged and says so of that witness; and since it is the bench's fault, no check at all fails."""
    judged = judge_altered(alteration, witness)
    assert judged.code == 3, judged.ended.out
    assert judged.outcomes.keys() == checks.keys()
    wrong = []
    for check, outcome in judged.outcomes.items():
        named = check in promised and witness in checks[check]
        if outcome.verdict == "fail":
            wrong.append(f"{check} blames the unit: {outcome.reason}")
        elif not named or (alteration != "drop" and _over_before(good_run, check, witness)):
            continue
        elif outcome.verdict != "unjudged" or witness not in outcome.reason:
            wrong.append(f"{check} is {outcome.verdict}: {outcome.reason}")
    assert not wrong, "\n".join(wrong)


def _over_before(run: Path, check: str, witness: str) -> bool:
    """Whether all that a check times from power on was over while the supply was still watched: then it may pass."""
    if witness != "power":
        return False
    folder = RunFolder(run)
    moments, dead = folder.read_moments(), dead_stretches(folder)
    judged = next(m for m in moments if m.source == "verdict" and m.text("check") == check)
    readings = judged.data["readings"]
    assert isinstance(readings, list)
    highs = [high for r in readings if isinstance(r, dict) and isinstance(high := r["high"], float)]
    before = [m.time_s for m in moments if m.is_("power", "on") and m.time_s < judged.time_s]
    over_s = before[-1] + max(highs, default=inf)
    return over_s < next(begin_s for begin_s, end_s in dead.spans if end_s > before[-1])
