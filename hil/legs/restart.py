"""How a leg notices that the unit restarts: the chip announces it, or else its hotspot falls silent and its station joins anew.

A unit that joins at once after a save, without a restart, is noticed by the latter, too.

It paces the legs and makes no verdict.
"""

import re

from hil.core.moments import Moment
from hil.core.product import Product
from hil.core.timeline import Match
from hil.instruments.bench import Bench
from hil.legs.moves import from_unit

SILENT_S = 1.0  # without a beacon of the hotspot, some ten of them at the usual interval of 100 ms


def restarts(bench: Bench, product: Product) -> Match:
    """Whether a moment shows that the unit restarts; hand it the moments in order, from before what restarts it."""
    if product.console.speaks and product.form.saved.restarts:
        start = product.console.start
        return lambda moment: moment.is_("console", "line") and re.search(start, moment.text("text")) is not None
    return _QuietRestart(bench, product).shows


class _QuietRestart:
    """A restart as others hear it: by frames of the unit, while other beacons prove that the air is heard at all."""

    def __init__(self, bench: Bench, product: Product) -> None:
        self._hotspot = product.hotspot.name_for(bench.label.address)
        self._joins = from_unit(bench, "authenticates", "associates")
        self._heard_s: float | None = None

    def shows(self, moment: Moment) -> bool:
        """Whether the hotspot has been silent for too long by now, or the station joins a network."""
        if not moment.is_("air", "beacon"):
            return self._joins(moment)
        if self._heard_s is None or moment.data.get("name") == self._hotspot:
            self._heard_s = moment.time_s
        return moment.time_s - self._heard_s > SILENT_S
