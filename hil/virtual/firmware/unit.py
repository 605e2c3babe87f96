"""What the parts of the program share: the unit's settings, stage, address and last report."""

import chip
import settings
import stages
import vent

HOTSPOT_ADDRESS = "203.0.113.1"


class Unit:
    """One unit, from power-on to power-off."""

    def __init__(self):
        self.store = settings.Store(settings.defaults(chip.label_key()))
        self.first_start = not self.store.load()
        self.stages = stages.Stages()
        self.vent = vent.Vent(self.store)
        self.address = ""
        self.last_report = "none yet"
