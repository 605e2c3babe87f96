"""The two places for a program on a real board: its two `ota` partitions. Untested on hardware.

Which one is started next says the boot loader's own record, which it keeps twice, so
that a power cut leaves the old choice or the new one.
"""

from esp32 import Partition

SECTOR_SIZE = 4096
_SIZE_FIELD = 3
_ERASE_BLOCK = 6

_free = Partition(Partition.RUNNING).get_next_update()
SIZE = _free.info()[_SIZE_FIELD]


async def erase(at):
    """Erase the sector of the free place that begins at `at`; this chip rests meanwhile."""
    _free.ioctl(_ERASE_BLOCK, at // SECTOR_SIZE)


async def write(at, octets):
    """Write octets into the sector that begins at `at` and was erased; this chip rests meanwhile."""
    _free.writeblocks(at // SECTOR_SIZE, octets, 0)  # with an offset nothing is erased


def read(at, count):
    """Return octets of the free place."""
    octets = bytearray(count)
    block, offset = divmod(at, SECTOR_SIZE)
    _free.readblocks(block, octets, offset)
    return bytes(octets)


def select():
    """Have the chip start from the free place from now on; OSError when what is there does not start."""
    _free.set_boot()
