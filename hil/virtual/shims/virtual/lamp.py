"""The addressable lamp of a virtual unit."""

from binascii import hexlify

import link


def send(wire):
    """Put three octets on the lamp's wire; the lamp takes green first."""
    link.tell(op="lamp", wire=hexlify(wire).decode())
