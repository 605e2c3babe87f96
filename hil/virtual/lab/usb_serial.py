"""A serial port on a simulated USB bus whose other end is this process: the lab's unit, as far as the console can see it.

Made with the kernel's own parts: `dummy_hcd` (a bus in memory), `functionfs` (the device's side in user space) and
`cdc_acm` (the host's side, a real /dev/ttyACM*). Every change of the control lines and of the rate comes here as the USB
request it is. Sources: the kernel's include/uapi/linux/usb/functionfs.h for the records written to `ep0`; USB Class
Definitions for Communications Devices 1.2, PSTN subclass 6.3, for the requests. Vendor and product are of a modem that
`cdc_acm` takes without the class's own descriptors, which functionfs refuses.
"""

import contextlib
import os
import struct
import subprocess
import threading
import time
from collections.abc import Callable
from pathlib import Path

GADGETS = Path("/sys/kernel/config/usb_gadget")
VENDOR, PRODUCT = 0x0870, 0x0001
LIMIT_S = 10.0

DESCRIPTORS_MAGIC, STRINGS_MAGIC = 3, 2
HAS_FULL_SPEED, HAS_HIGH_SPEED = 1, 2
CONTROL_INTERFACE = struct.pack("<BBBBBBBBB", 9, 4, 0, 0, 1, 0x02, 0x02, 0x01, 0)
DATA_INTERFACE = struct.pack("<BBBBBBBBB", 9, 4, 1, 0, 2, 0x0A, 0, 0, 0)
INTERRUPT, BULK = 3, 2
ENABLE, DISABLE, SETUP = 2, 3, 4
EVENT = struct.Struct("<BBHHHB3x")
SET_LINE_CODING, GET_LINE_CODING, SET_CONTROL_LINE_STATE = 0x20, 0x21, 0x22
SERIAL_STATE = struct.Struct("<BBHHHH")  # PSTN subclass, 6.5.4: a notification, with CD and DSR as bits 0 and 1
NOTIFIES, SERIAL_STATE_CODE = 0xA1, 0x20
INTO_HOST = 0x80
DTR, RTS = 1, 2


def in_lab() -> bool:
    """Whether this machine has a simulated USB bus, and may be played with."""
    return os.environ.get("LAB") == "1" and GADGETS.is_dir()


class UsbSerialPort:
    """One device on the bus; `port` is the host's path of it.

    `lines` are the changes of the control lines as (DTR, RTS), `rates` those of the rate, as they came.
    """

    def __init__(
        self,
        serial_number: str,
        bus: int = 0,
        *,
        on_octets: Callable[[bytes], object] = lambda _: None,
        on_lines: Callable[[bool, bool], object] = lambda _dtr, _rts: None,
    ) -> None:
        """Make the device and plug it in; `on_lines` is told DTR and RTS at each request."""
        self.serial_number = serial_number
        self.lines: list[tuple[bool, bool]] = []
        self.rates: list[int] = []
        self._on_octets, self._on_lines = on_octets, on_lines
        self._coding = struct.pack("<IBBB", 9600, 0, 0, 8)
        self._name, self._bus = f"lab{bus}", bus
        self._gadget, self._ends = GADGETS / self._name, Path("/dev") / f"ffs-{self._name}"
        self._make()
        self._control = os.open(self._ends / "ep0", os.O_RDWR)
        os.write(self._control, _descriptors())
        os.write(self._control, struct.pack("<IIII", STRINGS_MAGIC, 16, 0, 0))
        self._state = os.open(self._ends / "ep1", os.O_RDWR)
        self._up = os.open(self._ends / "ep2", os.O_RDWR)
        self._down = os.open(self._ends / "ep3", os.O_RDWR)
        self._enabled, self._closing, self._plugged = threading.Event(), threading.Event(), False
        self._threads = [threading.Thread(target=run, daemon=True) for run in (self._serve_control, self._serve_octets)]
        for thread in self._threads:
            thread.start()
        self.plug()

    @property
    def port(self) -> str:
        """The host's path, which may be another after each plugging in.

        Raises:
            TimeoutError: the host has none.
        """
        limit_s = time.monotonic() + LIMIT_S
        while time.monotonic() < limit_s:
            for told in Path("/sys/bus/usb/devices").glob("*/serial"):
                with contextlib.suppress(OSError):
                    if told.read_text(encoding="ascii").strip() == self.serial_number:
                        for tty in told.parent.glob("*/tty/tty*"):
                            return f"/dev/{tty.name}"
            time.sleep(0.05)  # sysfs tells of no change
        raise TimeoutError(f"no port of the device {self.serial_number} within {LIMIT_S:g} s")

    def say(self, octets: bytes) -> None:
        """Send to the host, which takes it once its port is open."""
        for at in range(0, len(octets), 4096):
            os.write(self._up, octets[at : at + 4096])

    def assert_inputs(self, *, cd: bool, dsr: bool) -> None:
        """Assert the host's inputs, or release them; the host takes it once its port is open."""
        os.write(self._state, SERIAL_STATE.pack(NOTIFIES, SERIAL_STATE_CODE, 0, 0, 2, cd | dsr << 1))

    def plug(self) -> None:
        """Put the device on the bus."""
        self._enabled.clear()
        (self._gadget / "UDC").write_text(f"dummy_udc.{self._bus}\n", encoding="ascii")
        self._plugged = True
        if not self._enabled.wait(LIMIT_S):
            raise TimeoutError(f"the host did not take the device {self.serial_number} within {LIMIT_S:g} s")

    def unplug(self) -> None:
        """Take it off."""
        self._plugged = False
        (self._gadget / "UDC").write_text("\n", encoding="ascii")

    def close(self) -> None:
        """Take it off for good."""
        with contextlib.suppress(OSError, TimeoutError):
            if not self._plugged:  # what reads a device that is off waits for it to come back
                self.plug()
        self._closing.set()  # not sooner: who serves its control requests must see it come
        with contextlib.suppress(OSError):
            self.unplug()  # which wakes both threads
        for thread in self._threads:
            thread.join(LIMIT_S)
        for end in (self._state, self._up, self._down, self._control):
            with contextlib.suppress(OSError):
                os.close(end)

    def _make(self) -> None:
        config, strings = self._gadget / "configs" / "c.1", self._gadget / "strings" / "0x409"
        for folder in (self._gadget, config, strings, self._gadget / "functions" / f"ffs.{self._name}"):
            folder.mkdir(exist_ok=True)
        told = {
            self._gadget / "idVendor": f"{VENDOR:#06x}",
            self._gadget / "idProduct": f"{PRODUCT:#06x}",
            strings / "serialnumber": self.serial_number,
            strings / "manufacturer": "Mossgate",
            strings / "product": "MV-2",
        }
        for file, text in told.items():
            file.write_text(text + "\n", encoding="ascii")
        link = config / f"ffs.{self._name}"
        if not link.is_symlink():
            link.symlink_to(self._gadget / "functions" / f"ffs.{self._name}")
        self._ends.mkdir(exist_ok=True)
        if not (self._ends / "ep0").exists():
            subprocess.run(["mount", "-t", "functionfs", self._name, str(self._ends)], check=True, timeout=LIMIT_S)

    def _serve_control(self) -> None:
        with contextlib.suppress(OSError):
            while event := os.read(self._control, EVENT.size):
                kind_of, request, value, _index, length, kind = EVENT.unpack(event[: EVENT.size])
                if self._closing.is_set() and kind != ENABLE:
                    return
                if kind == ENABLE:
                    self._enabled.set()
                elif kind == SETUP:
                    self._answer(kind_of, request, value, length)

    def _answer(self, kind_of: int, request: int, value: int, length: int) -> None:
        if request == GET_LINE_CODING and kind_of & INTO_HOST:
            os.write(self._control, self._coding[:length])
            return
        octets = os.read(self._control, length)
        if request == SET_LINE_CODING:
            self._coding = octets
            self.rates.append(struct.unpack("<I", octets[:4])[0])
        elif request == SET_CONTROL_LINE_STATE:
            self.lines.append((bool(value & DTR), bool(value & RTS)))
            self._on_lines(*self.lines[-1])

    def _serve_octets(self) -> None:
        while not self._closing.is_set():
            with contextlib.suppress(OSError):  # taken off the bus: the next read waits for the next plugging in
                self._on_octets(os.read(self._down, 4096))


def _descriptors() -> bytes:
    sets = b"".join(
        CONTROL_INTERFACE
        + _endpoint(0x81, INTERRUPT, 16, 9)
        + DATA_INTERFACE
        + _endpoint(0x82, BULK, size)
        + _endpoint(0x03, BULK, size)
        for size in (64, 512)
    )
    head = struct.pack("<III", HAS_FULL_SPEED | HAS_HIGH_SPEED, 5, 5)
    return struct.pack("<II", DESCRIPTORS_MAGIC, 8 + len(head) + len(sets)) + head + sets


def _endpoint(address: int, kind: int, size: int, interval: int = 0) -> bytes:
    return struct.pack("<BBBBHB", 7, 5, address, kind, size, interval)
