"""What takes long: CI does a part of it by the day, so that each has its turn within days; a run by hand does all."""

import os
import time
from collections.abc import Sequence
from typing import TypeVar

import pytest

One = TypeVar("One")
DAY = int(time.time() // 86400)
IN_CI = bool(os.environ.get("CI"))


def of_the_day(cases: Sequence[One], one_in: int = 2) -> list[One]:
    """One in so many of some cases alike, by the day; all of them outside CI."""
    return list(cases[DAY % one_in :: one_in]) if IN_CI else list(cases)


def on_day(turn: int, one_in: int = 2) -> pytest.MarkDecorator:
    """Marks what CI does on one in so many days, in its turn."""
    return pytest.mark.skipif(
        IN_CI and DAY % one_in != turn, reason=f"CI does this on one in {one_in} days; a run by hand does"
    )
