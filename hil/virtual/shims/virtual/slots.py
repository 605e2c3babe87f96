"""The two places for a program in the flash of a virtual unit: one runs, an update is written into the other.

Which one is started next says the newest whole record of two sectors; a new one is
written into the sector that does not hold the present one, so a power cut leaves
the old choice or the new one.
"""

import struct
from binascii import crc32, hexlify

import flash
import link

SIZE = 0x40000
SECTOR_SIZE = flash.SECTOR_SIZE
LIMIT_S = 10.0

_PLACES = (0x10000, 0x50000)
_RECORDS = (0xE000, 0xF000)
_MAGIC = b"MVSL"
_RECORD = "<4sIII"

_running = link.ask(op="identity").get("slot", 0)
_free = 1 - _running


async def erase(at):
    """Erase the sector of the free place that begins at `at`, and let other tasks run meanwhile."""
    await link.ask_later(LIMIT_S, op="erase", at=_PLACES[_free] + at)


async def write(at, octets):
    """Write octets into the sector that begins at `at` and was erased, and let other tasks run meanwhile."""
    begin = _PLACES[_free] + at
    starts = range(0, len(octets), flash.PAGE_SIZE)
    pages = [(begin + start, octets[start : start + flash.PAGE_SIZE]) for start in starts]
    await link.ask_all_later(LIMIT_S, [{"op": "program", "at": page_at, "data": hexlify(page).decode()} for page_at, page in pages])


def read(at, count):
    """Return octets of the free place."""
    return flash.read(_PLACES[_free] + at, count)


def select():
    """Have the chip start from the free place from now on; OSError when the choice does not read back."""
    records = [_read(at) for at in _RECORDS]
    target = 0 if records[0] < records[1] else 1
    sequence = max(records)[0] + 1
    record = struct.pack(_RECORD, _MAGIC, sequence, _free, _crc(sequence, _free))
    flash.erase(_RECORDS[target])
    flash.program(_RECORDS[target], record)
    if flash.read(_RECORDS[target], len(record)) != record:
        raise OSError("the choice does not read back")


def _crc(sequence, place):
    return crc32(struct.pack("<II", sequence, place)) & 0xFFFFFFFF


def _read(at):
    """Return sequence and place of a record; a sequence of -1 when it is not whole."""
    magic, sequence, place, crc = struct.unpack(_RECORD, flash.read(at, struct.calcsize(_RECORD)))
    whole = magic == _MAGIC and crc == _crc(sequence, place)
    return (sequence, place) if whole else (-1, 0)
