"""For a failed check: the first difference of its leg from the last passed run of the same leg. No verdict rests on it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

from hil.core.run_folder import LegRecord, RunInfo
from hil.evidence.course import Step, course_of
from hil.evidence.difference import TOLERANCE_S, TOLERANCE_SHARE, first_difference
from hil.evidence.window import Record, Window
from hil.judge.results import CheckResult
from hil.sheet.check_views import leg_name
from hil.sheet.film import signed
from hil.sheet.wording import Wording, clock_time, leg_title

NONE_TOLD = "No passed run of the same product file and profile lies beside this one to compare with."
TOLD = (
    "Each is compared with the last run of the same product file and profile that passed: the first step that is missing, extra, "
    f"answered otherwise, or more than {TOLERANCE_S:g} s and {TOLERANCE_SHARE:.0%} of its time out of time, beyond both doubts. "
    "No verdict rests on it."
).replace("%", " %")
NO_STEP = "none: every step came as in the passed run"


@dataclass(frozen=True, slots=True)
class ToldDifference:
    """The first difference in words, and from which run."""

    text: str
    source: str


class PassedRun:
    """A run that passed before; its record is read when a leg of it is wanted."""

    def __init__(self, info: RunInfo, read: Callable[[], Record]) -> None:
        """Name it."""
        self.info = info
        self._read = read

    @cached_property
    def record(self) -> Record:
        """All that it recorded."""
        return self._read()


class Comparison:
    """A run beside those that passed before it, newest first."""

    def __init__(self, record: Record, info: RunInfo, passed: Sequence[PassedRun], wording: Wording) -> None:
        """Take a run; nothing is compared yet."""
        self._record, self._info, self._passed, self._wording = record, info, passed, wording
        self._told: dict[tuple[str, int], ToldDifference | None] = {}

    @property
    def note(self) -> str:
        """What is compared with what, or why nothing is."""
        return TOLD if self._passed else NONE_TOLD

    def told(self, result: CheckResult) -> ToldDifference | None:
        """The first difference of the leg in which a check failed first; None where no passed run has that leg."""
        take = next(iter(result.failed_takes), 1)
        for name in result.legs:
            if (name, take) not in self._told:
                self._told[name, take] = self._compare(name, take)
            if (told := self._told[name, take]) is not None:
                return told
        return None

    def _compare(self, name: str, take: int) -> ToldDifference | None:
        driven = next((leg for leg in self._info.legs if leg_name(leg) == name and leg.take == take), None)
        run, leg = self._last_passed(name)
        if driven is None or run is None or leg is None:
            return None
        found = first_difference(_course(driven, self._record), _course(leg, run.record))
        text = NO_STEP if found is None else f"{signed(found.at_s, 1)} s: {found.text}"
        where = f"{leg_title(name).lower()}, take {take}; seconds since it began"
        began = clock_time(run.info.began)
        passed = f"sheet {run.info.sheet_number} of {began}, take {leg.take} of that leg"
        source = f"In leg {where}. The passed run: {passed}."
        return ToldDifference(self._wording.plain(text), self._wording.plain(source))

    def _last_passed(self, name: str) -> tuple[PassedRun | None, LegRecord | None]:
        """The newest passed run that drove a leg, and its first drive of it."""
        drives = ((run, leg) for run in self._passed for leg in run.info.legs if leg_name(leg) == name)
        return next(drives, (None, None))


def _course(leg: LegRecord, record: Record) -> tuple[Step, ...]:
    return course_of(Window(leg_name(leg), leg.begin_s, leg.end_s, record))
