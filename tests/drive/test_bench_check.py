"""Whether the unit's lamp goes out with its supply, by frames made by hand."""

import numpy as np
import pytest

from hil.core.frames import LampFrames
from hil.drive.bench.check import goes_out

OFF_S, SETTLED_S = 10.0, 1.0
NOISE = 1.5


def frames(before: float, after: float) -> LampFrames:
    """A lamp region of 20 by 20, of some brightness until the supply is switched off and of another from 0.2 s after it on."""
    times_s = np.arange(7.0, 14.0, 1.0 / 30.0)
    level = np.where(times_s < OFF_S + 0.2, before, after)
    noise = np.random.default_rng(1).normal(0.0, NOISE, (len(times_s), 20, 20, 3))
    unit = np.clip(level[:, None, None, None] + noise, 0.0, 255.0).astype(np.uint8)
    return LampFrames(times_s, unit, unit)


@pytest.mark.parametrize(
    ("before", "after", "out"),
    [(200.0, 20.0, True), (24.0, 20.0, True), (200.0, 200.0, False), (20.0, 20.0, False), (20.0, 200.0, False)],
    ids=["lit", "dimly lit", "still lit", "never lit", "lit by something else"],
)
def test_it_goes_out_only_where_it_was_lit_before(before: float, after: float, out: bool) -> None:
    assert goes_out(frames(before, after), OFF_S, SETTLED_S) is out


def test_without_frames_nothing_goes_out() -> None:
    lit = frames(200.0, 20.0)
    assert not goes_out(lit.within(7.0, 9.0), OFF_S, SETTLED_S)
    assert not goes_out(lit.within(10.5, 14.0), OFF_S, SETTLED_S)
