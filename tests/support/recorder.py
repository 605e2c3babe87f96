"""A pytest plug-in for tests: writes down every timing reading the checks of a run judge, with the events it lies between.

Load it with `-p support.recorder`; the file named by HIL_READINGS gets one JSON object a line when the run ends.
"""

import json
import os
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

from hil.core.product import Bound
from hil.core.readings import Occurrence, Reading
from hil.evidence.events import Event
from hil.evidence.leg_evidence import LegEvidence
from hil.evidence.pages import PagesView
from hil.evidence.seen import Seen
from hil.evidence.window import Window
from hil.judge.judge import Judge

INTO = "HIL_READINGS"


@dataclass(frozen=True)
class Recorded:
    """A reading a check judged: of which drive of a leg, between which events, and when these were seen.

    `because` says why it is a mere bound, where it is one.
    """

    leg: str
    begin_s: float
    end_s: float
    what: str
    first: str
    then: str
    low: float
    high: float
    because: str = ""
    first_seen: tuple[float, float] | None = None
    then_seen: tuple[float, float] | None = None


@dataclass(frozen=True)
class _Source:
    window: Window
    first: str
    then: str
    first_seen: tuple[float, float] | None = None
    then_seen: tuple[float, float] | None = None


class Recorder:
    """Stands between the evidence and the judge."""

    def __init__(self) -> None:
        """Begin with nothing."""
        self.recorded: list[Recorded] = []
        self._made: list[tuple[Reading, _Source]] = []

    def note(self, reading: Reading, source: _Source) -> None:
        """Keep where a reading came from."""
        self._made.append((reading, source))

    def judged(self, reading: object, what: str) -> None:
        """Write down a reading in seconds that a check judges."""
        if not isinstance(reading, Reading) or reading.unit != "s":
            return
        source = next((source for made, source in reversed(self._made) if made is reading), None)
        assert source is not None, f"{what!r}: nobody knows what this reading lies between"
        seen = source.first_seen, source.then_seen
        window = source.window
        self.recorded.append(
            Recorded(
                window.leg,
                window.begin_s,
                window.end_s,
                what,
                source.first,
                source.then,
                reading.low,
                reading.high,
                reading.because,
                *seen,
            )
        )

    def write(self, into: Path) -> None:
        """Write everything; a check that is judged again with one more take of its leg counts each take once."""
        lines = {(line.leg, line.begin_s, line.what): line for line in self.recorded}
        into.write_text("".join(json.dumps(asdict(line)) + "\n" for line in lines.values()), encoding="utf-8")


def _watch(recorder: Recorder) -> None:
    between, first_octet, within = LegEvidence.between, PagesView.first_octet, Judge.within

    def watched_between(self: LegEvidence, first: Event, then: Event) -> Reading:
        reading = between(self, first, then)
        start = first.find(self, self.begin_s)
        end = then.find(self, start.earliest_s)
        recorder.note(reading, _Source(self._window, first.name, then.name, _ends(start), _ends(end)))
        return reading

    def watched_octet(self: PagesView, purpose: str) -> Reading | Seen:
        reading = first_octet(self, purpose)
        if isinstance(reading, Reading):
            recorder.note(reading, _Source(self._window, f"{purpose}: asked", f"{purpose}: first octet"))
        return reading

    def watched_within(self: Judge, promise: Bound | None, reading: Reading | Seen, what: str) -> None:
        recorder.judged(reading, what)
        within(self, promise, reading, what)

    replaced: tuple[tuple[type, str, Callable[..., object]], ...] = (
        (LegEvidence, "between", watched_between),
        (PagesView, "first_octet", watched_octet),
        (Judge, "within", watched_within),
    )
    for owner, name, watched in replaced:
        setattr(owner, name, watched)


def _ends(seen: Occurrence) -> tuple[float, float]:
    return seen.earliest_s, seen.latest_s


def pytest_hil_run_begins() -> None:
    """Begin to watch."""
    _watch(_RECORDER)


def pytest_hil_run_ends() -> None:
    """Write what was seen."""
    _RECORDER.write(Path(os.environ[INTO]))


_RECORDER = Recorder()
