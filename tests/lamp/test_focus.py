"""How soft a picture is, held against blurs of known width made by SciPy."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from hil.lamp.aim import Aimed, Turn, find_lamp
from hil.lamp.focus import softness_px
from hil.lamp.light import Crops
from hil.virtual.scene.picture import DARK, Picture

LENS_PX = 1.05  # of the virtual camera itself, as it is read without a further blur


def taken(picture: Picture, blur_px: float, *, lit: bool = False, first: int = 0) -> Crops:
    drive = (0.67, 0.67, 0.67) if lit else DARK
    stack = np.stack([picture.render(drive, DARK, first + at) for at in range(4)]).astype(float)
    blurred = gaussian_filter(stack, (0, blur_px, blur_px, 0)) if blur_px else stack
    noise = np.random.default_rng(first).normal(0.0, 1.5, stack.shape)
    return np.clip(np.rint(blurred + noise), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("blur_px", [0.0, 1.0, 2.0, 4.0, 8.0])
def test_the_softness_is_that_of_the_blur_and_the_lens(seed: int, blur_px: float) -> None:
    told = softness_px(taken(Picture(seed), blur_px))
    assert told == pytest.approx(np.hypot(blur_px, LENS_PX), rel=0.06)


def test_a_picture_without_outlines_tells_nothing() -> None:
    noise = np.random.default_rng(1).normal(40.0, 2.0, (4, 200, 200, 3))
    assert softness_px(np.clip(noise, 0, 255).astype(np.uint8)) is None


@pytest.mark.parametrize(("blur_px", "warned"), [(0.0, False), (2.0, False), (9.0, True)])
def test_a_lamp_in_a_picture_out_of_focus_is_told(blur_px: float, warned: bool) -> None:
    picture = Picture(3)
    turns = [
        Turn(taken(picture, blur_px, lit=True, first=10 * at), taken(picture, blur_px, first=10 * at + 5))
        for at in range(4)
    ]
    found = find_lamp(turns)
    assert isinstance(found, Aimed), found
    assert any("out of focus" in told for told in found.warnings) == warned
