"""Both lamps as they were found by their turns, and what those turns tell of the camera."""

from collections.abc import Sequence
from dataclasses import dataclass

from hil.core.frames import Crops
from hil.lamp.aim import Aimed, NotAimed, Turn, readable
from hil.lamp.doubt import NotTold
from hil.lamp.place import place_in_dim_light, place_of


@dataclass(frozen=True, slots=True)
class Found:
    """The unit's lamp with the turns by which it was looked for, and the bench's own."""

    unit: Aimed | NotAimed
    turns: list[Turn]
    own: Aimed | NotAimed

    @property
    def lamps(self) -> list[Aimed]:
        """Both, the unit's first, or nothing where one was not found."""
        found = [lamp for lamp in (self.unit, self.own) if isinstance(lamp, Aimed)]
        return found if len(found) == 2 else []

    @property
    def is_readable(self) -> bool:
        """Whether both were found, and pictures of the unit's tell its colour."""
        return bool(self.lamps) and isinstance(readable(self.lamps[0], self.turns), Aimed)

    @property
    def displaced(self) -> NotTold | None:
        """Why what lies around the unit's lamp does not tell where the camera looks, by light as bright as is trusted."""
        regions = [lamp.region for lamp in self.lamps]
        if not regions:
            return NotTold("the lamps were not found")
        place = place_of(self.turns[-1].dark[0], regions[0], regions)
        return place if isinstance(place, NotTold) else None

    def place_beside(self, longer: Crops, own_lit: Sequence[Crops] = ()) -> NotTold | None:
        """Say why it does not tell that, however dark it is there.

        Dark pictures were exposed `longer`; in those of `own_lit` the bench's own lamp is lit.
        """
        regions = [lamp.region for lamp in self.lamps]
        if not regions:
            return NotTold("the lamps were not found")
        lit = [picture for turn in self.turns for picture in turn.lit] + list(own_lit)
        place = place_in_dim_light(self.turns[-1].dark[0], lit, regions[0], regions, longer[0])
        return place if isinstance(place, NotTold) else None
