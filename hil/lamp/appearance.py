"""How a stage looks on the lamp: a steady colour, a flash, or a sequence of colours that repeats."""

import math
from dataclasses import dataclass

from hil.lamp.colour import COLOURS, OFF, SAME_COLOUR


@dataclass(frozen=True, slots=True)
class Phase:
    """One part of a cycle: a colour for a time."""

    colour: str
    length_s: float


@dataclass(frozen=True, slots=True)
class Appearance:
    """A stage's lamp: `colour` steady; `colour` flashing at `flash_hz`, lit for `duty` of a period; or a `sequence`.

    A sequence is (colour, seconds) by turns and repeats; "off" is a colour. "yellow" and "amber" are one colour.

    Raises ValueError: a word is no colour, a figure is out of range, or the parts contradict each other.
    """

    colour: str = ""
    flash_hz: float | None = None
    duty: float = 0.5
    sequence: tuple[tuple[str, float], ...] = ()

    def __post_init__(self) -> None:
        """Check the parts and settle on one word for each colour."""
        if self.sequence:
            self._check_sequence()
        else:
            object.__setattr__(self, "colour", _known(self.colour))
            self._check_flash()

    def _check_sequence(self) -> None:
        if self.colour or self.flash_hz is not None:
            raise ValueError("an appearance is a colour (steady or flashing) or a sequence, not both.")
        settled = tuple((_known(colour), float(seconds)) for colour, seconds in self.sequence)
        object.__setattr__(self, "sequence", settled)
        if len(settled) < 2 or any(not 0.0 < seconds < math.inf for _, seconds in settled):
            raise ValueError(f"sequence {settled}: give two or more (colour, seconds), each longer than zero.")
        if any(one[0] == following[0] for one, following in zip(settled, settled[1:] + settled[:1], strict=True)):
            raise ValueError(f"sequence {settled} repeats a colour from one part to the next: join the two parts.")

    def _check_flash(self) -> None:
        if self.flash_hz is None:
            return
        if self.colour == OFF:
            raise ValueError("a dark lamp cannot flash: give the colour that flashes.")
        if not 0.0 < self.flash_hz < math.inf or not 0.0 < self.duty < 1.0:
            raise ValueError(f"flash_hz = {self.flash_hz}, duty = {self.duty}: give a rate above 0, a duty in 0..1.")

    @property
    def cycle(self) -> tuple[Phase, ...]:
        """Give the phases that repeat; none for a steady colour."""
        if self.sequence:
            return tuple(Phase(colour, seconds) for colour, seconds in self.sequence)
        if self.flash_hz is None:
            return ()
        period = 1.0 / self.flash_hz
        return Phase(self.colour, self.duty * period), Phase(OFF, (1.0 - self.duty) * period)


def _known(colour: str) -> str:
    settled = SAME_COLOUR.get(colour, colour)
    if settled not in (*COLOURS, OFF):
        raise ValueError(f"{colour!r} is no colour this reader knows: {', '.join((*COLOURS, *SAME_COLOUR, OFF))}.")
    return settled
