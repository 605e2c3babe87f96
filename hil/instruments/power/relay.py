"""A relay in the unit's supply: on a control line of a serial adapter, or on a GPIO line of the host."""

import time
from abc import abstractmethod
from contextlib import ExitStack

from hil.core.errors import BenchError
from hil.core.moments import Moment
from hil.core.timeline import Timeline
from hil.instruments.adapter_lines import AdapterLines, Input, Output
from hil.instruments.gpio_lines import GpioLine
from hil.instruments.power.supply import Power, SupplyState

FOLLOWS_S = 0.5  # a relay's contacts move within some 20 ms, and bounce for less: common practice, no source
POLL_S = 0.005  # adapters tell a change of an input, but not all of them by an event
ANY_INPUT: Input = "cts"


class Relay(Power):
    """The relay; its state is what a second contact tells, where one is read back, else what its line was told."""

    def __init__(self, timeline: Timeline, name: str) -> None:
        """Have a name for errors; whoever opens the lines then switches off."""
        super().__init__(timeline)
        self._name, self._told = name, False

    @abstractmethod
    def close(self) -> None:
        """Let go of the lines, which opens most relays."""

    @abstractmethod
    def _drive(self, on: bool) -> None:
        """Have the relay close, or open.

        Raises:
            InstrumentGone: its line is.
        """

    @abstractmethod
    def _contact(self) -> bool | None:
        """Whether the second contact says that the supply is on; none where there is no such contact, but the line is.

        Raises:
            InstrumentGone: the line is.
        """

    def _switch(self, on: bool) -> None:
        self._drive(on)
        self._told = on

    def _ordered(self, *, on: bool, asked_by: str) -> Moment:
        """Switch, and only then look whether the contact followed: looking would widen the moment's doubt."""
        moment = super()._ordered(on=on, asked_by=asked_by)
        until_s = time.monotonic() + FOLLOWS_S
        while self._contact() not in (None, on):
            if time.monotonic() > until_s:
                told, remedy = "on" if on else "off", "Look at the relay's own supply and at both its contacts."
                raise BenchError(self._name, f"was told to switch {told}; its contact did not follow.", remedy)
            time.sleep(POLL_S)
        return moment

    def _read(self) -> SupplyState:
        contact = self._contact()
        return SupplyState(self._told if contact is None else contact)


class AdapterRelay(Relay):
    """One on a control line of a serial adapter."""

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
        super().__init__(timeline, f"relay on {line.upper()} of {port}")
        self._line, self._inverted, self._input = line, inverted, read_back
        self._adapter = AdapterLines(port, "power.relay.port", self._name)
        self._switch(False)

    def close(self) -> None:
        """Let go of the adapter, which releases its lines."""
        self._adapter.close()

    def _drive(self, on: bool) -> None:
        self._adapter.assert_line(self._line, on != self._inverted)

    def _contact(self) -> bool | None:
        seen = self._adapter.is_asserted(self._input or ANY_INPUT)  # which an adapter that is gone cannot tell
        return seen if self._input is not None else None


class GpioRelay(Relay):
    """One on a GPIO line of the host."""

    def __init__(
        self,
        timeline: Timeline,
        chip: str,
        line: int | str,
        *,
        inverted: bool = False,
        read_back: int | str | None = None,
        read_back_inverted: bool = False,
    ) -> None:
        """Take the lines, with the supply off.

        Args:
            timeline: Where to book what happens.
            chip: That of both lines, by its path or label.
            line: What the relay is on, by number or name.
            inverted: Whether the supply is on while the line is low.
            read_back: A line that is high while the supply is on.
            read_back_inverted: Whether it is low then.

        Raises:
            InputError: no such chip or line.
            BenchError: another holds a line, or this process may not.
        """
        super().__init__(timeline, f"relay on line {line} of {chip}")
        with ExitStack() as stack:
            self._line = GpioLine(chip, line, "power.gpio.line", self._name, drives=True, inverted=inverted)
            stack.callback(self._line.close)
            self._second = (
                GpioLine(chip, read_back, "power.gpio.read_back", self._name, drives=False, inverted=read_back_inverted)
                if read_back is not None
                else None
            )
            stack.pop_all()

    def close(self) -> None:
        """Let go of the lines; where a line then goes is the chip's."""
        self._line.close()
        if self._second is not None:
            self._second.close()

    def _drive(self, on: bool) -> None:
        self._line.drive(on)

    def _contact(self) -> bool | None:
        if self._second is not None:
            return self._second.is_active()
        self._line.is_active()  # which a chip that is gone cannot tell
        return None
