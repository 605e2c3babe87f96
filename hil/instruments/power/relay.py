"""A relay in the unit's supply, on a control line of a serial adapter."""

import time

from hil.core.errors import BenchError
from hil.core.moments import Moment
from hil.core.timeline import Timeline
from hil.instruments.adapter_lines import AdapterLines, Input, Output
from hil.instruments.power.supply import Power, SupplyState

FOLLOWS_S = 0.5  # a relay's contacts move within some 20 ms, and bounce for less: common practice, no source
POLL_S = 0.005  # adapters tell a change of an input, but not all of them by an event
ANY_INPUT: Input = "cts"


class RelayPower(Power):
    """The relay; its state is what a second contact tells, where one is read back, else what its line was told."""

    def __init__(
        self, timeline: Timeline, port: str, line: Output, *, inverted: bool = False, read_back: Input | None = None
    ) -> None:
        """Open the adapter, with the supply off.

        Args:
            timeline: Where to book what happens.
            port: The adapter's.
            line: What the relay is on.
            inverted: Whether the supply is on while the line is not asserted.
            read_back: An input that is asserted while the supply is on.

        Raises:
            InputError: no such port.
            BenchError: it is busy or broken.
        """
        super().__init__(timeline)
        self._name = f"relay on {line.upper()} of {port}"
        self._line, self._inverted, self._input = line, inverted, read_back
        self._adapter = AdapterLines(port, "power.relay.port", self._name)
        self._told = False
        self._switch(False)

    def close(self) -> None:
        """Let go of the adapter, which releases its lines."""
        self._adapter.close()

    def _switch(self, on: bool) -> None:
        self._adapter.assert_line(self._line, on != self._inverted)
        self._told = on

    def _ordered(self, *, on: bool, asked_by: str) -> Moment:
        """Switch, and only then look whether the contact followed: looking would widen the moment's doubt."""
        moment = super()._ordered(on=on, asked_by=asked_by)
        if self._input is not None and not self._follows(self._input, on):
            told, remedy = "on" if on else "off", "Look at the relay's own supply and at both its contacts."
            raise BenchError(self._name, f"was told to switch {told}; its contact did not follow.", remedy)
        return moment

    def _follows(self, contact: Input, on: bool) -> bool:
        until_s = time.monotonic() + FOLLOWS_S
        while self._adapter.is_asserted(contact) != on:
            if time.monotonic() > until_s:
                return False
            time.sleep(POLL_S)
        return True

    def _read(self) -> SupplyState:
        seen = self._adapter.is_asserted(self._input or ANY_INPUT)  # which an adapter that is gone cannot tell
        return SupplyState(seen if self._input is not None else self._told)
