"""The status light. Every stage has a row of colours with their milliseconds; a row of one colour stands still."""

import asyncio
import time

import chip
import lamp

STARTING, JOINING, SETUP, CONNECTED, FAULT = "starting", "joining", "setup", "connected", "fault"
LIGHTS_AT_MS = 400

OFF = (0, 0, 0)
WHITE = (150, 150, 150)
AMBER = (200, 110, 0)
BLUE = (0, 0, 200)
GREEN = (0, 180, 0)
RED = (210, 0, 0)

ROWS = {
    STARTING: ((AMBER, 0),),
    JOINING: ((WHITE, 400), (BLUE, 400)),
    SETUP: ((AMBER, 300), (BLUE, 300)),
    CONNECTED: ((GREEN, 0),),
    FAULT: ((RED, 300), (OFF, 300)),
}


def _send(colour):
    lamp.send(bytes([colour[1], colour[0], colour[2]]))  # the light's wire takes green first


def power_up():
    """Light up for the starting stage, once the light's own supply is there."""
    time.sleep_ms(max(0, int(LIGHTS_AT_MS - chip.awake_ms())))
    _send(ROWS[STARTING][0][0])


class Light:
    """Plays the row of the present stage, and begins anew with each stage."""

    def __init__(self):
        self._row = ROWS[STARTING]
        self._turned = asyncio.Event()

    def show(self, stage):
        """Turn to the row of a stage."""
        self._row = ROWS[stage]
        self._turned.set()

    async def play(self):
        """Play for ever. Each colour has its time from the row's begin on, so that none drifts."""
        while True:
            row = self._row
            self._turned.clear()
            due_ms = chip.awake_ms()
            at = 0
            while not self._turned.is_set():
                colour, for_ms = row[at % len(row)]
                _send(colour)
                at += 1
                due_ms += for_ms
                await self._rest(due_ms if for_ms else 0)

    async def _rest(self, until_ms):
        """Wait for the next colour's time, or, with none, for the next stage."""
        if not until_ms:
            await self._turned.wait()
            return
        try:
            await asyncio.wait_for(self._turned.wait(), max(0.001, (until_ms - chip.awake_ms()) / 1000))
        except asyncio.TimeoutError:
            pass
