"""Holds `hil.virtual.picture`, `lamp_light` and `tabletop` against outside sources.

The sRGB curve against colour-science's EOTF (IEC 61966-2-1); the emitters' answers against the camera sensitivities measured
by NPL and CIE 1931 luminosity, both in colour-science, with the wavelengths of the WS2812B data sheet, version 5, and the
intensities of the older one (middle of 390-420, 660-720, 180-200 mcd, quoted from memory); shot noise against Poisson's law
(variance proportional to light).
"""

import colour
import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from hil.virtual.scene.lamp_light import EMITTERS
from hil.virtual.scene.picture import DARK, Picture, as_jpeg, srgb_from_linear

WHITE, RED, GREEN, BLUE = (1.0, 1.0, 1.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)
SEEDS = range(6)


def cut(picture: NDArray[np.uint8], region: tuple[int, int, int, int]) -> NDArray[np.uint8]:
    """Cut a region out, red first."""
    x, y, width, height = region
    return picture[y : y + height, x : x + width, ::-1]


def glow(lit: NDArray[np.uint8], dark: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Mean linear light added by a lamp where nothing is cut off; linear by colour-science, not by our own curve."""
    whole = lit.max(axis=2) < 250
    assert whole.sum() >= 0.2 * whole.size, "no glow left beside the blown-out middle"
    light = colour.models.eotf_sRGB(lit / 255.0) - colour.models.eotf_sRGB(dark / 255.0)
    return np.asarray(light[whole].mean(axis=0))


def scaled(drive: tuple[float, float, float], by: float) -> tuple[float, float, float]:
    return drive[0] * by, drive[1] * by, drive[2] * by


@pytest.fixture(scope="module")
def pictures() -> dict[int, Picture]:
    return {seed: Picture(seed) for seed in SEEDS}


def test_srgb_curve_is_the_standards() -> None:
    light = np.linspace(0.0, 1.0, 10001)
    assert np.abs(colour.models.eotf_sRGB(srgb_from_linear(light)) - light).max() < 1e-6
    assert np.abs(colour.models.eotf_inverse_sRGB(light) - srgb_from_linear(light)).max() < 1e-6
    assert srgb_from_linear(np.array([-0.5, 2.0])).tolist() == [0.0, pytest.approx(1.0)]


def test_emitters_are_the_data_sheets_seen_by_a_measured_camera() -> None:
    shape = colour.SpectralShape(380, 780, 1)
    camera = colour.MSDS_CAMERA_SENSITIVITIES["Nikon 5100 (NPL)"].copy().align(shape).values
    luminosity = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values[:, 1]
    daylight = colour.SDS_ILLUMINANTS["D65"].copy().align(shape).values
    white = (camera * daylight[:, None]).sum(axis=0)
    answers = []
    for peak_nm, width_nm, intensity_mcd in ((621, 18, 405), (520, 35, 690), (471, 25, 190)):
        spectrum = np.exp(-4 * np.log(2) * ((shape.wavelengths - peak_nm) / width_nm) ** 2)
        spectrum *= intensity_mcd / (spectrum * luminosity).sum()
        answers.append((camera * spectrum[:, None]).sum(axis=0) / white)
    expected = np.array(answers) / np.max(answers)
    assert np.abs(EMITTERS - expected).max() < 0.0006  # the table has three digits


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("level", [1.0, 0.15])
def test_colours_show_in_the_glow(pictures: dict[int, Picture], seed: int, level: float) -> None:
    picture = pictures[seed]
    dark = cut(picture.render(DARK, WHITE, 0), picture.regions["unit"])
    seen = {
        name: glow(cut(picture.render(scaled(drive, level), WHITE, 1), picture.regions["unit"]), dark)
        for name, drive in {"white": WHITE, "red": RED, "green": GREEN, "blue": BLUE, "dark": DARK}.items()
    }
    for place, name in enumerate(("red", "green", "blue")):
        others = np.delete(seen[name], place)
        assert seen[name][place] > 2 * others.max()
        assert seen[name][place] > 20 * np.abs(seen["dark"]).max()
    assert seen["white"].min() > 0.3 * seen["white"].max()  # bluish, as these lamps are; our own bound
    assert np.abs(seen["dark"]).max() < 0.002


@pytest.mark.parametrize("seed", SEEDS)
def test_the_middle_of_a_lit_lamp_is_blown_out_and_centred(pictures: dict[int, Picture], seed: int) -> None:
    picture = pictures[seed]
    lit = picture.render(WHITE, WHITE, 0)
    for name, side in (("unit", 40), ("bench", 24)):
        region = picture.regions[name]
        assert region[2:] == (side, side)
        blown = cut(lit, region).min(axis=2) >= 254
        rows, columns = np.nonzero(blown)
        assert 0.05 < blown.mean() < 0.75
        assert abs(rows.mean() - side / 2) < 2.0
        assert abs(columns.mean() - side / 2) < 2.0


def test_glow_falls_off_with_distance(pictures: dict[int, Picture]) -> None:
    picture = pictures[0]
    x, y, side, _ = picture.regions["unit"]
    column, row = x + side // 2, y + side // 2
    mean = np.mean(
        [picture.render(BLUE, DARK, k).astype(float) - picture.render(DARK, DARK, k) for k in range(8)], axis=0
    )
    # leftwards along the bare board, past the package (2.5 mm, 13 pixels)
    falling = [mean[row - 2 : row + 3, column - r - 2 : column - r + 3, 0].mean() for r in (20, 28, 36, 46)]
    assert falling == sorted(falling, reverse=True)
    assert falling[0] > 4 * falling[-1] > 0


def test_lamps_do_not_reach_each_others_regions(pictures: dict[int, Picture]) -> None:
    for picture in pictures.values():
        dark, unit, bench = (picture.render(*drives, 3) for drives in ((DARK, DARK), (WHITE, DARK), (DARK, WHITE)))
        assert np.array_equal(cut(unit, picture.regions["bench"]), cut(dark, picture.regions["bench"]))
        assert np.array_equal(cut(bench, picture.regions["unit"]), cut(dark, picture.regions["unit"]))


def test_same_seed_same_bytes() -> None:
    one, two, other = Picture(7), Picture(7), Picture(8)
    two.render(RED, WHITE, 11)  # what was rendered before must not matter
    assert as_jpeg(one.render(BLUE, WHITE, 3)) == as_jpeg(two.render(BLUE, WHITE, 3))
    assert np.array_equal(one.black(5), two.black(5))
    assert one.regions == two.regions
    assert other.regions != one.regions
    assert not np.array_equal(one.render(BLUE, WHITE, 3), one.render(BLUE, WHITE, 4)), "frames without noise"


def test_shot_noise_follows_poisson() -> None:
    picture = Picture(2)
    dark = np.array([picture.render(DARK, DARK, k) for k in range(60)])
    x, y, side, _ = picture.regions["unit"]
    patch = colour.models.eotf_sRGB(dark[:, y - 20 : y + side + 20, x - 20 : x + side + 20, 1] / 255.0)
    mean, variance = patch.mean(axis=0).ravel(), patch.var(axis=0).ravel()
    bright, dim = mean > np.quantile(mean, 0.9), mean < np.quantile(mean, 0.1)
    # read noise and rounding to bytes add to both; a spread of a third covers them
    ratio = (variance[bright].mean() / variance[dim].mean()) / (mean[bright].mean() / mean[dim].mean())
    assert ratio == pytest.approx(1.0, abs=0.34)


def test_longer_exposure_gathers_more_light() -> None:
    short, long = Picture(4, exposure_s=0.004), Picture(4, exposure_s=0.008)
    light = [colour.models.eotf_sRGB(one.render(DARK, DARK, 0) / 255.0).mean() for one in (short, long)]
    assert light[1] == pytest.approx(2 * light[0], rel=0.05)


def test_a_camera_with_a_gamma_encodes_by_that_power() -> None:
    usual, other = (Picture(4, gamma=gamma).render(DARK, DARK, 0) / 255.0 for gamma in (None, 1.8))
    assert (other**1.8).mean() == pytest.approx(colour.models.eotf_sRGB(usual).mean(), rel=0.02)


def test_size_scales_and_odd_shapes_are_refused() -> None:
    small, usual = Picture(1, 320, 240), Picture(1)
    assert small.render(DARK, DARK, 0).shape == (240, 320, 3)
    assert small.regions["unit"][2:] == (20, 20)
    assert np.abs(2 * np.array(small.regions["unit"]) - usual.regions["unit"]).max() <= 2
    with pytest.raises(ValueError, match="4:3"):
        Picture(1, 640, 360)


def test_of_several_units_one_takes_orders_and_the_others_do_as_they_like() -> None:
    one, other = (Picture(3, 960, 720, places=4, place=place) for place in (1, 4))
    assert one.regions["bench"] == other.regions["bench"]
    x, y, *_ = one.regions["unit"]
    right, down, *_ = other.regions["unit"]
    assert right > x + 200
    assert down > y + 200
    changed = np.abs(one.render(WHITE, DARK, 5).astype(int) - one.render(DARK, DARK, 5)).max(axis=2) > 40
    rows, columns = np.nonzero(changed)
    assert (columns.min() > x - 60, columns.max() < x + 120, rows.min() > y - 60, rows.max() < y + 120) == (True,) * 4
    assert np.array_equal(other.render(DARK, DARK, 7), Picture(3, 960, 720, places=4, place=4).render(DARK, DARK, 7))


def test_the_neighbours_stay_dark_stay_lit_or_flash() -> None:
    seen = set()
    for seed in range(8):
        picture, neighbour = Picture(seed, 960, 720, places=2, place=1), Picture(seed, 960, 720, places=2, place=2)
        region = neighbour.regions["unit"]
        lit = {bool(cut(picture.render(DARK, DARK, frame), region).max() >= 250) for frame in range(0, 100, 3)}
        seen.add(frozenset(lit))
    assert seen == {frozenset({False}), frozenset({True}), frozenset({False, True})}


def test_jpeg_reads_back() -> None:
    picture = Picture(1).render(GREEN, WHITE, 0)
    back = cv2.imdecode(np.frombuffer(as_jpeg(picture), np.uint8), cv2.IMREAD_COLOR)
    assert back is not None
    assert np.abs(back.astype(int) - picture).mean() < 4
