"""What the run loop drives: a live unit on a bench, or a run that was stored. The loop is the same."""

from collections.abc import Sequence
from typing import Protocol

from hil.core.product import Product
from hil.core.promise_use import PromiseUse
from hil.core.run_folder import RunFolder, RunInfo
from hil.core.verdicts import Finding, Verdict
from hil.drive.progress import Progress
from hil.drive.shelf import Shelf
from hil.evidence.window import Record
from hil.legs.leg import LegCall


class BookedVerdict(Protocol):
    """What is written down of a check's result."""

    @property
    def name(self) -> str: ...
    @property
    def verdict(self) -> Verdict: ...
    @property
    def reason(self) -> str: ...
    @property
    def findings(self) -> tuple[Finding, ...]: ...


class Driver(Protocol):
    """Drives legs and shelves their evidence."""

    product: Product
    folder: RunFolder
    info: RunInfo
    shelf: Shelf
    progress: Progress
    use: PromiseUse
    live: bool

    @property
    def broken(self) -> str:
        """Why the bench can go on no longer; empty while it can."""

    def next_call(self, wanted: Sequence[LegCall]) -> LegCall | None:
        """The leg to drive next: a wanted one or a bridge to one; None when no wanted leg can be reached."""

    def takes_wanted(self, call: LegCall) -> int:
        """How often a wanted leg is to be driven."""

    def grant_retake(self, call: LegCall) -> bool:
        """Ask for one more take of a leg that left something open which that may decide; False where none is left."""

    def drive(self, call: LegCall, *, bridge: bool) -> None:
        """Drive it and shelve its evidence."""

    def lack(self, call: LegCall) -> None:
        """Settle that a wanted leg will not be driven, with the reason."""

    def book(self, result: "BookedVerdict") -> None:
        """Write a check's verdict into the record as soon as it is known."""

    def ask_end(self) -> None:
        """Have the next wait raise KeyboardInterrupt; may be called by a signal's handler."""

    def close(self) -> None:
        """Leave the unit off and the bench free."""

    def record(self) -> Record:
        """All that the run recorded, for its sheet; of a live run once it is closed."""
