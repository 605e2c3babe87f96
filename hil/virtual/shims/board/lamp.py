"""The addressable lamp of a real board. Untested on hardware."""

import machine
import neopixel

_PIN = 5

_lamp = neopixel.NeoPixel(machine.Pin(_PIN, machine.Pin.OUT), 1)


def send(wire):
    """Put three octets on the lamp's wire; the lamp takes green first."""
    _lamp.buf[:] = wire
    _lamp.write()
