"""A supply that nothing switches: "off" holds the unit in reset, and "on" lets it go.

A unit in reset runs no program and sends nothing; it is under supply all the same, and what has a memory of its own, as an
addressable lamp, may keep it. So all that is booked says that no supply was cut.
"""

from contextlib import suppress

from hil.core.errors import BenchError
from hil.core.timeline import Timeline
from hil.instruments.adapter_lines import AdapterLines, Output
from hil.instruments.console import Console
from hil.instruments.power.supply import Power, SupplyState


class ConsoleReset(Power):
    """The reset line of the console's port, in place of the supply."""

    cuts_supply = False

    def __init__(self, timeline: Timeline, console: Console) -> None:
        """Leave the unit as it is."""
        super().__init__(timeline)
        self._console = console

    def close(self) -> None:
        """Let the unit go, as closing the port would."""
        with suppress(BenchError):
            self._console.hold_reset(False)

    def _switch(self, on: bool) -> None:
        self._console.hold_reset(not on)

    def _read(self) -> SupplyState:
        return SupplyState(on=not self._console.holds_reset())


class AdapterReset(Power):
    """A line of another adapter: it holds the unit in reset while it is asserted; while it is not, where it is `inverted`."""

    cuts_supply = False

    def __init__(self, timeline: Timeline, port: str, line: Output, *, inverted: bool = False) -> None:
        """Open the adapter, with the unit held.

        Raises:
            InputError: no such port.
            BenchError: it is busy or broken.
        """
        super().__init__(timeline)
        self._line, self._inverted, self._is_on = line, inverted, False
        self._adapter = AdapterLines(port, "power.reset_line.port", f"reset line on {line.upper()} of {port}")
        self._switch(False)

    def close(self) -> None:
        """Let go of the adapter, which releases its lines."""
        self._adapter.close()

    def _switch(self, on: bool) -> None:
        self._adapter.assert_line(self._line, on == self._inverted)
        self._is_on = on

    def _read(self) -> SupplyState:
        self._adapter.is_asserted("cts")  # which an adapter that is gone cannot tell
        return SupplyState(self._is_on)
