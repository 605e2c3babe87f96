"""Cuts a camera's exposure, stop by stop, until a lamp's own window shows its colour: or as far as it can be cut."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass

from hil.core.errors import BenchError
from hil.instruments.exposure import Exposure
from hil.lamp.aim import Region, Turn
from hil.lamp.exposed import STEADY, exposed

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
        return (
            f"{1e3 * self.to_s:.1f} ms in place of {1e3 * self.from_s:.1f} ms: at the unit's lamp "
            f"{self.blown_before:.1%} of the picture was blown out, now {self.blown_after:.1%}"
        )


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
    first_s, (shortest_s, _) = exposure.now_s(), exposure.range_s()
    with set_back(exposure, first_s):
        first = best = exposed(take(), region, lamps)
        shortest_s = max(shortest_s, SHORTEST_S if first.steady >= STEADY else SHORTEST_UNSEEN_S)
        best_s = first_s
        while not best.is_enough and best_s > shortest_s:
            try:
                tried_s = exposure.set(max(best_s / STOP, shortest_s))
            except BenchError:  # not every one within its range, as some drivers have it
                break
            found = exposed(take(), region, lamps)
            if not (ROUNDED * shortest_s <= tried_s < best_s and found.blown < best.blown and found.does_beside(first)):
                break
            best, best_s = found, tried_s
        exposure.set(best_s)
    return None if best_s == first_s else Cut(first_s, best_s, first.blown, best.blown)


@contextmanager
def set_back(exposure: Exposure, exposure_s: float) -> Iterator[None]:
    """Leave the camera with this exposure where what is done meanwhile breaks off."""
    try:
        yield
    except BaseException:
        with suppress(BenchError):
            exposure.set(exposure_s)
        raise
