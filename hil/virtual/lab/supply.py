"""The lab unit's supply, as a laboratory supply speaks: SCPI over TCP. It knows just what a bench asks for.

Source of commands and error numbers: SCPI-1999, volume 2 (21.8.9 and 21.8.10); of `*OPC?`, `*CLS`, `*IDN?`: IEEE 488.2-1992, 10.
"""

import asyncio
import contextlib
from collections.abc import Callable

__all__ = ["ScpiSupply"]

ON, OFF = ("ON", "1"), ("OFF", "0")
MILLI = 1e-3
UNKNOWN, NOT_ALLOWED = '-113,"Undefined header"', '-224,"Illegal parameter value"'


class ScpiSupply:
    """One output; `switch` is told on or off, `state` gives whether it is on, and the current in milliamperes."""

    def __init__(self, switch: Callable[[bool], object], state: Callable[[], tuple[bool, float]]) -> None:
        """Switch and read by these."""
        self._switch, self._state = switch, state
        self._errors: list[str] = []
        self._clients: set[asyncio.StreamWriter] = set()

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Answer one client, line by line."""
        self._clients.add(writer)
        with contextlib.suppress(ConnectionError):
            async for line in reader:
                answers = [self.answer(unit.strip()) for unit in line.decode("ascii", "replace").split(";")]
                if told := ";".join(answer for answer in answers if answer is not None):
                    writer.write(f"{told}\n".encode())
                    await writer.drain()
        self._clients.discard(writer)
        writer.close()

    def close(self) -> None:
        """Drop all clients."""
        for client in self._clients:
            client.close()

    def answer(self, unit: str) -> str | None:
        """Obey one program message unit; None where it asks nothing."""
        header, _, parameter = unit.upper().partition(" ")
        match header:
            case "*IDN?":
                return "Mossgate,lab supply,0,1"
            case "*OPC?":
                return "1"
            case "*CLS":
                self._errors.clear()
            case "OUTP" | "OUTPUT" if parameter in (*ON, *OFF):
                self._switch(parameter in ON)
            case "OUTP" | "OUTPUT":
                self._errors.append(NOT_ALLOWED)
            case "OUTP?" | "OUTPUT?":
                return "1" if self._state()[0] else "0"
            case "MEAS:CURR?" | "MEASURE:CURRENT?":
                return f"{self._state()[1] * MILLI:.6E}"
            case "SYST:ERR?" | "SYSTEM:ERROR?":
                return self._errors.pop(0) if self._errors else '0,"No error"'
            case _:
                self._errors.append(UNKNOWN)
        return None
