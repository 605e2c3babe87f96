"""Goes over a stored run: the legs it recorded, in their order; nothing is opened but the run's folder."""

import gc
from collections import Counter
from collections.abc import Sequence

from hil.core.product import Product, load_product
from hil.core.promise_use import PromiseUse
from hil.core.run_folder import LegRecord, RunFolder
from hil.drive.driver import BookedVerdict
from hil.drive.progress import Progress
from hil.drive.recorded import read_record
from hil.drive.shelf import Lack, Shelf
from hil.evidence.window import Record, Window
from hil.legs.leg import LegCall


class StoredDriver:
    """A run that was driven before."""

    live = False

    def __init__(self, folder: RunFolder, product: Product | None, calls: Sequence[LegCall]) -> None:
        """Read a run folder; judge it by its own product file unless another is given.

        Raises:
            InputError: it is no run folder, or its product file is wrong.
        """
        self.folder = folder
        self.info = folder.read_info()
        self.product = product or load_product(folder.product_file)
        self.shelf = Shelf(calls)
        self.progress = Progress()
        self.use = PromiseUse()
        self._record = read_record(folder, self.info, self.use.for_views(self.product))
        gc.freeze()  # what was read lasts for the whole run: going over all of it again and again takes a second
        self._left = list(self.info.legs)
        self._recorded = Counter((leg.name, leg.parameter) for leg in self.info.legs)

    @property
    def broken(self) -> str:
        """Why the run broke off, where it did."""
        return self.info.broken or ("" if self.info.complete else "the run was cut short")

    def next_call(self, wanted: Sequence[LegCall]) -> LegCall | None:
        """The next recorded leg that is wanted."""
        by_name = {(call.leg.name, call.parameter_id): call for call in wanted}
        while self._left and (self._left[0].name, self._left[0].parameter) not in by_name:
            self._left.pop(0)
        return by_name[self._left[0].name, self._left[0].parameter] if self._left else None

    def takes_wanted(self, call: LegCall) -> int:
        """As many as were recorded; fewer than declared still ask for one more, to be settled as lacking."""
        return max(call.leg.repeat, self._recorded[call.leg.name, call.parameter_id])

    def grant_retake(self, call: LegCall) -> bool:
        """A stored run has no more takes to give."""
        del call
        return False

    def drive(self, call: LegCall, *, bridge: bool) -> None:
        """Shelve what was recorded of a leg; the record knows whether it was a bridge."""
        del bridge
        record: LegRecord = self._left.pop(0)
        if self.info.broken and record is self.info.legs[-1]:
            self.shelf.lack(call, Lack.BENCH_BROKE, self.info.broken)
        self.shelf.put(call, Window(call.id, record.begin_s, record.end_s, self._record))

    def lack(self, call: LegCall) -> None:
        """Say why a wanted leg is not in the record."""
        if self.info.broken or not self.info.complete:
            reason = self.info.broken or "the run was cut short"
            self.shelf.lack(call, Lack.BENCH_BROKE, f"{reason}; the leg {call.id} was not driven")
        else:
            self.shelf.lack(call, Lack.NOT_REACHED, f"the leg {call.id} was not driven in this run")

    def book(self, result: BookedVerdict) -> None:
        """A stored run stays as it is."""

    def ask_end(self) -> None:
        """Nothing is waited for."""

    def close(self) -> None:
        """Nothing is open."""

    def record(self) -> Record:
        """The one the checks were judged by: what was worked out for them serves the sheet too."""
        return self._record
