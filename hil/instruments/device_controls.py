"""The controls of a V4L2 device, by their numbers, set beside the program that reads its pictures: the kernel lets any do that.

Numbers and layouts of `linux/videodev2.h` and `linux/v4l2-controls.h`.
"""

import errno
import fcntl
import os
import struct
from pathlib import Path

VIDIOC_G_CTRL, VIDIOC_S_CTRL, VIDIOC_QUERYCTRL = 0xC008561B, 0xC008561C, 0xC0445624
CONTROL, QUERY = struct.Struct("=Ii"), struct.Struct("=II32siiiiI8x")
DISABLED_OR_READ_ONLY = 0x0001 | 0x0004


class DeviceControls:
    """Those of one device; nothing is held open. What the kernel refuses is an OSError."""

    def __init__(self, path: Path) -> None:
        """Name the device."""
        self.path = path

    def range_of(self, control: int) -> tuple[int, int]:
        """The least and the greatest that a control takes.

        Raises:
            OSError: the device has no such control, or only for reading, or is none.
        """
        answer = QUERY.unpack(self._order(VIDIOC_QUERYCTRL, QUERY.pack(control, 0, b"", 0, 0, 0, 0, 0)))
        least, most, flags = answer[3], answer[4], answer[7]
        if flags & DISABLED_OR_READ_ONLY:
            raise OSError(errno.EACCES, "its driver offers it for reading only")
        return least, most

    def read(self, control: int) -> int:
        """What it is set to."""
        value: int = CONTROL.unpack(self._order(VIDIOC_G_CTRL, CONTROL.pack(control, 0)))[1]
        return value

    def set(self, control: int, value: int) -> int:
        """Set it, and give what the device reads back."""
        self._order(VIDIOC_S_CTRL, CONTROL.pack(control, value))
        return self.read(control)

    def _order(self, request: int, content: bytes) -> bytes:
        handle = os.open(self.path, os.O_RDWR | os.O_NONBLOCK)
        try:
            return fcntl.ioctl(handle, request, content)
        finally:
            os.close(handle)
