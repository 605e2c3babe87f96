"""Test pictures of a status lamp on a desk, by seed, with the truth attached; written apart from whatever reads them."""

from hil.virtual.desk.desk import Desk, draw_desk
from hil.virtual.desk.ranges import WORDS, DeskRange

__all__ = ["WORDS", "Desk", "DeskRange", "draw_desk"]
