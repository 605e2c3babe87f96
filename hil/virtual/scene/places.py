"""Where units and the bench's own lamp lie under the camera: one unit, or several side by side before a camera farther off."""

import math
from dataclasses import dataclass

Point = tuple[float, float]

_ONE_WIDTH_MM = 128.0
_ONE_BOARD_MM: Point = (14.0, 24.0)
_ONE_BENCH_LAMP_MM: Point = (111.0, 20.0)
_APART_MM: Point = (78.0, 64.0)  # from one board to the next, of 68 by 52: each may lie a little off and be turned
_FIRST_MM = 12.0
_HOLDER_MM = 30.0  # at the right edge, for the bench's own lamp


@dataclass(frozen=True)
class Field:
    """What the camera sees: its width, the boards' upper left corners and the bench's lamp, in millimetres."""

    width_mm: float
    boards_mm: tuple[Point, ...]
    bench_lamp_mm: Point


def field_of(places: int) -> Field:
    """Lay so many units out, row by row."""
    if places == 1:
        return Field(_ONE_WIDTH_MM, (_ONE_BOARD_MM,), _ONE_BENCH_LAMP_MM)
    columns = math.ceil(math.sqrt(places))
    across, down = _APART_MM
    boards = tuple((_FIRST_MM + at % columns * across, _FIRST_MM + at // columns * down) for at in range(places))
    width_mm = _FIRST_MM + columns * across + _HOLDER_MM
    return Field(width_mm, boards, (width_mm - (_ONE_WIDTH_MM - _ONE_BENCH_LAMP_MM[0]), _ONE_BENCH_LAMP_MM[1]))
