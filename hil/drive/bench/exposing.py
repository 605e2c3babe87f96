"""Cuts a camera's exposure, stop by stop, until a lamp's own window shows its colour: or as far as it can be cut.

One that was left too short, as by another lamp, is made longer in the same way.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass

from hil.core.errors import BenchError
from hil.instruments.exposure import LONGEST_S, Exposure
from hil.lamp.aim import Region, Turn
from hil.lamp.exposed import STEADY, Exposed, exposed

STOP = 2.0
# In the shorter one an addressable lamp switches once at least (400 Hz: data sheet of older ones), so that no colour of it is
# missing; and its pictures are seen to be alike, but for a lamp that flashes by itself.
SHORTEST_S, SHORTEST_UNSEEN_S = 0.0025, 0.005
ROUNDED = 0.95  # a driver may round an exposure


@dataclass(frozen=True, slots=True)
class Cut:
    """From which exposure to which, and what share of the lamp's region was blown out before and after."""

    from_s: float
    to_s: float
    blown_before: float
    blown_after: float

    def __str__(self) -> str:
        """In words."""
        cut = f"{1e3 * self.to_s:.1f} ms in place of {1e3 * self.from_s:.1f} ms"
        if self.to_s > self.from_s:
            return f"{cut}, by which the unit's lamp was dim"
        blown = f"{self.blown_before:.1%} of the picture was blown out, now {self.blown_after:.1%}"
        return f"{cut}: at the unit's lamp {blown}"


def cut_exposure(exposure: Exposure, take: Callable[[], Turn], region: Region, lamps: Sequence[Region]) -> Cut | None:
    """Leave the camera at the longest exposure that does not blow the lamp out, or the shortest that does; None: as it was.

    Args:
        exposure: of the camera.
        take: takes pictures of the lamp lit and dark, as the camera is set.
        region: where the lamp lies; lamps: all regions of lamps in the picture.

    Raises:
        InputError: the camera takes no exposure times.
        BenchError: it does not take the one that it had, or no pictures can be taken.
    """
    first_s, (shortest_s, longest_s) = exposure.now_s(), exposure.range_s()
    with set_back(exposure, first_s):
        first = best = _Tried(first_s, exposed(take(), region, lamps))
        least_s = SHORTEST_S if first.shows.steady >= STEADY else SHORTEST_UNSEEN_S
        bounds_s = max(shortest_s, least_s), min(longest_s, LONGEST_S)
        while (next_s := best.next_s(*bounds_s)) is not None:
            try:
                at_s = exposure.set(next_s)
            except BenchError:  # not every one within its range, as some drivers have it
                break
            tried = _Tried(at_s, exposed(take(), region, lamps))
            shorter = next_s < best.at_s
            does = tried.is_clearer(best, first, bounds_s[0]) if shorter else tried.is_brighter(best, bounds_s[1])
            if not does:
                break
            best = tried
        exposure.set(best.at_s)
    return None if best is first else Cut(first_s, best.at_s, first.shows.blown, best.shows.blown)


@dataclass(frozen=True, slots=True)
class _Tried:
    """An exposure, and what it shows of the lamp."""

    at_s: float
    shows: Exposed

    def next_s(self, shortest_s: float, longest_s: float) -> float | None:
        """Which one to try after it; None where it is good, or none is left."""
        if not self.shows.is_enough:
            return max(self.at_s / STOP, shortest_s) if self.at_s > shortest_s else None
        return min(self.at_s * STOP, longest_s) if self.shows.is_dim and self.at_s < longest_s else None

    def is_clearer(self, best: "_Tried", first: "_Tried", shortest_s: float) -> bool:
        """Whether it is shorter than the best one yet, as it was told to be, and less is blown out by it, and nothing lost."""
        taken = ROUNDED * shortest_s <= self.at_s < best.at_s
        return taken and self.shows.blown < best.shows.blown and self.shows.does_beside(first.shows)

    def is_brighter(self, best: "_Tried", longest_s: float) -> bool:
        """Whether it is longer than the best one yet, as it was told to be, and the lamp brighter by it, and not blown out."""
        taken = best.at_s < self.at_s <= longest_s / ROUNDED
        return taken and self.shows.brightest > best.shows.brightest and self.shows.is_enough


@contextmanager
def set_back(exposure: Exposure, exposure_s: float) -> Iterator[None]:
    """Leave the camera with this exposure where what is done meanwhile breaks off."""
    try:
        yield
    except BaseException:
        with suppress(BenchError):
            exposure.set(exposure_s)
        raise
