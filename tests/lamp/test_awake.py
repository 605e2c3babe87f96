"""Frozen and missing frames, by hand-made stacks; common practice, no source."""

from types import SimpleNamespace

import numpy as np
import pytest

from hil.lamp import frozen_spans
from hil.lamp.light import Crops


def noisy(lab: SimpleNamespace, frames: int, seed: int = 3) -> Crops:
    return lab.Camera(seed=seed, size=12, glow=2.5).of("white", frames)


def test_a_live_camera_is_never_asleep(lab: SimpleNamespace) -> None:
    assert frozen_spans(np.arange(100) * 0.1, noisy(lab, 100)) == []


def test_identical_frames_are_a_window(lab: SimpleNamespace) -> None:
    crops = noisy(lab, 60)
    crops[20:41] = crops[20]
    (window,) = frozen_spans(np.arange(60) * 0.1, crops)
    assert (window.begin_s, window.end_s) == pytest.approx((2.0, 4.1))
    assert window.reason == "identical frames"


def test_a_few_identical_frames_are_none(lab: SimpleNamespace) -> None:
    crops = noisy(lab, 60)
    crops[20:26] = crops[20]
    assert frozen_spans(np.arange(60) * 0.1, crops) == []


def test_frozen_to_the_end_and_throughout(lab: SimpleNamespace) -> None:
    crops = np.repeat(noisy(lab, 1), 30, axis=0)
    (window,) = frozen_spans(np.arange(30) * 0.1, crops)
    assert (window.begin_s, window.end_s) == pytest.approx((0.0, 2.9))


def test_no_frames_are_a_window_and_do_not_join_equal_ones(lab: SimpleNamespace) -> None:
    times = np.concatenate([np.arange(20) * 0.1, 5.0 + np.arange(20) * 0.1])
    windows = frozen_spans(times, np.repeat(noisy(lab, 1), 40, axis=0))
    assert [window.reason for window in windows] == ["identical frames", "no frames", "identical frames"]
    assert [window.begin_s for window in windows] == pytest.approx([0.0, 1.9, 5.0])


@pytest.mark.parametrize("frames", [0, 1])
def test_too_few_frames_tell_nothing(lab: SimpleNamespace, frames: int) -> None:
    assert frozen_spans(np.arange(frames) * 0.1, noisy(lab, 1)[:frames]) == []


def test_wrong_input_is_refused(lab: SimpleNamespace) -> None:
    crops = noisy(lab, 3)
    with pytest.raises(ValueError, match="belong together"):
        frozen_spans([0.0, 0.1], crops)
    with pytest.raises(ValueError, match="do not rise"):
        frozen_spans([0.0, 0.2, 0.1], crops)
    with pytest.raises(ValueError, match="uint8"):
        frozen_spans([0.0, 0.1, 0.2], crops.astype(np.uint16))
    with pytest.raises(ValueError, match="differ in size"):
        frozen_spans([0.0, 0.1], [crops[0], crops[1][:10]])
