"""The chip of a virtual unit: who it is, how long it has been awake, its restart."""

import gc
import sys
import time

import link
import tick

if sys.implementation.name == "micropython":
    from gc import mem_free
    from sys import print_exception
else:
    import traceback
    import tracemalloc

    HEAP_OCTETS = 2097152  # MicroPython's own on a desk computer
    tracemalloc.start()

    def mem_free():
        """Return what a heap of that size would have left: CPython has none of a fixed size, and counts what is taken."""
        return HEAP_OCTETS - tracemalloc.get_traced_memory()[0]

    def print_exception(error):
        """Show a traceback where the serial line takes it."""
        traceback.print_exception(error, file=sys.stdout)


_identity = link.ask(op="identity")


def address():
    """Return the station address as `aa:bb:cc:dd:ee:ff`."""
    return _identity["address"]


def serial():
    """Return the serial number."""
    return _identity["serial"]


def label_key():
    """Return the key printed on the unit's label."""
    return _identity["label_key"]


def cause():
    """Return why the chip started: `power`, `reset line`, `software` or `panic`."""
    return _identity["cause"]


def awake_ms():
    """Return milliseconds since the chip started."""
    return tick.unit_us() / 1000


def free_memory():
    """Return how many octets of the heap are free once what nobody needs is swept away."""
    gc.collect()
    return mem_free()


def air_temperature_c():
    """Return the greenhouse air's temperature: a mild, even day."""
    return 21.0


def reset():
    """Restart the chip; does not return."""
    link.tell(op="reset")
    time.sleep_ms(10000)
    sys.exit(1)


def crashed(error):
    """Show what went wrong on the console and end; the board restarts the chip."""
    print_exception(error)
    sys.exit(1)
