"""Tells whether a camera still looks where it looked: by what lies around a lamp, not by the lamp.

The outlines around the lamp's region are looked for in a later picture, at each shift within reach. The glow of the lamps
is left out, and light that makes outlines stronger or weaker changes little, since only likeness counts. A shift is told
where the two are alike there, and not where they are alike nowhere: a covered lens or a torn picture tells nothing. Nor where
a finger lies before a part of it, or a room light, a torch or a film on a screen beside it makes it much brighter or darker.
Between two days the light may be any other, and the camera be turned to another part of the bench: then only outlines count.
Pure: pictures in, a shift out.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from hil.lamp.doubt import NotTold
from hil.lamp.light import LIT_LEAST, SRGB_DECODE, strongest_codes

Picture = npt.NDArray[np.uint8]  # (height, width, 3), blue first
Planes = npt.NDArray[np.float32]
Region = tuple[int, int, int, int]

# Measured: on a board with print and parts, a region of 40 pixels that is off by 2 has a dark lamp take on a colour.
MOST_SHARE, LEAST_MOST_PX = 0.03, 1.0  # of the region's shorter side, and what can always be told
# The rest: common practice, no source.
AROUND = 5.0  # times the region's longer side: what is compared
LEAST_SIDE_PX, SMALL_SIDE_PX, MOST_SIDE_PX = 80, 128, 256  # of that: needed, wished for, worth its cost
REACH, LEAST_REACH_PX = 1.0, 16  # times the region's longer side: the farthest shift that is looked for
LEFT_OUT = 1.5  # times a region's side: its lamp's glow
LEAST_LEFT = 0.3  # of what is compared, the share that no lamp shines on
OUTLINE_PX = 1.5
EVENED = 4.0  # codes: stronger outlines count hardly more, so that none outweighs all others
LEAST_OUTLINE = 0.1  # mean of the evened outlines; noise of two codes alone makes 0.08
TILES = 8  # across and down: of each its light is compared
BRIGHTER, DARKER = 1.6, 0.5  # times the light there: as of a dark lamp, nothing is told beyond
OUTLINED = 0.25  # root mean square of the evened outlines of a tile that has some
ALIKE_TILE = 0.3  # correlation of one that is the same
COVERED, FEWEST_TILES = 0.04, 12  # of the tiles with outlines
LEAST_LIGHT = 0.015  # linear: where it is darker, the lamp itself may light what lies around it
ALIKE = 0.5  # normalised correlation of two pictures of one place
SURELY_ALIKE = 0.75  # of two that follow each other: else noise would take it below that now and then
NEAR_PX = 2  # looked at first, at a fraction of what all shifts cost: a camera mostly stands still


@dataclass(frozen=True, slots=True)
class Place:
    """What lies around a lamp's region in a picture.

    window: the part compared; counts: of its shape, 1 where it tells of the place and 0 where a lamp shines;
    light: of its tiles, shape (TILES, TILES), linear; reach_px: the farthest shift looked for; most_px: a larger one
    makes what is read in the region something else.
    """

    window: Region
    outlines: Planes
    counts: Planes
    light: Planes
    reach_px: int
    most_px: float

    @property
    def dimmer_light(self) -> float:
        """Its light, linear, in the dimmer quarter of what counts."""
        return float(np.quantile(self.light[_tiles(self.counts) > 0.9], 0.25))

    def shift_px(self, picture: Picture, least_alike: float = ALIKE) -> float | NotTold:
        """How far off its place what lies there is in another picture of the same size, in pixels.

        Not told where it looks otherwise, or where another light lies on it: then the lamp's own is not told there either.
        """
        left, top, width, height = self.window
        reach = NEAR_PX
        outlines = _outlines(self._within(picture, reach))
        alike, row, column = self._likeness_near(outlines)
        if alike[row, column] < SURELY_ALIKE or max(abs(row - reach), abs(column - reach)) == reach:
            reach = self.reach_px
            outlines = _outlines(self._within(picture, reach))
            alike, row, column = self._likeness(outlines)
        if (most := float(alike[row, column])) < least_alike:
            return NotTold(_otherwise(most))
        covered = self._covered(outlines[row : row + height, column : column + width])
        if covered > COVERED:
            return NotTold(f"something lies before {covered:.0%} of what lies around the lamp")
        change = self._light_change(picture[top : top + height, left : left + width])
        if not DARKER <= change <= BRIGHTER:
            return NotTold(f"the light around the lamp is {change:.1f} times what it was")
        return _distance(alike, row, column, reach, reach)

    def shift_since_px(self, picture: Picture) -> float | NotTold:
        """How far off its place what lies there is in a picture of another day, in pixels: anywhere in it, and by any light.

        Not told where it is alike nowhere: a dark room, a hand or another board tells nothing.
        """
        alike, row, column = self._likeness(_outlines(self._within(picture, self.reach_px)))
        if alike[row, column] >= ALIKE:
            return _distance(alike, row, column, self.reach_px, self.reach_px)
        most = float(alike[row, column])
        alike, row, column = self._likeness(_outlines(picture))
        if alike[row, column] < SURELY_ALIKE:
            return NotTold(_otherwise(most))
        return _distance(alike, row, column, self.window[0], self.window[1])

    def _within(self, picture: Picture, reach_px: int) -> Picture:
        """The part compared, and so much about it as it is looked for."""
        left, top, width, height = self.window
        return picture[top - reach_px : top + height + reach_px, left - reach_px : left + width + reach_px]

    def _likeness(self, outlines: Planes) -> tuple[Planes, int, int]:
        """How alike the place is at each shift within outlines, and the row and column where it is most."""
        found = cv2.matchTemplate(outlines, self.outlines, cv2.TM_CCORR_NORMED, mask=self.counts)
        return _with_greatest(np.where(np.isfinite(found), found, 0.0).astype(np.float32))

    def _likeness_near(self, outlines: Planes) -> tuple[Planes, int, int]:
        """The same for few shifts, in less time."""
        one = (self.outlines * self.counts).ravel()
        height, width = self.counts.shape
        alike = np.zeros((len(outlines) - height + 1, outlines.shape[1] - width + 1), np.float32)
        for row, column in np.ndindex(alike.shape):
            other = (outlines[row : row + height, column : column + width] * self.counts).ravel()
            alike[row, column] = one @ other / (np.linalg.norm(one) * np.linalg.norm(other) + 1e-6)
        return _with_greatest(alike)

    def _covered(self, outlines: Planes) -> float:
        """The share of the tiles with outlines in which there are none, or others."""
        one, other = self.outlines * self.counts, outlines * self.counts
        strength = np.sqrt(_tiles(one * one))
        told = (_tiles(self.counts) > 0.9) & (strength > OUTLINED)
        alike = _tiles(one * other) / (strength * np.sqrt(_tiles(other * other)) + 1e-6)
        return float((alike[told] < ALIKE_TILE).mean()) if told.sum() >= FEWEST_TILES else 0.0

    def _light_change(self, picture: Picture) -> float:
        """How many times as bright the tiles are that gained least, or lost least where all lost."""
        counted = _tiles(self.counts) > 0.9
        gains = ((_light(picture) + LIT_LEAST) / (self.light + LIT_LEAST))[counted]
        least, most = np.quantile(gains, [0.25, 0.75])
        return float(least if least > 1.0 else min(1.0, most))


def place_of(
    picture: Picture, region: Region, lamps: Sequence[Region], least_light: float = LEAST_LIGHT
) -> Place | NotTold:
    """Learn what lies around a region; `lamps` are the regions of all lamps in the picture.

    Not where it is darker there than the `least_light`, linear.
    """
    longer = max(region[2:])
    reach = max(LEAST_REACH_PX, round(REACH * longer))
    side = min(MOST_SIDE_PX, max(SMALL_SIDE_PX, round(AROUND * longer)))
    left, width = _span(region[0], region[2], side, picture.shape[1], reach)
    top, height = _span(region[1], region[3], side, picture.shape[0], reach)
    if min(width, height) < LEAST_SIDE_PX:
        return NotTold(f"a picture of {picture.shape[1]} × {picture.shape[0]} pixels shows too little around the lamp")
    counts = np.ones((height, width), np.float32)
    for lamp in lamps:
        counts[_glow(lamp[1] - top, lamp[3]), _glow(lamp[0] - left, lamp[2])] = 0.0
    if counts.mean() < LEAST_LEFT:
        return NotTold("the lamps fill too much of the picture around them")
    seen = picture[top : top + height, left : left + width]
    most_px = max(LEAST_MOST_PX, MOST_SHARE * min(region[2:]))
    place = Place((left, top, width, height), _outlines(seen), counts, _light(seen), reach, most_px)
    if place.dimmer_light < least_light:
        return NotTold("it is too dark around the lamp")
    if float(np.abs(place.outlines * counts).sum() / counts.sum()) < LEAST_OUTLINE:
        return NotTold("nothing around the lamp has an outline")
    return place


def place_in_dim_light(
    dark: Picture, lit: Sequence[Picture], region: Region, lamps: Sequence[Region], longer: Picture | None = None
) -> Place | NotTold:
    """Learn what lies around a region, however dark it is there, from a picture with the lamps dark.

    Not where it looks otherwise while a lamp is lit, or in a dark picture that was exposed `longer`, where there is one: what
    shows in the dark may be the sensor's own pattern, and that stays where it is when the camera moves.
    """
    place = place_of(dark, region, lamps, 0.0)
    if isinstance(place, NotTold):
        return place
    shifts_px = [place.shift_px(picture) for picture in lit]
    if longer is not None:
        shifts_px.append(place.shift_since_px(longer))
    for shift_px in shifts_px:
        if isinstance(shift_px, NotTold):
            return shift_px
        if shift_px > place.most_px:
            return NotTold(f"what lies around the lamp seems {shift_px:.1f} pixels off by other light")
    return place


def _otherwise(most: float) -> str:
    return f"what lies around the lamp looks otherwise (alike by {max(0.0, most):.0%} at most)"


def _distance(alike: Planes, row: int, column: int, from_column: int, from_row: int) -> float:
    """From a place to where it is most alike, to a part of a pixel."""
    across, down = column + _between(alike[row], column), row + _between(alike[:, column], row)
    return float(np.hypot(across - from_column, down - from_row))


def _span(at: int, length: int, side: int, picture: int, reach: int) -> tuple[int, int]:
    """Begin and length of what is compared: about the region, and with room in the picture for each shift."""
    length_px = min(side, picture - 2 * reach)
    begin = round(at + length / 2.0 - length_px / 2.0)
    return min(max(reach, begin), picture - reach - length_px), length_px


def _glow(at: int, length: int) -> slice:
    more = (LEFT_OUT - 1.0) * length / 2.0
    return slice(max(0, round(at - more)), max(0, round(at + length + more)))


def _with_greatest(alike: Planes) -> tuple[Planes, int, int]:
    row, column = np.unravel_index(alike.argmax(), alike.shape)
    return alike, int(row), int(column)


def _tiles(plane: Planes) -> Planes:
    return np.asarray(cv2.resize(plane, (TILES, TILES), interpolation=cv2.INTER_AREA), dtype=np.float32)


def _light(picture: Picture) -> Planes:
    return _tiles(SRGB_DECODE[strongest_codes(picture)])


def _outlines(picture: Picture) -> Planes:
    grey = cv2.cvtColor(np.ascontiguousarray(picture), cv2.COLOR_BGR2GRAY).astype(np.float32)
    outlines = cv2.GaussianBlur(grey, (0, 0), OUTLINE_PX) - cv2.GaussianBlur(grey, (0, 0), 3.0 * OUTLINE_PX)
    return np.asarray(outlines / (np.abs(outlines) + EVENED), dtype=np.float32)


def _between(line: npt.NDArray[np.float32], at: int) -> float:
    """Where between its samples a line is greatest, counted from its greatest sample: a parabola through three."""
    if not 0 < at < len(line) - 1:
        return 0.0
    before, here, after = (float(value) for value in line[at - 1 : at + 2])
    bend = before - 2.0 * here + after
    return 0.5 * (before - after) / bend if bend < 0.0 else 0.0
