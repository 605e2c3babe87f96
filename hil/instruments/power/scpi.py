"""A laboratory supply that speaks SCPI, over a serial line or TCP.

Source of the commands and of the form of an error: SCPI-1999, volume 2: 15 (OUTPut), 11 (MEASure), 21.8 (SYSTem:ERRor); of
`*OPC?`: IEEE 488.2-1992, 10.19.
"""

import socket
import threading

import serial

from hil.core.errors import BenchError, InputError, InstrumentGone
from hil.core.moments import Moment
from hil.core.timeline import Timeline
from hil.instruments.power.supply import Power, SupplyState
from hil.instruments.serial_ports import path_of

ANSWER_S = 2.0
LONGEST = 256
MOST_ERRORS = 20  # what is read of an error queue; a supply that has more has something else to say
MILLI = 1000.0
ON, OFF = ("1", "ON"), ("0", "OFF")


class ScpiPower(Power):
    """One output of such a supply."""

    def __init__(self, timeline: Timeline, port: str, *, baud: int = 9600) -> None:
        """Open the way to it: a device, or any pyserial URL, such as `socket://192.0.2.7:5025`.

        Raises:
            InputError: no such port.
            BenchError: the port is there and nobody answers, or what answers reports errors.
        """
        super().__init__(timeline)
        self._name = f"supply {port}"
        self._lock = threading.Lock()
        remedy = "Correct power.scpi.port in the bench file, and see that the supply is on."
        try:
            self._port = serial.serial_for_url(
                path_of(port, "power.scpi.port"), baudrate=baud, timeout=ANSWER_S, write_timeout=ANSWER_S
            )
        except (ValueError, serial.SerialException, OSError) as error:
            raise InputError(
                f"bench file: power.scpi.port = {port!r}", f"cannot be opened: {error}.", remedy
            ) from error
        try:
            self._ask("*CLS;*OPC?")
            self._read_errors()
        except BenchError:
            self.close()
            raise

    def close(self) -> None:
        """Let go of the port; the output stays as it is."""
        link = getattr(self._port, "_socket", None)  # pyserial 3.5 leaves it open where the far end was gone first
        self._port.close()
        if isinstance(link, socket.socket):
            link.close()

    def _switch(self, on: bool) -> None:
        self._ask(f"OUTP {'ON' if on else 'OFF'};*OPC?")

    def _ordered(self, *, on: bool, asked_by: str) -> Moment:
        """Switch, and only then ask whether it obeyed: asking would widen the moment's doubt."""
        moment = super()._ordered(on=on, asked_by=asked_by)
        self._read_errors()
        if self._is_on() != on:
            raise BenchError(self._name, f"was told to switch {'on' if on else 'off'} and did not.")
        return moment

    def _read(self) -> SupplyState:
        return SupplyState(self._is_on(), self._number("MEAS:CURR?") * MILLI)

    def _is_on(self) -> bool:
        answer = self._ask("OUTP?").upper()
        if answer not in (*ON, *OFF):
            raise BenchError(self._name, f"answers OUTP? with {answer!r}.")
        return answer in ON

    def _number(self, question: str) -> float:
        answer = self._ask(question)
        try:
            return float(answer)
        except ValueError:
            raise BenchError(self._name, f"answers {question} with {answer!r}.") from None

    def _read_errors(self) -> None:
        """Empty the error queue, which must be empty already."""
        found: list[str] = []
        while len(found) < MOST_ERRORS and (said := self._ask("SYST:ERR?")).partition(",")[0] not in ("0", "+0", "-0"):
            found.append(said)
        if found:
            raise BenchError(self._name, f"reports {'; '.join(found)}.")

    def _ask(self, question: str) -> str:
        with self._lock:
            try:
                self._port.reset_input_buffer()  # a late answer to an earlier question
                self._port.write(f"{question}\n".encode("ascii"))
                answer = self._port.read_until(b"\n", LONGEST)
            except (serial.SerialException, OSError) as error:
                raise InstrumentGone(self._name, f"does not take {question}: {error}.", "Look at its cable.") from error
        if not answer.endswith(b"\n"):
            raise InstrumentGone(self._name, f"gives no answer to {question} within {ANSWER_S:g} s.", "Is it on?")
        return answer.decode("ascii", "backslashreplace").strip()
