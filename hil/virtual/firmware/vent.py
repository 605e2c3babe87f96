"""The vent: open above one temperature, closed below another."""

import asyncio

import chip

LOOK_EVERY_S = 5.0


class Vent:
    """Where the vent stands; between the two temperatures it stays as it is."""

    def __init__(self, store):
        self._store = store
        self.is_open = False

    @property
    def position(self):
        """Return `open` or `closed`."""
        return "open" if self.is_open else "closed"

    def look(self):
        """Read the air's temperature and move the vent if it must."""
        values = self._store.values
        temperature_c = chip.air_temperature_c()
        if temperature_c >= values["opens_at"]:
            self.is_open = True
        elif temperature_c <= values["closes_at"]:
            self.is_open = False

    async def follow(self):
        """Look again and again, for ever."""
        while True:
            self.look()
            await asyncio.sleep(LOOK_EVERY_S)
