"""Holds `hil.virtual.desk.camera` and `development` against the sRGB standard, Poisson's law, ITU-T T.81 and colour-science."""

import colour
import numpy as np
import pytest

from hil.virtual.desk.camera import FILTERS, SRGB_FROM_XYZ, balance_light, encoded, make_camera, tone_table
from hil.virtual.desk.conditions import Settings
from hil.virtual.desk.development import MOSAICS, Development, Picture
from hil.virtual.desk.spectra import per_candela

SIDE = 96


def settings(**other: float) -> Settings:
    """Settings without frills, but for `other`; balanced on 4000 K."""
    camera = make_camera("measured", 0.0, 0.05, balance_light(4000.0, 0.0))
    plain: dict[str, float] = {
        "exposure": 0.01, "exposure_s": 0.01, "gain": 1.0, "full_well_electrons": 5000.0, "read_noise_electrons": 0.0,
        "row_time_s": 4e-5, "frame_time_s": 1 / 30, "contrast": 0.0, "saturation": 1.0, "sharpening": 0.0, "jpeg_quality": 95,
    }  # fmt: skip
    return Settings(camera, **(plain | other))  # type: ignore[arg-type]


def flat(development: Development, colour_rgb: tuple[float, float, float]) -> Picture:
    """Sample one colour, red first, all over."""
    return development.sampled(np.tile(np.array(colour_rgb, np.float32), (SIDE, SIDE, 1)))


def test_srgb_curve_is_the_standards() -> None:
    # IEC 61966-2-1: 8-bit values and the linear light they decode to.
    published = {1: 0.00030353, 10: 0.00303527, 11: 0.00334654, 64: 0.05126946, 127: 0.21223076, 188: 0.50288646}
    assert 255 * encoded(np.array(list(published.values()))) == pytest.approx(list(published), abs=0.01)
    light = np.linspace(0, 1, 4096)
    assert np.abs(tone_table(0.0) / 255.0 - colour.models.eotf_inverse_sRGB(light)).max() <= 0.5 / 255 + 1e-6
    assert pytest.approx(colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB, abs=1e-3) == SRGB_FROM_XYZ


def test_the_enhanced_curve_is_steeper_in_the_middle_and_keeps_its_ends() -> None:
    plain, enhanced = tone_table(0.0).astype(int), tone_table(0.8).astype(int)
    assert (enhanced[0], enhanced[-1]) == (0, 255)
    assert (np.diff(enhanced) >= 0).all()
    assert enhanced[plain < 100].mean() < plain[plain < 100].mean()
    assert enhanced[plain > 160].mean() > plain[plain > 160].mean()


@pytest.mark.parametrize("filters", FILTERS)
@pytest.mark.parametrize("kelvin", [2700.0, 5000.0, 7500.0])
def test_white_in_the_light_of_the_balance_is_neutral(filters: str, kelvin: float) -> None:
    light = balance_light(kelvin, 0.0)
    camera = make_camera(filters, 2.0, 0.08, light)
    balanced = camera.gains * camera.answers(per_candela(light))
    assert balanced == pytest.approx(np.ones(3))
    assert camera.matrix @ balanced == pytest.approx(np.ones(3))
    assert camera.gains.min() == pytest.approx(1.0)


def test_the_matrix_takes_a_surface_near_its_colour() -> None:
    """A daylit green leaf of colour-science's chart, seen by the camera balanced on that daylight, has about its sRGB hue."""
    shape = colour.SpectralShape(380, 780, 2)
    light = balance_light(5000.0, 0.0)
    camera = make_camera("measured", 0.0, 0.0, light)
    for name in ("foliage", "blue", "red", "yellow"):
        patch = colour.SDS_COLOURCHECKERS["ColorChecker N Ohta"][name].copy().align(shape).values
        seen = camera.matrix @ (camera.gains * camera.answers(patch * light))
        eye = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
        meant = SRGB_FROM_XYZ @ ((patch * light) @ eye) / (SRGB_FROM_XYZ @ (light @ eye))
        assert seen / seen.sum() == pytest.approx(meant / meant.sum(), abs=0.08), name


@pytest.mark.parametrize("mosaic", range(len(MOSAICS)))
def test_the_mosaic_is_taken_apart_as_it_was_put_together(mosaic: int) -> None:
    bright = settings(full_well_electrons=1e9)
    development = Development(bright, mosaic, SIDE, SIDE)
    levels = development.demosaiced(flat(development, (0.5, 0.3, 0.1)), np.random.default_rng(0))
    balanced = levels[4:-4, 4:-4].mean(axis=(0, 1))[::-1] / 65535 * 1.05 - 0.05
    assert balanced == pytest.approx(bright.camera.gains * (0.5, 0.3, 0.1), abs=0.002)
    counts = [MOSAICS[mosaic][0].count(channel) for channel in range(3)]
    assert counts == [1, 2, 1]  # Bayer: twice as many green


def test_shot_noise_grows_as_poisson_says() -> None:
    """A pixel of n electrons has the variance n: that is gain x filling / full well, in fillings."""
    gain, well = 4.0, 5000.0
    noisy = settings(gain=gain, full_well_electrons=well)
    development = Development(noisy, 0, SIDE, SIDE)
    for filling in (0.05, 0.2, 0.4):
        levels = development.demosaiced(flat(development, (filling,) * 3), np.random.default_rng(1))
        red = levels[0::2, 0::2, 2] / 65535 * 1.05 / noisy.camera.gains[0]  # where the mosaic has red itself
        assert red.var() == pytest.approx(gain * filling / well, rel=0.1)


def test_what_overflows_turns_white_and_runs_over() -> None:
    development = Development(settings(), 0, SIDE, SIDE)
    red = np.zeros((SIDE, SIDE, 3), np.float32)
    red[40:56, 40:56] = (30.0, 3.0, 1.5)
    picture = development.developed(development.sampled(red), np.random.default_rng(0))
    assert picture[46:50, 46:50].min() > 245
    assert picture[38:40, 46:50, 2].mean() > 20
    assert picture[20:30, 46:50].max() < 10


def test_the_file_has_halved_colour() -> None:
    """In the frame header (ITU-T T.81, B.2.2) the first component is sampled 2x2, the others 1x1."""
    development = Development(settings(jpeg_quality=75), 0, SIDE, SIDE)
    file = development.coded(flat(development, (0.2, 0.2, 0.2)), np.random.default_rng(0)).tobytes()
    header = file.index(b"\xff\xc0")
    assert file[header + 5 : header + 9] == SIDE.to_bytes(2, "big") * 2
    assert [file[header + 11 + 3 * one] for one in range(3)] == [0x22, 0x11, 0x11]
