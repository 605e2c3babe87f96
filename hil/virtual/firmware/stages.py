"""The stages a unit can be in, and the one it is in now."""

import asyncio

STARTING = "starting"
JOINING = "joining"
SETUP = "setup"
CONNECTED = "connected"
UPDATING = "updating"
FAULT = "fault"


class Stages:
    """The present stage; tells the console and whoever waits for a change."""

    def __init__(self):
        self.now = STARTING
        self._changed = asyncio.Event()

    def enter(self, stage):
        """Enter a stage, with one line on the console."""
        print("stage: " + stage)
        self.now = stage
        self._changed.set()

    async def change(self, limit_s):
        """Wait until the stage changes, at most `limit_s`; True when it did."""
        try:
            await asyncio.wait_for(self._changed.wait(), limit_s)
        except asyncio.TimeoutError:
            return False
        self._changed.clear()
        return True
