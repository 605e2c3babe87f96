"""A camera's curve from exposure steps, held against curves of standards, as colour-science has them.

The pictures are made here: a still scene of many brightnesses, noise, eight bits. The virtual bench's camera is measured in
`tests/cli`.
"""

from collections.abc import Callable

import colour
import numpy as np
import pytest

from hil.lamp import NotTold
from hil.lamp.curve import CameraCurve, camera_curve
from hil.lamp.light import Crops

EXPOSURES_S = [0.0005 * 2 ** (step / 2) for step in range(13)]
Light = np.ndarray
VALUES = np.arange(256) / 255.0


def scene() -> Light:
    """Light a second, shape (60, 60, 3): a bright middle with a glow on a board of many parts."""
    rng = np.random.default_rng(5)
    y, x = np.mgrid[:60, :60] - 29.5
    glow = 4000.0 * np.exp(-np.hypot(x, y) / 5.0)
    board = np.kron(rng.uniform(2.0, 60.0, (10, 10)), np.ones((6, 6)))
    light: Light = (glow + board)[..., None] * np.array([0.9, 1.0, 0.8])
    return light


def taken(encode: Callable[[Light], Light], seconds: list[float], seed: int = 1) -> list[Crops]:
    rng, light, stacks = np.random.default_rng(seed), scene(), []
    for exposure_s in seconds:
        filled = np.clip(light * exposure_s, 0.0, 1.0)
        codes = 255.0 * encode(filled) + rng.normal(0.0, 1.5, (6, *light.shape))
        stacks.append(np.clip(np.rint(codes), 0, 255).astype(np.uint8))
    return stacks


@pytest.mark.parametrize(
    ("encode", "decode", "far_off_srgb"),
    [
        (colour.models.eotf_inverse_sRGB, colour.models.eotf_sRGB, False),
        (colour.models.oetf_BT709, colour.models.oetf_inverse_BT709, True),
        (lambda light: light ** (1 / 1.8), lambda code: code**1.8, True),
        (lambda light: light, lambda code: code, True),
    ],
    ids=["sRGB", "BT.709", "power of 1.8", "straight"],
)
def test_the_curve_is_found(
    encode: Callable[[Light], Light], decode: Callable[[Light], Light], far_off_srgb: bool
) -> None:
    found = camera_curve(taken(encode, EXPOSURES_S), EXPOSURES_S)
    assert isinstance(found, CameraCurve), found
    first, last = found.seen
    assert first < 20
    assert last > 180
    ratio = found.linear[24 : last + 1] / decode(VALUES)[24 : last + 1]
    assert ratio / np.median(ratio) == pytest.approx(1.0, abs=0.05)
    assert (np.diff(found.linear) >= 0.0).all()
    assert (found.linear[0], found.linear[255]) == (0.0, 1.0)
    assert (found.off_srgb > 0.2) == far_off_srgb


def test_exposures_that_are_not_what_they_say_tell_nothing() -> None:
    """A camera that goes on setting its exposure by itself."""
    rng = np.random.default_rng(3)
    wrong = [float(one) for one in rng.uniform(0.001, 0.01, len(EXPOSURES_S))]
    found = camera_curve(taken(colour.models.eotf_inverse_sRGB, wrong), EXPOSURES_S)
    assert isinstance(found, NotTold)
    assert "does not follow the exposures" in found.reason


def test_a_picture_all_dark_or_all_blown_out_tells_nothing() -> None:
    for level in (0, 255):
        same = [np.full((3, 40, 40, 3), level, np.uint8)] * 6
        found = camera_curve(same, EXPOSURES_S[:6])
        assert isinstance(found, NotTold)
        assert "neither blown out nor dark" in found.reason


def test_wrong_input_is_refused() -> None:
    pictures = taken(colour.models.eotf_inverse_sRGB, EXPOSURES_S[:4])
    with pytest.raises(ValueError, match="4 at least"):
        camera_curve(pictures[:3], EXPOSURES_S[:3])
    with pytest.raises(ValueError, match="as many of both"):
        camera_curve(pictures, EXPOSURES_S[:5])
    with pytest.raises(ValueError, match="above 0"):
        camera_curve(pictures, [0.0, 1.0, 2.0, 3.0])
