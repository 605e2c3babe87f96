"""The settings sectors of a real board: a data partition named `settings`. Untested on hardware.

Addresses are those of the unit's flash map; the partition lies where the board's table puts it.
"""

from esp32 import Partition

SECTOR_SIZE = 4096
PAGE_SIZE = 256
_MAP_START = 0x90000
_ERASE_BLOCK = 6

_partition = Partition.find(Partition.TYPE_DATA, label="settings")[0]


def _place(at):
    """Return block and offset in the partition."""
    return divmod(at - _MAP_START, SECTOR_SIZE)


def read(at, count):
    """Return octets."""
    block, offset = _place(at)
    octets = bytearray(count)
    _partition.readblocks(block, octets, offset)
    return bytes(octets)


def erase(at):
    """Erase the sector that begins here."""
    _partition.ioctl(_ERASE_BLOCK, _place(at)[0])


def program(at, octets):
    """Write octets into erased flash, within one page."""
    block, offset = _place(at)
    _partition.writeblocks(block, octets, offset)
