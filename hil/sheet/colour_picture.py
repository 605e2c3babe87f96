"""The chromaticity diagram: which colours the lamp showed, beside what each promised colour word owns."""

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from hil.evidence.lamp_colours import ColourSeen
from hil.lamp.colour import D65_UV
from hil.lamp.diagram import all_colours, channels_span, outline_of
from hil.lamp.observer import uv_of_wavelength
from hil.sheet.drawing import Drawing, Point
from hil.sheet.palette import ALLOWED, INK, MUTED, PAPER, RULE

SCALE = 560.0  # units of the picture to one of u' or v'
LEFT, TOP, FOOT = 34.0, 8.0, 30.0
U_END, V_END = 0.64, 0.61
WIDTH, HEIGHT = LEFT + SCALE * U_END + 6.0, TOP + SCALE * V_END + FOOT
SIZE, MARK, CORNERS = 11.0, 2.4, 36
# Where a word's name has room, in u'v', and which end of it is there.
NAMES_AT = {
    "white": ((0.215, 0.40), "middle"),
    "red": ((0.385, 0.385), "start"),
    "amber": ((0.285, 0.524), "middle"),
    "green": ((0.112, 0.525), "end"),
    "blue": ((0.195, 0.145), "start"),
}
MARKS_NM = (470, 560, 590, 620)  # wavelengths named on the border


def colour_picture(seen: Sequence[ColourSeen], promised: Mapping[str, Sequence[str]]) -> str:
    """Draw the colours seen, each with the ellipse that holds 95 % of its frames; `promised`: stages by colour word."""
    told = ", ".join(f"{one.word} at {one.middle[0]:.3f}, {one.middle[1]:.3f}" for one in seen)
    drawing = Drawing(WIDTH, HEIGHT, f"colours seen, in CIE 1976 u'v': {told or 'none'}")
    _draw_axes(drawing)
    border = [_at(point) for point in all_colours()]
    drawing.path([*border, border[0]], RULE, thick=1.2)
    corners = [_at(point) for point in channels_span()]
    for corner, following in pairwise([*corners, corners[0]]):
        drawing.line(corner, following, RULE, thick=0.8, dashes="4 3")
    middles = {one.word: one.middle for one in seen}
    for word in promised:
        drawing.polygon([_at(point) for point in outline_of(word)], ALLOWED)
    for word in promised:
        _name(drawing, word, middles.get(word))
    _cross(drawing, _at(D65_UV))
    _draw_wavelengths(drawing)
    for one in seen:
        drawing.path([_at(point) for point in _ellipse(one)], INK, thick=1.2)
        drawing.circle(_at(one.middle), MARK, INK if one.word in promised else PAPER, line=INK)
        if one.word not in promised:
            x, y = _at(one.middle)
            drawing.text((x + 7.0, y + 4.0), f"{one.word}, not promised", INK, size=SIZE)
    return str(drawing)


def _at(point: Sequence[float] | NDArray[np.float64]) -> Point:
    return LEFT + SCALE * float(point[0]), TOP + SCALE * (V_END - float(point[1]))


def _draw_axes(drawing: Drawing) -> None:
    left, bottom = _at((0.0, 0.0))
    drawing.line((left, bottom), (left + SCALE * U_END, bottom), INK, thick=0.8)
    drawing.line((left, bottom), (left, TOP), INK, thick=0.8)
    for tenth in range(7):
        x, y = _at((tenth / 10.0, tenth / 10.0))
        drawing.line((x, bottom), (x, bottom + 3.0), INK, thick=0.8)
        drawing.line((left, y), (left - 3.0, y), INK, thick=0.8)
        drawing.text((x, bottom + 14.0), f"{tenth / 10:g}", MUTED, size=SIZE - 1.0, anchor="middle")
        drawing.text((left - 6.0, y + 3.5), f"{tenth / 10:g}", MUTED, size=SIZE - 1.0, anchor="end")
    drawing.text((left + SCALE * U_END / 2.0, bottom + 26.0), "u′", MUTED, size=SIZE, anchor="middle")
    drawing.text((left + 8.0, TOP + 10.0), "v′", MUTED, size=SIZE)


def _name(drawing: Drawing, word: str, middle: Point | None) -> None:
    """A word's name where it has room; white's clear of the mark of what was seen."""
    (place, anchor), words = NAMES_AT[word], word if middle else f"{word}, not seen"
    x, y = _at(place)
    if word == "white" and middle is not None and abs(_at(middle)[1] - y) < 2.0 * SIZE:
        y = _at(middle)[1] + 2.0 * SIZE
    drawing.text((x, y), words, INK, size=SIZE, anchor=anchor)


def _draw_wavelengths(drawing: Drawing) -> None:
    for wavelength_nm in MARKS_NM:
        point = np.array(uv_of_wavelength(wavelength_nm))
        outwards = (point - np.array(D65_UV)) / np.hypot(*(point - np.array(D65_UV)))
        x, y = _at(point)
        drawing.circle((x, y), 1.4, MUTED)
        anchor = "end" if outwards[0] < -0.1 else "start"
        drawing.text(
            (x + 6.0 * outwards[0], y - 7.0 * outwards[1] + 3.0),
            f"{wavelength_nm} nm",
            MUTED,
            size=SIZE - 2.0,
            anchor=anchor,
        )


def _cross(drawing: Drawing, at: Point) -> None:
    x, y = at
    drawing.line((x - 3.0, y), (x + 3.0, y), MUTED, thick=0.8)
    drawing.line((x, y - 3.0), (x, y + 3.0), MUTED, thick=0.8)


def _ellipse(one: ColourSeen) -> NDArray[np.float64]:
    """The ellipse of two normal variables that holds 95 %: of Mahalanobis distance sqrt(chi squared of 2 degrees, 0.95)."""
    values, vectors = np.linalg.eigh(one.spread)
    turns = np.linspace(0.0, 2.0 * np.pi, CORNERS + 1)
    ring = np.stack([np.cos(turns), np.sin(turns)]) * np.sqrt(np.maximum(values, 0.0))[:, None]
    corners: NDArray[np.float64] = np.array(one.middle) + (np.sqrt(-2.0 * np.log(0.05)) * vectors @ ring).T
    return corners
