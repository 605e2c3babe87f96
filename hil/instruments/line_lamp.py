"""The bench's own lamp on a line: of a serial adapter, or a GPIO line of the host.

An adapter's RTS and DTR are low while they are asserted: a small LED from its supply through a resistor to the line lights
then. On a GPIO line it lights while that is high, or, between supply and an inverted line, low.
"""

from hil.core.timeline import Timeline
from hil.instruments.adapter_lines import AdapterLines, Output
from hil.instruments.bench_lamp import BenchLamp
from hil.instruments.gpio_lines import GpioLine


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


class GpioLamp(BenchLamp):
    """The lamp on a GPIO line."""

    def __init__(self, timeline: Timeline, chip: str, line: int | str, *, inverted: bool = False) -> None:
        """Take the line, with the lamp dark.

        Raises:
            InputError: no such chip or line.
            BenchError: another holds it, or this process may not.
        """
        super().__init__(timeline)
        name = f"bench lamp on line {line} of {chip}"
        self._line = GpioLine(chip, line, "bench_lamp.gpio.line", name, drives=True, inverted=inverted)

    def close(self) -> None:
        """Let go of the line."""
        self._line.close()

    def _switch(self, on: bool) -> None:
        self._line.drive(on)
