"""The lamps of the units in the other slots: each shows a stage of its own, dark, steady or flashing, and asks nobody."""

from dataclasses import dataclass

import numpy as np

from hil.virtual.scene.lamp_light import Triple

_COLOURS: tuple[Triple, ...] = ((0.67, 0.67, 0.67), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
_PERIOD_FRAMES = (8, 90)
_SHARES = (0.0, 0.5, 0.5, 1.0)  # of its period in which it is lit


@dataclass(frozen=True)
class Life:
    """What one lamp shows; periods are counted in frames."""

    drive: Triple
    period: int
    lit: int
    ahead: int

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> "Life":
        """Draw one."""
        period = int(rng.integers(*_PERIOD_FRAMES))
        lit = round(period * _SHARES[int(rng.integers(len(_SHARES)))])
        return cls(_COLOURS[int(rng.integers(len(_COLOURS)))], period, lit, int(rng.integers(period)))

    def is_lit(self, frame: int) -> bool:
        """Whether it is lit in a frame."""
        return (frame + self.ahead) % self.period < self.lit
