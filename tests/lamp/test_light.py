"""Light from crops: decoding held against IEC 61966-2-1's curve as printed and colour-science; crops by the tests' camera."""

import warnings
from types import SimpleNamespace

import numpy as np
import pytest
import scipy.ndimage

from hil.lamp import OFF, UNRECOGNISED, DarkReference, LampLight, colour_words, dark_reference, read_light
from hil.lamp.colour import uv_of_rgb
from hil.lamp.doubt import Floats
from hil.lamp.light import SRGB_DECODE, Crops

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

LEAK_NAMES = ["none", "even", "warm", "cold"]
PLAIN_WORDS = ["white", "red", "green", "blue"]


@pytest.mark.parametrize(
    ("code", "linear"),  # printed for the sRGB transfer curve, eight places
    [(1, 0.00030353), (10, 0.00303527), (11, 0.00334654), (64, 0.05126946), (128, 0.21586050), (254, 0.99110210)],
)
def test_decode_as_printed(code: int, linear: float) -> None:
    assert SRGB_DECODE[code] == pytest.approx(linear, rel=1e-5)


def test_decode_agrees_with_colour_science() -> None:
    assert pytest.approx(colour.models.eotf_sRGB(np.arange(256) / 255.0), rel=1e-6, abs=1e-9) == SRGB_DECODE


@pytest.mark.parametrize("leak", LEAK_NAMES)
@pytest.mark.parametrize("ambient", [0.0, 0.01, 0.05, 0.15])
@pytest.mark.parametrize("word", PLAIN_WORDS)
def test_colours_are_read_whatever_the_camera_and_the_ambient_light(
    lab: SimpleNamespace, leak: str, ambient: float, word: str
) -> None:
    camera = lab.Camera(leak=leak, ambient=ambient, seed=7)
    light = read_light(camera.of(word, 5), dark_reference(camera.dark()))
    assert light.lit.all()
    leaky_by_daylight = ambient > 0.1 and leak != "none"  # then blue may be in doubt
    assert set(colour_words(light)) <= {word, *([UNRECOGNISED] if leaky_by_daylight and word == "blue" else [])}
    assert ((light.usable > 0.02) & (light.usable < 0.95)).all()


def frame_by_frame(crops: Crops, dark: DarkReference) -> tuple[Floats, Floats, Floats]:
    """Colour, luminance and usable share as the module's head says them, one frame after the other and in double precision."""
    blown = (crops >= 250).any(axis=3) | dark.blown
    steady = ~blown.any(axis=0)
    noise = dark.noise_codes * np.interp(dark.linear.max(axis=2), dark.curve, np.gradient(dark.curve))
    told: list[tuple[Floats, float, float]] = []
    for crop, gone in zip(crops, blown, strict=True):
        light = dark.curve.astype(np.float64)[crop[..., ::-1]] - dark.linear
        strongest = light.max(axis=2)
        use = ~scipy.ndimage.binary_dilation(gone, np.ones((3, 3)))
        use &= strongest > 4.0 * noise + 0.5 * dark.linear.max(axis=2)
        follows = np.interp(crop.max(axis=2), [215, 250], [1.0, 0.0])
        colour_seen = np.average(light[use], axis=0, weights=(strongest**2 * follows)[use])
        told.append((colour_seen, float(light[steady].mean(axis=0) @ (0.2126, 0.7152, 0.0722)), float(use.mean())))
    colours, luminances, usable = zip(*told, strict=True)
    return np.array(colours), np.array(luminances), np.array(usable)


@pytest.mark.parametrize("word", ["red", "amber", "white"])
@pytest.mark.parametrize("ambient", [0.0, 0.15])
def test_a_stack_is_read_as_its_frames_are_one_by_one(lab: SimpleNamespace, word: str, ambient: float) -> None:
    """More frames than are read at once, from dim to bright; scipy.ndimage grows what is blown out."""
    camera = lab.Camera(ambient=ambient, seed=6)
    crops = np.concatenate([camera.of(word, 50, brightness) for brightness in (1.0, 0.5, 0.25)])
    dark = dark_reference(camera.dark())
    light, (colours, luminances, usable) = read_light(crops, dark), frame_by_frame(crops, dark)
    np.testing.assert_allclose(light.rgb_linear, colours, rtol=2e-5, atol=1e-7)
    np.testing.assert_allclose(light.luminance, luminances, rtol=2e-4, atol=1e-6)
    np.testing.assert_array_equal(light.usable, usable)
    for at in (0, 60, 149):
        alone = read_light(crops[at : at + 1], dark)
        assert (light.lit[at], light.plausible[at]) == (alone.lit[0], alone.plausible[0])
        np.testing.assert_allclose(light.rgb_covariance[at], alone.rgb_covariance[0], rtol=1e-4)


@pytest.mark.parametrize("leak", LEAK_NAMES)
@pytest.mark.parametrize("ambient", [0.0, 0.03, 0.15, 0.4])
@pytest.mark.parametrize("brightness", [1.0, 0.3, 0.05, 0.01])
def test_no_camera_and_no_light_gives_a_wrong_colour(
    lab: SimpleNamespace, leak: str, ambient: float, brightness: float
) -> None:
    camera = lab.Camera(leak=leak, ambient=ambient, seed=8)
    dark = dark_reference(camera.dark())
    meant = {"yellow": "amber", "cyan": UNRECOGNISED, "magenta": UNRECOGNISED}
    for lamp in lab.LAMPS:
        found = set(colour_words(read_light(camera.of(lamp, 4, brightness), dark)))
        drowned = camera.gain * brightness < 0.5 * ambient or brightness < 0.05  # too weak to tell from a dark lamp
        assert found <= {meant.get(lamp, lamp), UNRECOGNISED, *([OFF] if drowned else [])}, lamp


def test_amber_and_yellow_are_one_word(lab: SimpleNamespace) -> None:
    camera = lab.Camera(leak="none")
    dark = dark_reference(camera.dark())
    assert colour_words(read_light(np.concatenate([camera.of("amber"), camera.of("yellow")]), dark)) == ["amber"] * 2


@pytest.mark.parametrize("word", PLAIN_WORDS)
def test_uv_is_the_lamps_within_its_stated_covariance(lab: SimpleNamespace, word: str) -> None:
    camera = lab.Camera(leak="even", ambient=0.03, seed=11)
    frame = read_light(camera.of(word), dark_reference(camera.dark(30)))[0]
    true_uv = uv_of_rgb(lab.LEAKS["even"] @ np.array(lab.LAMPS[word]))
    sd = np.sqrt(np.diag(frame.uv_covariance))
    assert (np.abs(frame.uv - true_uv) <= 4 * sd + 5e-4).all()
    assert (sd < 0.02).all()


def with_shared_chroma(crops: Crops) -> Crops:
    """Give 2×2 pixels one chroma, as most video and JPEG do (4:2:0 with BT.601's weights)."""
    blue, green, red = np.moveaxis(crops.astype(float), 3, 0)
    luma = 0.299 * red + 0.587 * green + 0.114 * blue

    def shared(difference: Floats) -> Floats:
        frames, height, width = difference.shape
        blocks = difference.reshape(frames, height // 2, 2, width // 2, 2).mean(axis=(2, 4))
        return blocks.repeat(2, axis=1).repeat(2, axis=2)

    red, blue = luma + shared(red - luma), luma + shared(blue - luma)
    green = (luma - 0.299 * red - 0.114 * blue) / 0.587
    return np.clip(np.rint(np.stack([blue, green, red], axis=3)), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("word", ["red", "green", "blue"])
def test_chroma_shared_with_the_blown_out_core_is_left_out(lab: SimpleNamespace, word: str) -> None:
    camera = lab.Camera(leak="even", ambient=0.01, gain=60.0, glow=3.0, noise_codes=0.5)
    dark = dark_reference(camera.dark())
    crops = camera.of(word, 3)
    plain, shared = read_light(crops, dark), read_light(with_shared_chroma(crops), dark)
    assert colour_words(shared) == [word] * 3
    assert np.hypot(*(shared.uv - plain.uv).T).max() < 0.003


def test_luminance_follows_the_light_though_the_core_is_blown_out(lab: SimpleNamespace) -> None:
    camera = lab.Camera(ambient=0.03)
    crops = np.concatenate([camera.of("green", 4, share) for share in (0.0, 0.25, 0.5, 0.75, 1.0)])
    light = read_light(crops, dark_reference(camera.dark()))
    by_share = light.luminance.reshape(5, 4).mean(axis=1)
    assert by_share / by_share[-1] == pytest.approx([0.0, 0.25, 0.5, 0.75, 1.0], abs=0.02)


def test_dark_frames_are_off_and_stay_off_in_noise(lab: SimpleNamespace) -> None:
    camera = lab.Camera(ambient=0.03, noise_codes=4.0)
    assert set(colour_words(read_light(camera.dark(300), dark_reference(camera.dark())))) == {OFF}


def test_one_dark_crop_is_enough_for_a_reference(lab: SimpleNamespace) -> None:
    camera = lab.Camera(noise_codes=3.0)
    dark = dark_reference(camera.dark(1))
    assert dark.noise_codes == pytest.approx(3.0, rel=0.25)
    assert colour_words(read_light(camera.of("blue", 3), dark)) == ["blue"] * 3


@pytest.mark.parametrize("gain", [0.8, 1.2])
def test_a_little_more_or_less_ambient_light_makes_no_other_word(lab: SimpleNamespace, gain: float) -> None:
    camera = lab.Camera(ambient=0.05)
    dark = dark_reference(camera.dark())
    for word in (OFF, *PLAIN_WORDS):
        crops = camera.crops(np.tile(lab.LAMPS[word], (3, 1)), ambient_gain=gain)
        doubtful = [UNRECOGNISED] if gain > 1.0 and word == "blue" else []  # more ambient light reads as white in it
        assert set(colour_words(read_light(crops, dark))) <= {word, *doubtful}


def test_light_that_comes_from_beside_the_region_is_not_the_lamp_s(lab: SimpleNamespace) -> None:
    """A neighbour's glow at the region's edge, brighter by far than the dark lamp: the same glow in the middle is a lamp's."""
    camera = lab.Camera(ambient=0.03, size=80, gain=2.0)
    dark, lit = camera.dark(), camera.of("green", 3)
    middle, beside = np.s_[:, 20:60, 20:60], np.s_[:, 20:60, 44:]
    assert colour_words(read_light(lit[middle], dark_reference(dark[middle]))) == ["green"] * 3
    assert colour_words(read_light(lit[beside], dark_reference(dark[beside]))) == [UNRECOGNISED] * 3


def test_a_board_that_is_dark_to_one_side_moves_no_lamp(lab: SimpleNamespace) -> None:
    """A blown-out core gains most where the board is dark, and is the lamp all the same."""
    camera = lab.Camera(ambient=0.12, gain=30.0, size=40, glow=7.0)
    camera.board = camera.board * np.where(np.arange(40) < 7, 0.05, 1.5)[:, None, None]
    light = read_light(camera.of("green", 8), dark_reference(camera.dark()))
    assert light.plausible.all()
    assert colour_words(light) == ["green"] * 8


@pytest.mark.parametrize("gain", [2.5, 6.0])
def test_a_room_light_switched_on_is_not_the_lamp(lab: SimpleNamespace, gain: float) -> None:
    camera = lab.Camera(ambient=0.04)
    crops = camera.crops(np.zeros((5, 3)), ambient_gain=gain)
    assert set(colour_words(read_light(crops, dark_reference(camera.dark())))) == {UNRECOGNISED}


def test_all_black_frames_are_unrecognised_where_ambient_light_should_be_seen(lab: SimpleNamespace) -> None:
    camera = lab.Camera(ambient=0.05)
    light = read_light(np.zeros_like(camera.dark(3)), dark_reference(camera.dark()))
    assert not light.plausible.any()
    assert colour_words(light) == [UNRECOGNISED] * 3


def test_all_white_frames_are_unrecognised(lab: SimpleNamespace) -> None:
    camera = lab.Camera()
    light = read_light(np.full_like(camera.dark(3), 255), dark_reference(camera.dark()))
    assert colour_words(light) == [UNRECOGNISED] * 3
    assert np.isnan(light.uv).all()
    assert (light.usable == 0).all()


def test_frames_in_a_stack_do_not_disturb_each_other(lab: SimpleNamespace) -> None:
    camera = lab.Camera()
    dark = dark_reference(camera.dark())
    good = camera.of("red", 3)
    mixed = np.concatenate([good, np.full_like(good, 255), np.zeros_like(good)])
    alone, among = read_light(good, dark), read_light(mixed, dark)
    assert colour_words(among)[:3] == colour_words(alone) == ["red"] * 3
    assert among.luminance[:3] == pytest.approx(alone.luminance)


def test_a_long_stack_reads_like_its_parts(lab: SimpleNamespace) -> None:
    camera = lab.Camera(size=12, glow=2.5)
    dark = dark_reference(camera.dark())
    crops = np.concatenate([camera.of(word, 150) for word in ("red", "off", "blue")])
    light = read_light(crops, dark)
    assert len(light) == 450
    assert colour_words(light) == ["red"] * 150 + [OFF] * 150 + ["blue"] * 150
    assert light.uv[299:301] == pytest.approx(read_light(crops[299:301], dark).uv, nan_ok=True)


def test_no_frames_give_no_light(lab: SimpleNamespace) -> None:
    dark = dark_reference(lab.Camera().dark())
    assert len(read_light(np.empty((0, 40, 40, 3), dtype=np.uint8), dark)) == 0
    assert colour_words(read_light([], dark)) == []


def test_wrong_crops_are_refused(lab: SimpleNamespace) -> None:
    camera = lab.Camera()
    dark, good = dark_reference(camera.dark()), camera.of("red", 2)
    with pytest.raises(ValueError, match="uint8"):
        read_light(good.astype(np.uint16), dark)
    with pytest.raises(ValueError, match="shape"):
        read_light(good[..., :1], dark)
    with pytest.raises(ValueError, match="shape"):
        read_light(good[0], dark)
    with pytest.raises(ValueError, match="differ in size"):
        read_light([good[0], good[1][:30]], dark)
    with pytest.raises(ValueError, match="same region"):
        read_light(good[:, :30], dark)
    with pytest.raises(ValueError, match="too small"):
        read_light(good[:, :2, :2], dark)


def test_a_camera_of_another_curve_is_read_by_its_own(lab: SimpleNamespace) -> None:
    """The same light, once in the codes of sRGB and once in codes that are proportional to it."""
    camera = lab.Camera(gain=1.5)
    usual_dark, usual_lit = camera.dark(), camera.of("amber", 4)
    dark, lit = (np.rint(255.0 * SRGB_DECODE[crops]).astype(np.uint8) for crops in (usual_dark, usual_lit))
    own = (np.arange(256) / 255.0).astype(np.float32)

    def green_to_red(light: LampLight) -> float:
        return float((light.rgb_linear[:, 1] / light.rgb_linear[:, 0]).mean())

    usual = green_to_red(read_light(usual_lit, dark_reference(usual_dark)))
    by_own = read_light(lit, dark_reference(dark, own))
    assert green_to_red(by_own) == pytest.approx(usual, rel=0.05)
    assert colour_words(by_own) == ["amber"] * 4
    assert green_to_red(read_light(lit, dark_reference(dark))) < 0.7 * usual


@pytest.mark.parametrize("word", ["red", "amber", "green", "blue"])
@pytest.mark.parametrize("gain", [1.2, 1.4])
def test_a_torch_over_a_weak_lamp_does_not_make_it_white(lab: SimpleNamespace, word: str, gain: float) -> None:
    """Less light than would hide the lamp, white and all over; the lamp adds a third of it at its core to nearly as much."""
    for brightness in (0.3, 0.6, 1.2):
        for leak in lab.LEAKS:
            camera = lab.Camera(leak=leak, ambient=0.1, gain=0.3 * brightness, glow=4.0)
            dark = dark_reference(camera.dark())
            told = colour_words(read_light(camera.crops(np.tile(lab.LAMPS[word], (3, 1)), ambient_gain=gain), dark))
            assert "white" not in told, (brightness, leak)


def test_a_bad_dark_reference_is_refused(lab: SimpleNamespace) -> None:
    crops = lab.Camera().dark()
    with pytest.raises(ValueError, match="no dark crop"):
        dark_reference(crops[:0])
    with pytest.raises(ValueError, match="blown out"):
        dark_reference(np.full_like(crops, 255))
