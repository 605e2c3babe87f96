"""The picture that the camera was aimed by, with what was found drawn into it."""

import cv2

from hil.core.frames import Crops
from hil.drive.bench.aim import Aim
from hil.lamp.aim import Aimed

COLOURS = {"unit": (0, 220, 255), "bench": (255, 160, 0)}  # blue first
THICK, LIFT = 2, 6


def drawn_aim(aim: Aim) -> Crops:
    """Both regions as boxes, with a cross in the middle of each lamp."""
    picture = aim.picture.copy()
    for name, found in (("unit", aim.unit), ("bench", aim.bench)):
        if not isinstance(found, Aimed):
            continue
        x, y, width, height = found.region
        cv2.rectangle(picture, (x, y), (x + width, y + height), COLOURS[name], THICK)
        middle = round(found.centre[0]), round(found.centre[1])
        cv2.drawMarker(picture, middle, COLOURS[name], cv2.MARKER_CROSS, width // 3)
        at = x, max(y - LIFT, 3 * LIFT)
        cv2.putText(
            picture, f"{name}'s lamp", at, cv2.FONT_HERSHEY_SIMPLEX, 0.5, COLOURS[name], THICK // 2, cv2.LINE_AA
        )
    return picture
