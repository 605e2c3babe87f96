"""What lies under the camera of the virtual bench: a mat, the unit's board with its parts, and the bench's own lamp on a holder.

Everything here is reflectance, nothing shines by itself: `albedo` is the share of light a surface scatters back in each
of the camera's three channels, `shine` how strongly it mirrors a lamp beside it (the edges of metal parts). Figures are
our own, of the size such surfaces have.

Board coordinates are millimetres from the board's upper left corner; of one unit the camera sees 5 pixels a millimetre at
640 pixels of width.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from hil.virtual.scene.places import Field, Point

Floats = NDArray[np.float32]
Colour = tuple[float, float, float]
Box = tuple[float, float, float, float]

BOARD_MM = (68.0, 52.0)
UNIT_LAMP_MM = (14.0, 38.0)
PACKAGE_MM = 5.0
WINDOW_RADIUS_MM = 1.7
BENCH_DOME_RADIUS_MM = 1.2

_FINE_PER_MM = 10  # the board is drawn at twice the camera's scale, then laid down with its turn
_MARGIN_MM = 4.0

_MAT = (0.20, 0.195, 0.185)
_MASK = (0.030, 0.090, 0.050)
_TRACK = (0.042, 0.120, 0.066)
_GOLD = (0.55, 0.40, 0.14)
_METAL = (0.46, 0.46, 0.45)
_BLACK = (0.022, 0.022, 0.024)
_GREY = (0.11, 0.11, 0.12)
_INK = (0.68, 0.68, 0.66)
_WHITE_PLASTIC = (0.62, 0.62, 0.59)
_WINDOW = (0.33, 0.33, 0.30)
_CERAMIC = (0.34, 0.27, 0.18)
_PHOSPHOR = (0.56, 0.54, 0.32)


@dataclass(frozen=True)
class Placing:
    """How the board and the holder lie: offsets in millimetres, turn in degrees."""

    board_dx_mm: float
    board_dy_mm: float
    turn_deg: float
    holder_dx_mm: float
    holder_dy_mm: float


@dataclass(frozen=True)
class Tabletop:
    """The table as the camera frames it.

    `albedo` has shape (height, width, 3), red first; `shine` (height, width). Lamp centres are (x, y) in pixels.
    """

    albedo: Floats
    shine: Floats
    per_mm: float
    unit_lamps: tuple[Point, ...]
    bench_lamp: Point


def lay_out(field: Field, placings: Sequence[Placing], width: int, height: int, seed: int) -> Tabletop:
    """Draw the table, a board for each placing; the first says how the holder lies. `seed` settles the grain of the mat."""
    per_mm = width / field.width_mm
    albedo = _mat(width, height, seed)
    shine = np.zeros((height, width), np.float32)
    bench_lamp = (
        (field.bench_lamp_mm[0] + placings[0].holder_dx_mm) * per_mm,
        (field.bench_lamp_mm[1] + placings[0].holder_dy_mm) * per_mm,
    )
    _draw_holder(albedo, bench_lamp, per_mm)
    board, board_shine, cover = _draw_board()
    size, lamps = (width, height), []
    for placing, place in zip(placings, field.boards_mm, strict=True):
        turn = _board_to_picture(placing, place, per_mm)
        share = cv2.warpAffine(cover, turn, size, flags=cv2.INTER_LINEAR)[..., None]
        albedo = albedo * (1 - share) + cv2.warpAffine(board, turn, size, flags=cv2.INTER_LINEAR) * share
        shine += cv2.warpAffine(board_shine, turn, size, flags=cv2.INTER_LINEAR)
        fine = [(millimetres + _MARGIN_MM) * _FINE_PER_MM for millimetres in UNIT_LAMP_MM]
        x, y = turn @ np.array([*fine, 1.0])
        lamps.append((float(x), float(y)))
    albedo = softened(albedo, 0.7)  # the lens is no sharper than this
    return Tabletop(albedo, shine, per_mm, tuple(lamps), bench_lamp)


def softened(picture: Floats, sigma_px: float) -> Floats:
    """Blur a picture as a lens does."""
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), sigma_px), np.float32)


def _mat(width: int, height: int, seed: int) -> Floats:
    """Make a mat with a soft grain."""
    grain = np.random.default_rng((seed, 1)).normal(0.0, 1.0, (height, width)).astype(np.float32)
    relief = 1 + 0.1 * softened(grain, 1.5)[..., None]
    return (np.array(_MAT, np.float32) * relief).astype(np.float32)


def _draw_holder(albedo: Floats, lamp: tuple[float, float], per_mm: float) -> None:
    """Draw the arm that comes in from the right edge, and the lamp's dome in its bezel."""
    centre = (round(lamp[0]), round(lamp[1]))
    right = albedo.shape[1]
    half = round(3.5 * per_mm)
    cv2.rectangle(albedo, (centre[0], centre[1] - half), (right, centre[1] + half), _GREY, -1)
    cv2.circle(albedo, centre, round(5.5 * per_mm), _GREY, -1, cv2.LINE_AA)
    cv2.circle(albedo, centre, round(4.0 * per_mm), _BLACK, -1, cv2.LINE_AA)
    cv2.circle(albedo, centre, round(1.6 * per_mm), _PHOSPHOR, -1, cv2.LINE_AA)


def _board_to_picture(placing: Placing, place: Point, per_mm: float) -> NDArray[np.float64]:
    """Give the 2x3 matrix from the fine drawing of the board to the picture's pixels."""
    scale = per_mm / _FINE_PER_MM
    angle = math.radians(placing.turn_deg)
    turn = scale * np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    middle_fine = np.array([(side / 2 + _MARGIN_MM) * _FINE_PER_MM for side in BOARD_MM])
    middle = per_mm * np.array(
        [place[0] + placing.board_dx_mm + BOARD_MM[0] / 2, place[1] + placing.board_dy_mm + BOARD_MM[1] / 2]
    )
    return np.column_stack([turn, middle - turn @ middle_fine])


class _Pen:
    """Draws on the fine board drawing in millimetres."""

    def __init__(self) -> None:
        """Start with nothing: no board yet."""
        width, height = (round((side + 2 * _MARGIN_MM) * _FINE_PER_MM) for side in BOARD_MM)
        self.albedo: Floats = np.zeros((height, width, 3), np.float32)
        self.shine: Floats = np.zeros((height, width), np.float32)
        self.cover: Floats = np.zeros((height, width), np.float32)

    def box(self, place: Box, colour: Colour, *, shiny: bool = False) -> None:
        """Fill a rectangle (x, y, width, height); a shiny one mirrors along its edges."""
        corner, far = self._at(place[0], place[1]), self._at(place[0] + place[2], place[1] + place[3])
        cv2.rectangle(self.albedo, corner, far, colour, -1)
        cv2.rectangle(self.cover, corner, far, 1.0, -1)
        cv2.rectangle(self.shine, corner, far, 0.04 if shiny else 0.0, -1)
        if shiny:
            cv2.rectangle(self.shine, corner, far, 1.0, 3)

    def disc(self, x: float, y: float, radius: float, colour: Colour, *, shiny: bool = False) -> None:
        """Fill a disc; a shiny one mirrors along its rim."""
        pixels = round(radius * _FINE_PER_MM)
        cv2.circle(self.albedo, self._at(x, y), pixels, colour, -1, cv2.LINE_AA)
        if shiny:
            cv2.circle(self.shine, self._at(x, y), pixels, 1.0, 2)

    def line(self, points: list[tuple[float, float]], colour: Colour, width_mm: float) -> None:
        """Draw a line through points."""
        path = np.array([self._at(x, y) for x, y in points], np.int32)
        cv2.polylines(self.albedo, [path], False, colour, max(1, round(width_mm * _FINE_PER_MM)), cv2.LINE_AA)

    def text(self, x: float, y: float, words: str, size: float) -> None:
        """Print white ink (OpenCV writes on bytes only)."""
        ink = np.zeros(self.cover.shape, np.uint8)
        cv2.putText(ink, words, self._at(x, y), cv2.FONT_HERSHEY_SIMPLEX, size, 255, 2, cv2.LINE_AA)
        share = (ink / np.float32(255.0))[..., None]
        self.albedo += share * (np.array(_INK, np.float32) - self.albedo)

    @staticmethod
    def _at(x: float, y: float) -> tuple[int, int]:
        return round((x + _MARGIN_MM) * _FINE_PER_MM), round((y + _MARGIN_MM) * _FINE_PER_MM)


def _draw_board() -> tuple[Floats, Floats, Floats]:
    """Draw the board: its albedo, its shine, and where it covers the mat."""
    pen = _Pen()
    pen.box((0, 0, *BOARD_MM), _MASK)
    _draw_tracks(pen)
    _draw_parts(pen)
    _draw_lamp_package(pen)
    return softened(pen.albedo, 1.0), softened(pen.shine, 1.0), softened(pen.cover, 1.0)


def _draw_tracks(pen: _Pen) -> None:
    for i in range(7):
        pen.line([(36, 19 + 1.2 * i), (42, 19 + 1.2 * i), (46, 22 + 1.2 * i), (46, 30 + i)], _TRACK, 0.4)
        pen.line([(26, 19 + 1.2 * i), (12, 19 + 1.2 * i), (8, 23 + 0.6 * i)], _TRACK, 0.4)
    pen.line([(30, 28), (30, 33), (17, 36), (14, 36)], _TRACK, 0.5)
    for x, y in ((3.5, 3.5), (64.5, 3.5), (3.5, 48.5), (64.5, 48.5)):
        pen.disc(x, y, 2.7, _GOLD, shiny=True)
        pen.disc(x, y, 1.6, _MAT)
    for i in range(14):
        pen.disc(12 + 2.0 * i, 3.0, 0.75, _GOLD, shiny=True)
        pen.disc(12 + 2.0 * i, 3.0, 0.4, _BLACK)
    pen.text(22, 13, "MOSSGATE MV-2", 0.9)
    pen.text(8.5, 45, "LAMP", 0.6)
    pen.text(49, 37, "VENT", 0.6)


def _draw_parts(pen: _Pen) -> None:
    pen.box((48, 6, 17, 21), _METAL, shiny=True)  # the radio module's screen
    pen.box((48, 1, 17, 5), _BLACK)
    pen.line([(50, 2), (50, 4.5), (53, 4.5), (53, 2), (56, 2), (56, 4.5), (59, 4.5), (59, 2), (63, 2)], _GOLD, 0.5)
    pen.text(50, 15, "RADIO", 0.7)
    pen.box((-1.5, 19, 8, 9), _METAL, shiny=True)  # USB socket
    pen.box((26, 18, 10, 10), _BLACK)
    pen.disc(27.2, 19.2, 0.4, _GREY)
    pen.box((50, 39, 13, 11), _GREY)  # the vent motor's terminals
    for x in (53.0, 60.0):
        pen.disc(x, 44.5, 2.2, _METAL, shiny=True)
        pen.line([(x - 1.6, 43.6), (x + 1.6, 45.4)], _BLACK, 0.5)
    for x in (24.0, 36.0):  # buttons
        pen.box((x, 42, 6, 6), _METAL, shiny=True)
        pen.disc(x + 3, 45, 1.7, _BLACK)
    pen.disc(42, 37, 3.6, _METAL, shiny=True)  # a capacitor's can
    pen.box((40.2, 33.6, 3.6, 1.6), _BLACK)
    for x, y in ((9, 32), (20, 32), (21, 39), (9.5, 15), (13, 15), (38.5, 30), (19, 24), (28, 34)):
        pen.box((x, y, 2.0, 1.1), _CERAMIC)
        pen.box((x, y, 0.5, 1.1), _METAL, shiny=True)
        pen.box((x + 1.5, y, 0.5, 1.1), _METAL, shiny=True)


def _draw_lamp_package(pen: _Pen) -> None:
    x, y = UNIT_LAMP_MM
    for dx in (-3.0, 2.1):
        for dy in (-1.9, 1.0):
            pen.box((x + dx, y + dy, 0.9, 0.9), _METAL, shiny=True)
    pen.box((x - PACKAGE_MM / 2, y - PACKAGE_MM / 2, PACKAGE_MM, PACKAGE_MM), _WHITE_PLASTIC)
    pen.disc(x, y, WINDOW_RADIUS_MM, _WINDOW)
    pen.box((x - 0.3, y - 0.9, 1.0, 0.6), _BLACK)  # the controller chip under the window
