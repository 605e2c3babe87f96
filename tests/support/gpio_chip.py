"""A GPIO chip of the kernel whose other end is this process: a CP2112, as far as its driver can see. For the lab alone.

`hid-cp2112` makes a chip of eight lines out of a HID device; `uhid` lets a program be that device. What the kernel drives comes
here as the report it is. Sources: include/uapi/linux/uhid.h for the records; Silicon Labs AN495, "CP2112 interface
specification", for the reports (4.2 GPIO configuration, 4.3 get, 4.4 set).
"""

import contextlib
import os
import struct
import subprocess
import threading
import time
from collections.abc import Callable
from pathlib import Path

UHID = Path("/dev/uhid")
DESTROY, STOP, GET_REPORT, GET_REPORT_REPLY, CREATE2, SET_REPORT, SET_REPORT_REPLY = 1, 3, 9, 10, 11, 13, 14
CREATE = struct.Struct("<I128s64s64sHHIIII")
LARGEST = 4380  # octets of one record
BUS_USB, VENDOR, PRODUCT = 3, 0x10C4, 0xEA90
# One report of a vendor's own page (HID 1.11, 6.2.2): the driver wants one that can be read, and asks for others by number.
DESCRIPTOR = bytes.fromhex("06 01ff 09 01 a1 01 09 01 85 01 15 00 26 ff00 75 08 95 3f 81 02 c0")
CONFIGURE, GET, SET, VERSION, SMBUS, LOCK = 0x02, 0x03, 0x04, 0x05, 0x06, 0x20
LIMIT_S = 10.0


class GpioChip:
    """The device; `path` is the kernel's chip. As bits: `lines` are those driven high now, `inputs` what is high from outside."""

    def __init__(self, on_lines: Callable[[int], object] = lambda _: None) -> None:
        """Plug it in and wait for its chip; `on_lines` is told the lines driven high, as bits, after each change."""
        subprocess.run(["modprobe", "-a", "uhid", "hid-cp2112"], check=True, timeout=LIMIT_S)
        before = set(Path("/dev").glob("gpiochip*"))
        self.lines, self.inputs = 0, 0
        self._on_lines = on_lines
        self._reports = {
            CONFIGURE: bytes([CONFIGURE, 0, 0, 0, 0]),
            VERSION: bytes([VERSION, 0x0C, 1]),
            SMBUS: bytes([SMBUS, *bytes(13)]),
            LOCK: bytes([LOCK, 0xFF]),
        }
        self._end = os.open(UHID, os.O_RDWR)
        told = CREATE.pack(CREATE2, b"bench", b"lab", b"", len(DESCRIPTOR), BUS_USB, VENDOR, PRODUCT, 0, 0)
        os.write(self._end, told + DESCRIPTOR.ljust(4096, b"\0"))
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()
        self.path = str(self._made(before))

    def _made(self, before: set[Path]) -> Path:
        until_s = time.monotonic() + LIMIT_S
        while not (made := set(Path("/dev").glob("gpiochip*")) - before):
            if time.monotonic() > until_s:
                raise TimeoutError(f"the kernel made no GPIO chip within {LIMIT_S:g} s")
            time.sleep(0.01)  # /dev tells of no change
        return made.pop()

    def unplug(self) -> None:
        """Take it away."""
        os.write(self._end, struct.pack("<I", DESTROY))

    def close(self) -> None:
        """Be gone."""
        with contextlib.suppress(OSError):
            self.unplug()
        self._thread.join(LIMIT_S)
        os.close(self._end)

    def _serve(self) -> None:
        while (record := os.read(self._end, LARGEST))[0] != STOP:
            kind, asked = struct.unpack_from("<II", record)
            if kind == GET_REPORT:
                answer = self._report(record[8])
                os.write(self._end, struct.pack("<IIHH", GET_REPORT_REPLY, asked, 0, len(answer)) + answer)
            elif kind == SET_REPORT:
                (size,) = struct.unpack_from("<H", record, 10)
                self._take(record[12 : 12 + size])
                os.write(self._end, struct.pack("<IIH", SET_REPORT_REPLY, asked, 0))

    def _report(self, number: int) -> bytes:
        driven = self._reports[CONFIGURE][1]
        return (
            bytes([GET, self.lines & driven | self.inputs & ~driven & 0xFF]) if number == GET else self._reports[number]
        )

    def _take(self, report: bytes) -> None:
        if report[0] in (CONFIGURE, SMBUS):
            self._reports[report[0]] = report
        elif report[0] == SET:
            values, chosen = report[1], report[2]
            self.lines = self.lines & ~chosen | values & chosen
            self._on_lines(self.lines)
