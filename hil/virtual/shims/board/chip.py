"""The chip of a real board with MicroPython (ESP32 class). Untested on hardware.

Serial number and label key are written at the factory into the non-volatile store `factory`.
"""

import gc
import sys
import time

import esp32
import machine
import network

_CAUSES = {
    machine.PWRON_RESET: "power",
    machine.HARD_RESET: "reset line",
    machine.SOFT_RESET: "software",
    machine.WDT_RESET: "panic",
}
_LONGEST = 64
_PROBE_PIN = 34

_last_ticks = time.ticks_ms()
_awake_ms = _last_ticks  # this port counts from the chip's start


def _factory(name):
    buffer = bytearray(_LONGEST)
    length = esp32.NVS("factory").get_blob(name, buffer)
    return bytes(buffer[:length]).decode()


def address():
    """Return the station address as `aa:bb:cc:dd:ee:ff`."""
    octets = network.WLAN(network.STA_IF).config("mac")
    return ":".join("%02x" % octet for octet in octets)


def serial():
    """Return the serial number."""
    return _factory("serial")


def label_key():
    """Return the key printed on the unit's label."""
    return _factory("label_key")


def cause():
    """Return why the chip started: `power`, `reset line`, `software` or `panic`."""
    return _CAUSES.get(machine.reset_cause(), "power")


def awake_ms():
    """Return milliseconds since the chip started; asked often enough that the ticks wrap once at most."""
    global _last_ticks, _awake_ms
    now = time.ticks_ms()
    _awake_ms += time.ticks_diff(now, _last_ticks)
    _last_ticks = now
    return _awake_ms


def free_memory():
    """Return how many octets of the heap are free once what nobody needs is swept away."""
    gc.collect()
    return gc.mem_free()


def air_temperature_c():
    """Return the air's temperature from a probe that gives 10 mV a degree."""
    return machine.ADC(machine.Pin(_PROBE_PIN)).read_uv() / 10000


def reset():
    """Restart the chip; does not return."""
    machine.reset()


def crashed(error):
    """Show what went wrong on the console and restart."""
    sys.print_exception(error)
    time.sleep_ms(500)
    machine.reset()
