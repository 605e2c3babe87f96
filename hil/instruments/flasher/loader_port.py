"""The serial port as the flasher opens it: lines at rest, and over RFC 2217 without needless round trips."""

import warnings

import serial
import serial.rfc2217

from hil.core.errors import BenchError
from hil.instruments.serial_ports import path_of

#: The rate at which a chip's ROM speaks after its automatic detection; also what the console is left at.
LOADER_BAUD = 115_200
#: The library's own limit for one answer, in seconds: set beforehand, it need not be changed for each command.
ANSWER_LIMIT_S = 3.0

#: Everything the far end of an RFC 2217 link is told about the line: rate, bits, parity, stop bits, flow control.
_Settings = tuple[int, int, str, float, bool, bool]

Port = serial.Serial | serial.rfc2217.Serial


class _LoaderPort(serial.rfc2217.Serial):
    """An RFC 2217 port that tells the far end about the line only when something it must know has changed.

    pyserial renegotiates (0.1 s) for every change of a read limit, which concerns this end alone and which a flashing
    tool changes twice a command.
    """

    def __init__(self) -> None:
        self._told: _Settings | None = None
        super().__init__()

    def open(self) -> None:
        """Open with whatever is set now."""
        self._told = None
        with warnings.catch_warnings():
            # pyserial 3.5 starts its reader thread with calls that Python 3.10 and later deprecate.
            warnings.simplefilter("ignore", DeprecationWarning)
            super().open()

    def close(self) -> None:
        """Close, also where the far end was first: pyserial 3.5 then leaves its socket open."""
        link = self._socket  # type: ignore[attr-defined]  # not in the type stubs
        super().close()
        if link is not None:
            link.close()

    def _reconfigure_port(self) -> None:
        settings = (self.baudrate, self.bytesize, self.parity, self.stopbits, self.rtscts, self.xonxoff)
        if settings != self._told:
            super()._reconfigure_port()  # type: ignore[misc]  # not in the type stubs
            self._told = settings


def open_loader_port(port_url: str) -> Port:
    """Open a device or an `rfc2217://` port with reset and boot line at rest.

    Raises:
        InputError: it is named by an adapter that is not there.
        BenchError: it cannot be opened.
    """
    port_url = path_of(port_url, "console.port")
    try:
        if port_url.startswith("rfc2217:"):
            port: Port = _LoaderPort()
            port.port = port_url
        else:
            port = serial.serial_for_url(port_url, do_not_open=True, exclusive=True)
        port.baudrate, port.timeout = LOADER_BAUD, ANSWER_LIMIT_S
        port.dtr = port.rts = False
        port.open()
    except (serial.SerialException, ValueError, OSError) as error:
        remedy = "Check the port in the bench file, its cable and rights, and that nothing else holds it."
        raise BenchError(f"flasher on {port_url}", f"the port cannot be opened: {error}.", remedy) from error
    return port
