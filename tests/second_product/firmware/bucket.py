"""The tipping bucket: it empties itself after so much rain, and each tip is counted."""


class Bucket:
    """Tips since the start."""

    def __init__(self):
        self.tips = 0

    def tip(self):
        """Count one: called when the bucket's contact closes."""
        self.tips += 1

    def rain_mm(self, mm_per_tip):
        """Return how much rain fell."""
        return self.tips * mm_per_tip
