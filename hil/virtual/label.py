"""The label of a unit that the virtual bench or the lab makes up."""

import random

from hil.core.bench_file import Label

LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"


def draw_label(dice: random.Random) -> Label:
    """A serial number, an address and a key for the hotspot."""
    address = bytes([0x02, *(dice.randrange(256) for _ in range(5))])
    key = "".join(dice.choice(LETTERS) for _ in range(12))
    return Label(serial_number=f"MV2-{dice.randrange(100000):05d}", address=address.hex(":"), hotspot_key=key)
