"""What the status lamp shows in each stage: its colour and its flash."""

import chip
import lamp
import stages
from waiting import sleep_until

DARK = (0, 0, 0)
WHITE = (170, 170, 170)
BLUE = (0, 0, 220)
GREEN = (0, 200, 0)
RED = (220, 0, 0)

LAMP_ON_AT_MS = 500
STEADY_LOOK_S = 60.0

# stage: colour, flashes a second (0 is steady); colours and bands after IEC 60073
CODE = {
    stages.STARTING: (WHITE, 0.0),
    stages.JOINING: (WHITE, 0.6),
    stages.SETUP: (BLUE, 0.0),
    stages.CONNECTED: (GREEN, 0.0),
    stages.UPDATING: (WHITE, 2.0),
    stages.FAULT: (RED, 2.0),
}


def show(colour):
    """Send a colour to the lamp, which takes green first."""
    red, green, blue = colour
    lamp.send(bytes((green, red, blue)))


def switch_on():
    """Show the starting stage; the supply of the lamp is steady after half a second."""
    sleep_until(LAMP_ON_AT_MS)
    show(CODE[stages.STARTING][0])


async def follow(unit_stages):
    """Keep the lamp on the code of the present stage, for ever."""
    while True:
        colour, flash_hz = CODE[unit_stages.now]
        if flash_hz:
            await _flash(unit_stages, colour, flash_hz)
        else:
            show(colour)
            await unit_stages.change(STEADY_LOOK_S)


async def _flash(unit_stages, colour, flash_hz):
    """Flash until the stage changes: dark first, so that the change itself is seen.

    Edges are counted from the first one, so a late edge makes no later one late.
    """
    began_ms = chip.awake_ms()
    edge = 0
    while True:
        show(colour if edge % 2 else DARK)
        edge += 1
        next_ms = began_ms + edge * 500 / flash_hz
        if await unit_stages.change(max(0.001, (next_ms - chip.awake_ms()) / 1000)):
            return
