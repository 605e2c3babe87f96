"""The settings store: two flash sectors that hold records, of which the newest whole one counts.

A record is a head (magic, sequence, length, CRC-32 of the rest) and JSON. Saving
erases the sector that does not hold the present record and writes there, so a
power cut at any moment leaves the old settings or the new ones.
"""

import binascii
import json
import struct

import flash

SECTORS = (0x90000, 0x91000)
MAGIC = b"MVSR"
HEAD = "<4sIII"
HEAD_SIZE = struct.calcsize(HEAD)
LONGEST = flash.SECTOR_SIZE - HEAD_SIZE

SECRETS = ("report_key", "network_key", "update_key")


class NotSaved(Exception):
    """The flash did not take the settings."""


def defaults(label_key):
    """Return what a unit does before anybody set it up; the update key is the label's."""
    return {
        "opens_at": 24.0,
        "closes_at": 19.0,
        "reports_to": "http://192.0.2.80/vents",
        "report_every_s": 60,
        "report_key": "",
        "unit_name": "vent",
        "network": "",
        "network_key": "",
        "network_open": False,
        "fixed_address": "",
        "netmask": "",
        "gateway": "",
        "update_key": label_key,
    }


class Store:
    """The settings in flash, and the copy of them in memory: `values`."""

    def __init__(self, default_values):
        self._defaults = default_values
        self.values = dict(default_values)
        self._sequence = 0
        self._sector = 1

    def load(self):
        """Load the newest whole record; False when there is none, and defaults hold."""
        found = False
        for number, at in enumerate(SECTORS):
            record = _read_record(at)
            if record is not None and (not found or record[0] > self._sequence):
                found = True
                self._sequence, stored = record
                self._sector = number
                self.values = _known(self._defaults, stored)
        return found

    def format(self):
        """Erase both sectors and write the defaults into the first."""
        for at in SECTORS:
            flash.erase(at)
        self._sequence = 0
        self._sector = 1
        self.save(dict(self._defaults))

    def save(self, values):
        """Write the values beside the present record; they count once they are whole.

        Raises NotSaved when they do not read back; the present ones still hold then.
        """
        target = 1 - self._sector
        _write_record(SECTORS[target], self._sequence + 1, values)
        self._sequence += 1
        self._sector = target
        self.values = values


def _known(default_values, stored):
    """Return the defaults with what is stored of them, so that a newer program may have more."""
    values = dict(default_values)
    for name in values:
        if name in stored:
            values[name] = stored[name]
    return values


def _crc(sequence, payload):
    return binascii.crc32(struct.pack("<II", sequence, len(payload)) + payload) & 0xFFFFFFFF


def _read_record(at):
    """Return sequence and values of the record in a sector, None when it is not whole."""
    magic, sequence, length, crc = struct.unpack(HEAD, flash.read(at, HEAD_SIZE))
    if magic != MAGIC or length > LONGEST:
        return None
    payload = flash.read(at + HEAD_SIZE, length)
    if _crc(sequence, payload) != crc:
        return None
    try:
        values = json.loads(payload.decode())
    except ValueError:
        return None
    return (sequence, values) if isinstance(values, dict) else None


def _write_record(at, sequence, values):
    """Erase a sector and write a record there, its head last; raises NotSaved."""
    payload = json.dumps(values).encode()
    if len(payload) > LONGEST:
        raise NotSaved("too long")
    record = struct.pack(HEAD, MAGIC, sequence, len(payload), _crc(sequence, payload)) + payload
    flash.erase(at)
    last_page = (len(record) - 1) // flash.PAGE_SIZE * flash.PAGE_SIZE
    for start in range(last_page, -1, -flash.PAGE_SIZE):
        flash.program(at + start, record[start : start + flash.PAGE_SIZE])
    if flash.read(at, len(record)) != record:
        raise NotSaved("does not read back")
