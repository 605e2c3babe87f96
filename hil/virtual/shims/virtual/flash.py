"""The flash of a virtual unit, addressed from its start."""

from binascii import hexlify, unhexlify

import link

SECTOR_SIZE = 4096
PAGE_SIZE = 256


def read(at, count):
    """Return octets."""
    return unhexlify(link.ask(op="read", at=at, n=count)["data"])


def erase(at):
    """Erase the sector that begins here."""
    link.ask(op="erase", at=at)


def program(at, octets):
    """Write octets into erased flash, within one page."""
    link.ask(op="program", at=at, data=hexlify(octets).decode())
