"""The bench's own lamp on a control line of a serial adapter: RTS or DTR, which are low while they are asserted.

A small LED from the adapter's supply through a resistor to the line lights while the line is asserted.
"""

from typing import Literal

import serial

from hil.core.errors import InstrumentGone
from hil.core.timeline import Timeline
from hil.instruments.bench_lamp import BenchLamp
from hil.instruments.console import open_port

Line = Literal["rts", "dtr"]


class LineLamp(BenchLamp):
    """The lamp on one line of one adapter."""

    def __init__(self, timeline: Timeline, port: str, line: Line) -> None:
        """Open the adapter, with the lamp dark.

        Raises:
            InputError: no such port.
            BenchError: it is busy or broken.
        """
        super().__init__(timeline)
        self._name, self._line = f"bench lamp on {port}", line
        self._port = open_port(port, 9600, key="bench_lamp.port")

    def close(self) -> None:
        """Let go of the adapter."""
        self._port.close()

    def _switch(self, on: bool) -> None:
        try:
            if self._line == "rts":
                self._port.rts = on
            else:
                self._port.dtr = on
        except (serial.SerialException, OSError) as error:
            raise InstrumentGone(self._name, f"cannot be switched: {error}.", "Look at its cable.") from error
