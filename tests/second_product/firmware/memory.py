"""The settings' memory: a journal in two flash sectors.

Each save adds an entry behind the last one. When a sector is full the other one is erased and the journal goes on there,
so the entry that counts, the newest whole one, is never in a sector that is being erased. An entry is some pages: a head
(mark, length, number, checksum) and JSON. The page with the head is written last: an entry that was cut short is none.
"""

import binascii
import json
import struct

import flash

PLACES = (0x90000, 0x91000)
HEAD = ">2sHII"  # mark, octets of JSON, number, checksum
MARK = b"rj"
BLANK = b"\xff" * flash.PAGE_SIZE


class Full(Exception):
    """The flash did not take the entry."""


def _sum(number, text):
    return binascii.crc32(text, number) & 0xFFFFFFFF


def _entry_at(sector, at):
    """Return number, pages and settings of the whole entry that begins here, or None."""
    head_size = struct.calcsize(HEAD)
    mark, size, number, checksum = struct.unpack(HEAD, sector[at : at + head_size])
    text = sector[at + head_size : at + head_size + size]
    if mark != MARK or len(text) != size or _sum(number, text) != checksum:
        return None
    return number, -(-(head_size + size) // flash.PAGE_SIZE), json.loads(text.decode())


class Memory:
    """Settings by name, with what holds until somebody saves others."""

    def __init__(self, at_first):
        self.settings = dict(at_first)
        self._number = 0
        self._sector = 1
        self._free = flash.SECTOR_SIZE  # octets used in the present sector: as if it were full
        for which in range(len(PLACES)):
            self._look_through(which)

    def _look_through(self, which):
        """Take over the newest entry of a sector, if it is newer than what is known."""
        sector = flash.read(PLACES[which], flash.SECTOR_SIZE)
        newest, used, at = None, 0, 0
        while at < flash.SECTOR_SIZE:
            entry = _entry_at(sector, at)
            pages = 1
            if entry is not None:
                newest, pages = entry, entry[1]
            if entry is not None or sector[at : at + flash.PAGE_SIZE] != BLANK:
                used = at + pages * flash.PAGE_SIZE
            at += pages * flash.PAGE_SIZE
        if newest is not None and newest[0] > self._number:
            self._number, self._sector, self._free = newest[0], which, used
            for name in self.settings:
                self.settings[name] = newest[2].get(name, self.settings[name])

    def save(self, settings):
        """Add an entry; the settings count from then on. Raises Full, and then the old ones do."""
        text = json.dumps(settings).encode()
        number = self._number + 1
        entry = struct.pack(HEAD, MARK, len(text), number, _sum(number, text)) + text
        sector, at = self._sector, self._free
        if at + len(entry) > flash.SECTOR_SIZE:
            sector, at = 1 - sector, 0
            if len(entry) > flash.SECTOR_SIZE:
                raise Full()
            flash.erase(PLACES[sector])
        first = PLACES[sector] + at
        starts = list(range(0, len(entry), flash.PAGE_SIZE))
        for start in starts[1:] + starts[:1]:
            flash.program(first + start, entry[start : start + flash.PAGE_SIZE])
        if flash.read(first, len(entry)) != entry:
            raise Full()
        self._number, self._sector, self._free = number, sector, at + len(starts) * flash.PAGE_SIZE
        self.settings = dict(settings)
