"""How a lamp is exposed: whether its own window shows its colour, or only what it lights.

A core that is blown out is white whatever its colour, and what is left to tell the colour by is the lamp's light on the board,
in the board's colours, and what the lens scatters. So the shorter the exposure, the nearer to the lamp its colour is read; until
the lamp's own switching shows (an addressable one switches at 400 Hz to 2 kHz: its data sheets), or the room no more. Pure.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hil.lamp.aim import GLOW, Region, Turn
from hil.lamp.doubt import NotTold
from hil.lamp.light import SATURATED_CODE, SRGB_DECODE, strongest_codes
from hil.lamp.place import place_in_dim_light

# All: common practice, no source.
ENOUGH = 0.005  # of the region: with no more of it blown out, a shorter exposure would show no more of the colour
STEADY = 0.8  # of the brightest picture's light, that a steady lamp's darkest one has at least
DIMMEST = 0.3  # linear light (full scale 1) that the brightest part of the lamp has at least


@dataclass(frozen=True, slots=True)
class Exposed:
    """One exposure of a lit lamp.

    blown: share of its region, but for what is without the lamp; steady: light of its darkest picture over its brightest;
    brightest: linear light that it adds. placed: whether what lies around it tells where the camera looks, with the lamp lit
    and dark.
    """

    blown: float
    steady: float
    brightest: float
    placed: bool

    @property
    def is_enough(self) -> bool:
        """Whether a shorter exposure would show no more of its colour."""
        return self.blown <= ENOUGH

    @property
    def is_dim(self) -> bool:
        """Whether the lamp takes little of the camera's range."""
        return self.brightest < DIMMEST

    def does_beside(self, longer: "Exposed") -> bool:
        """Whether it shows all that a longer exposure showed: a steady lamp, where it showed that, and the camera's place."""
        steady = self.steady >= STEADY or longer.steady < STEADY
        return steady and not self.is_dim and (self.placed or not longer.placed)


def exposed(turn: Turn, region: Region, lamps: Sequence[Region]) -> Exposed:
    """Say how the lamp in a region is exposed in pictures of it lit and dark; `lamps` are the regions of all lamps."""
    x, y, width, height = region
    part = np.s_[:, y : y + height, x : x + width]
    codes = strongest_codes(turn.lit[part])
    dark = np.median(SRGB_DECODE[strongest_codes(turn.dark[part])], axis=0)
    gains = SRGB_DECODE[codes] - dark
    gain = np.median(gains, axis=0)
    glow = gain >= GLOW * gain.max()
    light = np.maximum(gains[:, glow].sum(axis=1), 0.0)
    return Exposed(
        blown=float(((codes >= SATURATED_CODE) & (dark < SRGB_DECODE[SATURATED_CODE])).mean()),
        steady=float(light.min() / max(float(light.max()), 1e-9)),
        brightest=float(gain.max()),
        placed=not isinstance(place_in_dim_light(turn.dark[0], list(turn.lit), region, lamps), NotTold),
    )
