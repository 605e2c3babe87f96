"""The bench's own lamp on a control line of a serial adapter: RTS or DTR, which are low while they are asserted.

A small LED from the adapter's supply through a resistor to the line lights while the line is asserted.
"""

from hil.core.timeline import Timeline
from hil.instruments.adapter_lines import AdapterLines, Output
from hil.instruments.bench_lamp import BenchLamp


class LineLamp(BenchLamp):
    """The lamp on one line of one adapter."""

    def __init__(self, timeline: Timeline, port: str, line: Output) -> None:
        """Open the adapter, with the lamp dark.

        Raises:
            InputError: no such port.
            BenchError: it is busy or broken.
        """
        super().__init__(timeline)
        self._line, self._adapter = line, AdapterLines(port, "bench_lamp.port", f"bench lamp on {port}")

    def close(self) -> None:
        """Let go of the adapter."""
        self._adapter.close()

    def _switch(self, on: bool) -> None:
        self._adapter.assert_line(self._line, on)
