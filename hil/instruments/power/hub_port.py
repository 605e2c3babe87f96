"""A port of a USB hub that switches its supply.

The kernel does it (`disable` of a port: Documentation/ABI/testing/sysfs-bus-usb, Linux 6.0) and takes the device away at once,
whether the hub cuts the supply or not. So a hub must say that it switches port by port, and is refused where it does not.
Some say so and do not: `hil bench check` looks whether the unit's lamp goes out.
"""

import ctypes
import fcntl
import os
import struct
import time
from pathlib import Path

from hil.core.errors import BenchError, InputError, InstrumentGone
from hil.core.timeline import Timeline
from hil.instruments.power.supply import Power, SupplyState

DEVICES, NODES = Path("/sys/bus/usb/devices"), Path("/dev/bus/usb")
FOLLOWS_S = 2.0
POLL_S = 0.01
# USB 2.0, 11.24.2.5 and 11.23.2.1: what is asked of a hub, and where in its answer it says how it switches supplies.
ASK_HUB, GET_DESCRIPTOR, HUB_DESCRIPTOR, SUPER_SPEED_HUB_DESCRIPTOR = 0xA0, 0x06, 0x29, 0x2A
CHARACTERISTICS, SWITCHES_BITS, SWITCHES_EACH = struct.Struct("<3xH"), 0b11, 0b01
SUPER_SPEED_MBIT = 5000
CONTROL = struct.Struct("@BBHHHIP")  # struct usbdevfs_ctrltransfer of linux/usbdevice_fs.h
CONTROL_ORDER = 0xC0000000 | CONTROL.size << 16 | ord("U") << 8 | 0  # USBDEVFS_CONTROL
ANSWER_MS = 1000
REMEDY = "Use a hub that switches the supply of each port, a relay, or a supply that speaks SCPI."


class HubPortPower(Power):
    """One port of one hub."""

    def __init__(self, timeline: Timeline, hub: str, port: int) -> None:
        """Find the port; the supply stays as it is.

        Raises:
            InputError: there is no such hub or port, or it does not switch supplies one by one.
            BenchError: this process may not ask it.
        """
        super().__init__(timeline)
        self._name = f"port {port} of hub {hub}"
        where = f"bench file: power.hub_port ({hub}, {port})"
        own = _port_folder(hub, port)
        if not own.is_dir():
            known = ", ".join(sorted(path.parent.name for path in DEVICES.glob("*/maxchild"))) or "none"
            raise InputError(where, "there is no such port.", f"Hubs here: {known}.")
        # A port of both kinds of USB is two to the kernel, with one supply.
        self._ports = [folder for folder in (own, own / "peer") if (folder / "disable").exists()]
        if not self._ports:
            raise InputError(where, "the kernel cannot switch it.", "It must be Linux 6.0 or newer.")
        if not _switches_each(DEVICES / hub):
            raise InputError(where, "this hub does not switch the supplies of its ports one by one.", REMEDY)

    def close(self) -> None:
        """Leave it as it is."""

    def _switch(self, on: bool) -> None:
        try:
            for port in self._ports:
                (port / "disable").write_text("0" if on else "1", encoding="ascii")
        except OSError as error:
            raise InstrumentGone(self._name, f"cannot be switched: {error}.", "Is its hub still there?") from error
        until_s = time.monotonic() + FOLLOWS_S
        while not on and any((port / "device").exists() for port in self._ports):
            if time.monotonic() > until_s:
                raise BenchError(self._name, f"was switched off; its device is there {FOLLOWS_S:g} s later.", REMEDY)
            time.sleep(POLL_S)

    def _read(self) -> SupplyState:
        try:
            return SupplyState(
                all((port / "disable").read_text(encoding="ascii").strip() == "0" for port in self._ports)
            )
        except OSError as error:
            raise InstrumentGone(self._name, f"cannot be read: {error}.", "Is its hub still there?") from error


def _port_folder(hub: str, port: int) -> Path:
    """Where the kernel shows a port: below the hub's only interface."""
    interface = f"{hub.removeprefix('usb')}-0:1.0" if hub.startswith("usb") else f"{hub}:1.0"
    return DEVICES / interface / f"{hub}-port{port}"


def _switches_each(hub: Path) -> bool:
    """Whether a hub says that it switches the supply of each port by itself."""
    told = [int(float((hub / name).read_text(encoding="ascii"))) for name in ("busnum", "devnum", "speed")]
    kind = SUPER_SPEED_HUB_DESCRIPTOR if told[2] >= SUPER_SPEED_MBIT else HUB_DESCRIPTOR
    node = NODES / f"{told[0]:03d}" / f"{told[1]:03d}"
    try:
        answer = _descriptor(node, kind)
    except OSError as error:
        remedy = "The bench needs the right to write to it: root, or a udev rule."
        raise BenchError(f"hub {hub.name}", f"{node} cannot be asked: {error}.", remedy) from error
    (characteristics,) = CHARACTERISTICS.unpack_from(answer)
    return bool(characteristics & SWITCHES_BITS == SWITCHES_EACH)


def _descriptor(node: Path, kind: int) -> bytes:
    """The hub's descriptor: USB 2.0, 11.23.2.1."""
    answer = bytearray(64)
    place = (ctypes.c_ubyte * len(answer)).from_buffer(answer)
    end = os.open(node, os.O_RDWR)
    try:
        order = CONTROL.pack(ASK_HUB, GET_DESCRIPTOR, kind << 8, 0, len(answer), ANSWER_MS, ctypes.addressof(place))
        fcntl.ioctl(end, CONTROL_ORDER, order)
    finally:
        os.close(end)
    return bytes(answer)
