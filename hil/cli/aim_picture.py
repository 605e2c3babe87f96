"""The picture that the camera was aimed by, with what was found drawn into it."""

import cv2

from hil.core.frames import Crops
from hil.drive.bench.aims import Aims
from hil.lamp.aim import Aimed

UNIT_COLOUR, BENCH_COLOUR = (0, 220, 255), (255, 160, 0)  # blue first
THICK, LIFT, SIZE = 2, 6, 0.5


def drawn_aim(aims: Aims) -> Crops:
    """All regions as boxes with their names, and a cross in the middle of each lamp."""
    picture = aims.picture.copy()
    for name, found in aims.lamps.items():
        if not isinstance(found, Aimed):
            continue
        colour = BENCH_COLOUR if "bench" in name else UNIT_COLOUR
        x, y, width, height = found.region
        cv2.rectangle(picture, (x, y), (x + width, y + height), colour, THICK)
        middle = round(found.centre[0]), round(found.centre[1])
        cv2.drawMarker(picture, middle, colour, cv2.MARKER_CROSS, width // 3)
        _write(picture, name.removeprefix("the "), (x, y), colour)
    return picture


def _write(picture: Crops, name: str, at: tuple[int, int], colour: tuple[int, int, int]) -> None:
    """Write a name above a corner, within the picture, on a dark ground."""
    (wide, high), _ = cv2.getTextSize(name, cv2.FONT_HERSHEY_SIMPLEX, SIZE, 1)
    left = max(0, min(at[0], picture.shape[1] - wide - 2 * LIFT))
    foot = max(at[1] - LIFT, high + LIFT)
    cv2.rectangle(
        picture, (left, foot - high - LIFT // 2), (left + wide + LIFT, foot + LIFT // 2), (0, 0, 0), cv2.FILLED
    )
    cv2.putText(picture, name, (left + LIFT // 2, foot), cv2.FONT_HERSHEY_SIMPLEX, SIZE, colour, 1, cv2.LINE_AA)
