"""The whole device: what it remembers, what it does now, and what it has counted."""

import bucket
import fields
import light
import memory


class Sensor:
    """One rain sensor from power on to power off."""

    def __init__(self):
        self.memory = memory.Memory(fields.at_first())
        self.light = light.Light()
        self.stage = light.STARTING
        self.ip = ""
        self.bucket = bucket.Bucket()
        self.report = "not yet"

    def enter(self, stage):
        """Go over to another stage."""
        self.stage = stage
        self.light.show(stage)
