"""Adds a data partition `settings` to a chip's partition table, taken from the end of its file system's.

    python ci/board/partitions.py TABLE_AS_READ TABLE_TO_WRITE

Prints where it lies. A table that has one already is written as it is. The form of a table, from the chip vendor's documents
("Partition Tables"): entries of 32 octets (magic 0x50AA, type, subtype, offset, size, 16 octets of label, flags, all little
endian), then one of 0xEB 0xEB, fourteen 0xFF and the MD5 of the entries, then 0xFF to its end.
"""

import hashlib
import struct
import sys
from dataclasses import dataclass, replace
from pathlib import Path

ENTRY = struct.Struct("<HBBII16sI")
MAGIC, SUM_HEAD = 0x50AA, b"\xeb\xeb" + b"\xff" * 14
DATA, UNDEFINED, FILE_SYSTEMS = 1, 0x06, (0x81, 0x82, 0x83)
LABEL, SIZE = b"settings", 0x2000


@dataclass(frozen=True, slots=True)
class Entry:
    """One partition; offset and size in octets."""

    kind: int
    subtype: int
    offset: int
    size: int
    label: bytes
    flags: int

    def pack(self) -> bytes:
        """Return it as it stands in the table."""
        return ENTRY.pack(MAGIC, self.kind, self.subtype, self.offset, self.size, self.label, self.flags)


def read_table(table: bytes) -> list[Entry]:
    """The entries of a table.

    Raises:
        ValueError: it is none, or its sum does not fit.
    """
    entries, at = [], 0
    while at + ENTRY.size <= len(table) and table[at : at + 2] == b"\xaa\x50":
        _, kind, subtype, offset, size, label, flags = ENTRY.unpack_from(table, at)
        entries.append(Entry(kind, subtype, offset, size, label.rstrip(b"\0"), flags))
        at += ENTRY.size
    if not entries:
        raise ValueError("this is no partition table: no entry begins with 0xAA 0x50.")
    if table[at : at + 16] == SUM_HEAD and table[at + 16 : at + 32] != hashlib.md5(table[:at]).digest():
        raise ValueError("the table's sum does not fit its entries.")
    return entries


def with_settings(entries: list[Entry]) -> list[Entry]:
    """The same with a partition for settings.

    Raises:
        ValueError: there is no file system to take it from.
    """
    if any(entry.label == LABEL for entry in entries):
        return entries
    at = next((n for n, entry in enumerate(entries) if entry.kind == DATA and entry.subtype in FILE_SYSTEMS), None)
    if at is None or entries[at].size <= SIZE:
        raise ValueError("no partition of a file system is there to take the settings' place from.")
    files = replace(entries[at], size=entries[at].size - SIZE)
    settings = Entry(DATA, UNDEFINED, files.offset + files.size, SIZE, LABEL, 0)
    return [*entries[:at], files, settings, *entries[at + 1 :]]


def write_table(entries: list[Entry], length: int) -> bytes:
    """A table of so many octets."""
    told = b"".join(entry.pack() for entry in entries)
    table = told + SUM_HEAD + hashlib.md5(told).digest()
    return table.ljust(length, b"\xff")


def main(source: Path, target: Path) -> None:
    """Read, change, write."""
    table = source.read_bytes()
    entries = with_settings(read_table(table))
    target.write_bytes(write_table(entries, len(table)))
    settings = next(entry for entry in entries if entry.label == LABEL)
    print(f"settings: {settings.size:#x} octets at {settings.offset:#x}")


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit("partitions: say TABLE_AS_READ TABLE_TO_WRITE")
    try:
        main(Path(sys.argv[1]), Path(sys.argv[2]))
    except (OSError, ValueError) as error:
        sys.exit(f"partitions: {error}")
