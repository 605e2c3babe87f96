"""Whether the lamp camera still sees its lamp where, and as, the run saw it first: looked at every second or so, and when asked.

Books when it does no more, as `moved` or `hidden`, with the time at which it last did (`since_s`), and when it does again,
as `in place`. What a single picture says is believed only once the next says it too: one may be torn.

Where a picture is at hand by which the camera was aimed, the run's first look is held against it, once. A camera moved since then
is `moved` for the whole run, and looked at no more; where that cannot be told, `aim unknown` is booked, and the run goes on. What
lies around the bench's own lamp stays where it was while units come and go: then it is the board that lies a little otherwise.
"""

import threading
import time
from collections.abc import Callable
from typing import Literal

from hil.core.frames import Crops
from hil.core.moments import Json
from hil.core.timeline import Timeline
from hil.lamp.doubt import NotTold
from hil.lamp.place import LEAST_LIGHT, SURELY_ALIKE, Place, Region, place_of

EVERY_REAL_S, TIMES_ITS_COST = 1.0, 600.0  # and so seldom that it costs a slow processor next to nothing
SETTLED_REAL_S, LEARN_EVERY_REAL_S = 2.0, 0.25  # a camera that has just been opened may show something else first
TIMES_LEARNING = 4.0  # what learning costs, until the next try
END_REAL_S = 5.0
MOST_TRIES = 20  # pictures to learn the place from, until one is like those of the next two seconds
AS_DIM = 0.5  # of the light by which it was aimed: by less than that it was not tried
DIMMEST = 0.001  # linear: by less the codes hardly tell light from none
BOARD_SHARE = 0.1  # of the region's shorter side: aim left more than that about the lamp's glow
State = Literal["in place", "moved", "hidden"]


class CameraPlace:
    """Watches the surroundings of one lamp. Not safe for several threads."""

    def __init__(
        self,
        timeline: Timeline,
        region: Region,
        lamps: tuple[Region, ...],
        aimed_by: Crops | None = None,
        *,
        dim_light: bool = False,
    ) -> None:
        """Name the lamp's region, and those of all lamps in the picture; give that by which they were found, where it is kept.

        With `dim_light` what lies around the lamp was found to look the same while it is lit, by light as in that picture.
        """
        self._timeline, self._region, self._lamps, self._aimed_by = timeline, region, lamps, aimed_by
        self._least_light = LEAST_LIGHT
        if dim_light and aimed_by is not None:
            aimed = place_of(aimed_by, region, lamps, 0.0)
            told = LEAST_LIGHT if isinstance(aimed, NotTold) else AS_DIM * aimed.dimmer_light
            self._least_light = min(LEAST_LIGHT, max(DIMMEST, told))
        self._place: Place | None = None
        self._known = False
        self._tries_left, self._learned_real_s = MOST_TRIES, 0.0
        self._booked: State = "in place"
        self._seen: State = "in place"  # in the last picture looked at
        self._in_place_s = 0.0
        self._next_real_s = 0.0

    def look(self, time_s: float, picture: Crops, *, asked: bool) -> bool:
        """Look at a picture where it is time to, or where it is asked for; says whether nothing is left open by it."""
        if not self._known:
            if self._tries_left and (begun_real_s := time.monotonic()) >= self._next_real_s:
                self._learn(time_s, picture)
                took_real_s = time.monotonic() - begun_real_s
                self._next_real_s = begun_real_s + max(LEARN_EVERY_REAL_S, TIMES_LEARNING * took_real_s)
            return self._aimed_by is None
        if self._place is None or not (asked or self._seen != self._booked or time.monotonic() >= self._next_real_s):
            return True
        begun_real_s = time.monotonic()
        seen, told = self._told(self._place, picture)
        took_real_s = time.monotonic() - begun_real_s
        self._next_real_s = begun_real_s + max(EVERY_REAL_S, TIMES_ITS_COST * took_real_s)
        before, self._seen = self._seen, seen
        if seen != self._booked and (seen == before or (self._booked == "in place" and before != "in place")):
            self._booked = seen
            self._timeline.add("camera", seen, time_s=time_s, details=told)
        if seen == self._booked == "in place":
            self._in_place_s = time_s
        return seen == self._booked

    def _learn(self, time_s: float, picture: Crops) -> None:
        """Learn the place from a picture that is like those that follow: from one that is torn, or shows a hand, nothing."""
        shift_px = self._place.shift_px(picture, SURELY_ALIKE) if self._place is not None else None
        if self._place is not None and isinstance(shift_px, float) and shift_px <= self._place.most_px:
            self._known = time.monotonic() - self._learned_real_s >= SETTLED_REAL_S
            self._in_place_s = time_s
            if self._known:
                self._hold_against_aim(time_s, picture)
            return
        place = place_of(picture, self._region, self._lamps, self._least_light)
        self._place = None if isinstance(place, NotTold) else place
        self._learned_real_s = time.monotonic()
        self._tries_left -= 1
        if not self._tries_left:
            why = place.reason if isinstance(place, NotTold) else "its pictures are not like each other"
            self._timeline.add("camera", "place unknown", time_s=time_s, why=why)
            self._aimed_by = None

    def _hold_against_aim(self, time_s: float, picture: Crops) -> None:
        aimed_by, self._aimed_by = self._aimed_by, None
        if aimed_by is None:
            return
        shift_px, most_px = self._since_aim(aimed_by, picture, self._region)
        if isinstance(shift_px, NotTold):
            self._timeline.add("camera", "aim unknown", time_s=time_s, why=shift_px.reason)
            return
        others = [self._since_aim(aimed_by, picture, lamp) for lamp in self._lamps if lamp != self._region]
        stays = [not isinstance(other_px, NotTold) and other_px <= bound_px for other_px, bound_px in others]
        if shift_px > (max(most_px, BOARD_SHARE * min(self._region[2:])) if stays and all(stays) else most_px):
            self._timeline.add("camera", "moved", time_s=time_s, by_px=round(shift_px, 1), since_aim=True)
            self._place = None

    def _since_aim(self, aimed_by: Crops, picture: Crops, region: Region) -> tuple[float | NotTold, float]:
        """How far what lies around a region is off where it was when the camera was aimed, and how far it may be."""
        place = place_of(aimed_by, region, self._lamps, self._least_light)
        return (place, 0.0) if isinstance(place, NotTold) else (place.shift_since_px(picture), place.most_px)

    def _told(self, place: Place, picture: Crops) -> tuple[State, dict[str, Json]]:
        shift_px = place.shift_px(picture)
        if isinstance(shift_px, NotTold):
            return "hidden", {"since_s": self._in_place_s, "why": shift_px.reason}
        if shift_px > place.most_px:
            return "moved", {"since_s": self._in_place_s, "by_px": round(shift_px, 1)}
        return "in place", {}


class PlaceWatch:
    """Looks at pictures in a thread of its own, so that on a slow processor none comes late for it."""

    def __init__(self, place: CameraPlace, on_told: Callable[[float], None]) -> None:
        """Begin; `on_told` is called with the time of each picture that was asked for and leaves nothing open."""
        self._place, self._on_told = place, on_told
        self._handed = threading.Condition()
        self._next: tuple[float, Crops, bool] | None = None
        self._is_idle, self._ended = True, False
        self._thread = threading.Thread(target=self._look, name="camera place", daemon=True)
        self._thread.start()

    def offer(self, time_s: float, picture: Crops, *, asked: bool) -> None:
        """Hand a picture over, where none is being looked at: the next one will do."""
        with self._handed:
            if self._is_idle and not self._ended:
                self._next, self._is_idle = (time_s, picture, asked), False
                self._handed.notify()

    def close(self) -> None:
        """Look at no more."""
        with self._handed:
            self._ended = True
            self._handed.notify()
        self._thread.join(END_REAL_S)

    def _look(self) -> None:
        while (handed := self._take()) is not None:
            time_s, picture, asked = handed
            if self._place.look(time_s, picture, asked=asked) and asked:
                self._on_told(time_s)

    def _take(self) -> tuple[float, Crops, bool] | None:
        with self._handed:
            self._is_idle = True
            self._handed.wait_for(lambda: self._next is not None or self._ended)
            handed, self._next = self._next, None
            return None if self._ended else handed
