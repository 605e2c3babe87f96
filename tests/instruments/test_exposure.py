"""Exposure steps, and a device's own control."""

from itertools import pairwise
from pathlib import Path

import pytest

from hil.core.clock import Clock
from hil.core.errors import BenchError, InputError
from hil.core.timeline import Timeline
from hil.instruments import exposure
from hil.instruments.exposure import DeviceExposure, Exposure, book_curve, exposure_of


class Given(Exposure):
    """One with a range, which takes nothing."""

    def __init__(self, shortest_s: float, longest_s: float) -> None:
        self._range_s = shortest_s, longest_s

    def range_s(self) -> tuple[float, float]:
        return self._range_s

    def set(self, exposure_s: float) -> float:
        raise NotImplementedError(exposure_s)

    def now_s(self) -> float:
        raise NotImplementedError


def test_steps_rise_evenly_within_the_range() -> None:
    steps = Given(0.0003, 0.5).steps_s()
    assert all(after / before == pytest.approx(2**0.5) for before, after in pairwise(steps))
    assert steps[0] >= 0.0003
    assert steps[-1] == exposure.LONGEST_S
    assert steps[-1] / steps[0] > 30.0


def test_a_range_too_narrow_is_refused() -> None:
    with pytest.raises(InputError, match="takes exposures from 10 to 20 ms: too few"):
        Given(0.010, 0.020).steps_s()


def test_a_camera_that_is_no_device_has_none() -> None:
    assert exposure_of("http://192.0.2.7/stream") is None
    assert isinstance(exposure_of(0), DeviceExposure)
    assert isinstance(exposure_of("/dev/video2"), DeviceExposure)


@pytest.mark.parametrize("path", ["/dev/null", "/dev/there-is-none"])
def test_a_device_that_takes_no_exposures_says_so(path: str) -> None:
    device = DeviceExposure(Path(path))
    with pytest.raises(InputError, match=rf"--linearity: camera {path}: takes no exposure times"):
        device.steps_s()
    with pytest.raises(InputError, match="takes no exposure times"):
        device.now_s()
    with pytest.raises(BenchError, match=r"takes no exposure of 10\.0 ms"):
        device.set(0.01)


def test_a_measured_curve_is_booked_once_and_none_never(tmp_path: Path) -> None:
    timeline = Timeline(Clock(), tmp_path / "timeline.jsonl")
    book_curve(timeline, None)
    book_curve(timeline, (0.0, 0.5, 1.0))
    (booked,) = timeline.since()
    timeline.close()
    assert booked.is_("camera", "curve")
    assert booked.data["linear"] == [0.0, 0.5, 1.0]
