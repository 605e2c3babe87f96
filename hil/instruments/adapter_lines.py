"""A serial adapter used for its control lines alone: RTS and DTR are switched, CTS, DSR, CD and RI are read."""

from typing import Literal

import serial

from hil.core.errors import InstrumentGone
from hil.instruments.console import open_port

Output = Literal["rts", "dtr"]
Input = Literal["cts", "dsr", "cd", "ri"]


class AdapterLines:
    """One adapter. Its kernel asserts both outputs for some milliseconds when it is opened."""

    def __init__(self, port: str, key: str, name: str) -> None:
        """Open it, with both outputs released; `key` is the bench file's for the port, `name` whose lines they are.

        Raises:
            InputError: no such port.
            BenchError: it is busy or broken.
        """
        self._name = name
        self._port = open_port(port, 9600, key=key)

    def assert_line(self, line: Output, asserted: bool) -> None:
        """Assert an output, or release it.

        Raises:
            InstrumentGone: the adapter is.
        """
        try:
            if line == "rts":
                self._port.rts = asserted
            else:
                self._port.dtr = asserted
        except (serial.SerialException, OSError) as error:
            raise self._gone("cannot be switched", error) from error

    def is_asserted(self, line: Input) -> bool:
        """Whether an input is.

        Raises:
            InstrumentGone: the adapter is.
        """
        try:
            return bool(getattr(self._port, line))
        except (serial.SerialException, OSError) as error:
            raise self._gone("cannot be read", error) from error

    def close(self) -> None:
        """Let go of the adapter."""
        self._port.close()

    def _gone(self, what: str, error: Exception) -> InstrumentGone:
        return InstrumentGone(self._name, f"{what}: {error}.", "Look at its cable.")
