"""From crops of a camera picture to the light the lamp adds: linear, without the blown-out core.

A status lamp near a webcam has a core that is blown out (white whatever its colour) and a glow round it
that carries the colour. So colour is summed over the pixels that are neither blown out, nor next to one
that is, nor lost in the noise, after the dark picture (ambient light) is taken away in linear light; what
is nearly blown out counts for less, since many cameras take colour from what is bright.
Nothing here knows a camera: noise comes from the dark crops, the tolerance for ambient drift is a figure
with a name. Crops are BGR, as OpenCV gives them, shape (n, h, w, 3), uint8.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from hil.lamp.board import agreed, read_otherwise
from hil.lamp.colour import OFF, UNRECOGNISED, luminance_of, uv_of_rgb, uv_spread, words_of
from hil.lamp.doubt import Bools, Floats
from hil.lamp.learnt import NOTHING_LEARNT, Learnt, words_by

Crops = npt.NDArray[np.uint8]
Planes = npt.NDArray[np.float32]

# All: common practice, no source.
SATURATED_CODE = 250  # codes from here up no longer follow the light
SHOULDER_CODE = 215  # nor do many cameras' from here on, quite: pixels count for less and less up to there
COLOUR_OVER_AMBIENT = 0.5  # a pixel tells the colour where the lamp adds this share to its dark value
BRIGHTER_COUNTS = (
    2.0  # power of its light by which a pixel counts: near its core is the lamp, farther out the board it lights
)
AMBIENT_DRIFT = (
    0.03  # share by which ambient light may differ from the dark crops, one standard deviation: the doubt of a colour
)
LIT_OVER_AMBIENT = 0.3  # the brightest part must exceed its dark value by this share to count as lit
DARK_OVER_AMBIENT = 0.15  # and by less than this to count as dark; between the two nothing is told
BRIGHTER_ROOM = 1.5  # more ambient light than this many times the dark crops' tells nothing of a lamp not lit
LIT_LEAST = 0.004  # and by this much linear light (full scale is 1), about one code at mid-grey
BRIGHTEST_SHARE = 0.03  # the share of the crop's pixels that "brightest part" means
NEARLY_AS_BRIGHT = 0.6
OFF_MIDDLE = 0.2  # of the crop's side: farther from its middle the brightest part is not the lamp
FEWEST_PIXELS = 8  # fewer usable pixels give no colour
FEWEST_OF_BLOWN = 0.1  # nor do fewer than this share of the blown-out ones: next to those is some of their white
CHUNK_FRAMES = 128  # keeps the working arrays in the cache


def _decode_table() -> Planes:
    value = np.arange(256) / 255.0
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return linear.astype(np.float32)


SRGB_DECODE = _decode_table()  # 8-bit code → linear light 0..1; IEC 61966-2-1
COUNTS = np.clip((SATURATED_CODE - np.arange(256)) / (SATURATED_CODE - SHOULDER_CODE), 0.0, 1.0).astype(np.float32)
"""How much a pixel counts by its strongest code, shape (256,)."""


def strongest_codes(pictures: Crops) -> Crops:
    """The greatest of the three channels of each pixel: `max(axis=-1)`, in a fraction of its time."""
    return np.maximum(np.maximum(pictures[..., 0], pictures[..., 1]), pictures[..., 2])


@dataclass(frozen=True, slots=True)
class DarkReference:
    """What the lamp's region looks like with the lamp dark.

    linear: shape (h, w, 3), RGB; noise_codes: standard deviation of a pixel, in 8-bit codes;
    blown: shape (h, w), pixels blown out already; curve: the camera's, linear light 0..1 of each code, shape (256,).
    """

    linear: Planes
    noise_codes: float
    blown: Bools
    curve: Planes

    @property
    def slope(self) -> Planes:
        """Linear light a code, shape (256,)."""
        return np.asarray(np.gradient(self.curve), dtype=np.float32)


@dataclass(frozen=True, slots=True)
class FrameLight:
    """The lamp's light in one frame. `uv` is not a number where no pixel tells the colour.

    luminance: mean linear luminance (full scale 1) over the pixels that no frame of the stack blows out.
    usable: share of the crop's pixels the colour was summed over.
    otherwise: the light as read in other ways, shape (5, 3), by `hil.lamp.board`; not a number where one cannot be had.
    plausible: False where the frame is much darker than the dark reference (camera black or covered), or brighter all
        over without a lamp that stands out (other light, or blown out as a whole), or brightest at its edge, or neither surely
        lit nor dark.
    """

    lit: bool
    luminance: float
    rgb_linear: Floats
    rgb_covariance: Floats
    uv: Floats
    uv_covariance: Floats
    usable: float
    plausible: bool
    otherwise: Floats


@dataclass(frozen=True, slots=True)
class LampLight:
    """The lamp's light in n frames, an array a field; an index gives one `FrameLight`.

    channels: what `luminance` is of, by channel: linear red, green and blue, shape (n, 3).
    """

    lit: Bools
    luminance: Floats
    rgb_linear: Floats
    rgb_covariance: Floats
    uv: Floats
    uv_covariance: Floats
    usable: Floats
    plausible: Bools
    channels: Floats
    otherwise: Floats

    def __len__(self) -> int:
        """Count the frames."""
        return len(self.lit)

    def __getitem__(self, at: int) -> FrameLight:
        """Give one frame's light; raises IndexError past the end, so that a loop over frames ends."""
        return FrameLight(
            lit=bool(self.lit[at]),
            luminance=float(self.luminance[at]),
            rgb_linear=self.rgb_linear[at],
            rgb_covariance=self.rgb_covariance[at],
            uv=self.uv[at],
            uv_covariance=self.uv_covariance[at],
            usable=float(self.usable[at]),
            plausible=bool(self.plausible[at]),
            otherwise=self.otherwise[at],
        )


def crop_stack(crops: Crops | Sequence[Crops]) -> Crops:
    """Take crops as one stack, shape (n, h, w, 3).

    Raises ValueError: not uint8, not three channels, or crops of different sizes.
    """
    if not isinstance(crops, np.ndarray):
        shapes = {np.shape(crop) for crop in crops}
        if len(shapes) > 1:
            raise ValueError(f"crops differ in size: {sorted(shapes)}. Cut the same region from every frame.")
        crops = np.stack(list(crops)) if shapes else np.empty((0, 1, 1, 3), dtype=np.uint8)
    if crops.dtype != np.uint8:
        raise ValueError(f"crops are {crops.dtype}: give uint8, as the camera's pictures decode.")
    if crops.ndim != 4 or crops.shape[3] != 3:
        raise ValueError(f"crops have shape {crops.shape}: give (frames, height, width, 3), blue first.")
    if len(crops) and crops.shape[1] * crops.shape[2] < FEWEST_PIXELS:
        raise ValueError(f"crops of {crops.shape[2]}×{crops.shape[1]} pixels are too small: {FEWEST_PIXELS} at least.")
    return crops


def dark_reference(dark_crops: Crops | Sequence[Crops], curve: Planes = SRGB_DECODE) -> DarkReference:
    """Make the dark reference from crops taken while the lamp was known to be dark; what is read by it is read by its curve.

    Raises ValueError: no crop, or more than half of the region blown out without the lamp.
    """
    stack = crop_stack(dark_crops)
    if not len(stack):
        raise ValueError("no dark crop: take some while the unit is without power.")
    blown: Bools = np.any(stack >= SATURATED_CODE, axis=(0, 3))
    if blown.mean() > 0.5:
        raise ValueError("the dark crops are blown out: lower the exposure or shade the bench.")
    linear = curve[stack[..., ::-1]].mean(axis=0, dtype=np.float64).astype(np.float32)
    return DarkReference(linear=linear, noise_codes=max(1.0, _noise_codes(stack)), blown=blown, curve=curve)


def _noise_codes(stack: Crops) -> float:
    codes = stack.astype(np.float32)
    if len(codes) >= 4:
        return float(np.sqrt(codes.var(axis=0, ddof=1).mean()))
    # Too few for the scatter in time: the second difference along a line leaves noise and little picture.
    bend = codes[:, :, 2:] - 2 * codes[:, :, 1:-1] + codes[:, :, :-2]
    return float(1.4826 * np.median(np.abs(bend)) / np.sqrt(6.0)) if bend.size else 0.0


def read_light(crops: Crops | Sequence[Crops], dark: DarkReference) -> LampLight:
    """Read the lamp's light from a stack of crops, shape (n, h, w, 3) uint8, blue first.

    Raises ValueError: see `crop_stack`; or the dark reference has another size.
    """
    stack = crop_stack(crops)
    if len(stack) and stack.shape[1:] != dark.linear.shape:
        raise ValueError(f"crops are {stack.shape[1:]}, the dark reference {dark.linear.shape}: cut the same region.")
    if not len(stack):
        stack = np.empty((0, *dark.linear.shape), np.uint8)
    chunks = [_planes(stack[at : at + CHUNK_FRAMES]) for at in range(0, max(1, len(stack)), CHUNK_FRAMES)]
    tops = [codes.max(axis=0) for codes in chunks]
    steady = _never_blown([top >= SATURATED_CODE for top in tops], dark)
    # Taken once: memory that is new each time costs as much as what is done in it.
    work = np.empty((3, chunks[0].size), np.float32)
    parts = [_read_chunk(codes, top, dark, steady, work) for codes, top in zip(chunks, tops, strict=True)]
    return LampLight(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def colour_words(light: LampLight, learnt: Learnt = NOTHING_LEARNT) -> list[str]:
    """Name each frame's colour: a colour word, "off" for a dark lamp, or "unrecognised".

    A frame darker than the dark reference is "unrecognised", not "off": the camera did not see the bench.

    Args:
        light: of n frames.
        learnt: colours as this camera saw them of golden units; the others go by the rule for any camera.
    """
    words = agreed(words_of(light.rgb_linear, light.rgb_covariance), light.otherwise)
    words = words_by(learnt, light.rgb_linear, light.rgb_covariance, words)
    unlit = [OFF if plausible else UNRECOGNISED for plausible in light.plausible]
    seen = zip(words, unlit, light.lit & light.plausible, strict=True)
    return [word if lit else dark for word, dark, lit in seen]


def _planes(stack: Crops) -> Crops:
    """Part crops, shape (n, h, w, 3), by channel, red first: shape (3, n, h, w)."""
    return np.ascontiguousarray(np.moveaxis(stack, 3, 0)[::-1])


def _never_blown(chunks: list[Bools], dark: DarkReference) -> Bools:
    """Find the pixels whose codes follow the light in every frame but those wholly white, of what is blown out in each."""
    steady = ~dark.blown
    for blown in chunks:
        normal = _counted(blown) < 0.9 * steady.size
        steady &= ~np.any(blown[normal], axis=0)
    return steady if steady.mean() >= 0.05 else np.ones_like(steady)


def _counted(masks: Bools) -> Floats:
    """Count the pixels of masks, shape (n, h, w): shape (n,)."""
    flat = masks.reshape(len(masks), masks.shape[1] * masks.shape[2])
    count: Floats = np.add.reduce(flat, axis=1, dtype=np.uint32).astype(np.float64)
    return count


def _grown(mask: Bools) -> Bools:
    """Grow a mask, shape (n, h, w), by one pixel: chroma is shared between neighbours in most video."""
    grown = mask.copy()
    grown[:, 1:] |= mask[:, :-1]
    grown[:, :-1] |= mask[:, 1:]
    across = grown.copy()
    grown[:, :, 1:] |= across[:, :, :-1]
    grown[:, :, :-1] |= across[:, :, 1:]
    return grown


def _read_chunk(
    codes: Crops, top: Crops, dark: DarkReference, steady: Bools, work: Planes
) -> tuple[Bools, *tuple[Floats, ...], Bools, Floats, Floats]:
    linear, light, slopes = (part[: codes.size].reshape(codes.shape) for part in work)
    _look_up(dark.curve, codes, into=linear)
    _look_up(dark.slope**2, codes, into=slopes)
    ambient = np.moveaxis(dark.linear, 2, 0)[:, None]
    np.subtract(linear, ambient, out=light)
    strongest, noise, blown = light.max(axis=0), _dark_noise(dark), top >= SATURATED_CODE
    use = ~_grown(blown | dark.blown)
    use &= strongest > 4.0 * noise + COLOUR_OVER_AMBIENT * ambient.max(axis=0)
    count, fewest = _counted(use), np.maximum(FEWEST_PIXELS, FEWEST_OF_BLOWN * _counted(blown))
    weight = np.maximum(strongest, 0.0) ** BRIGHTER_COUNTS * COUNTS[top] * use
    weight /= np.where(count >= fewest, weight.sum(axis=(1, 2)), np.nan)[:, None, None]
    mean_rgb = _summed(light, weight)
    around = _summed(ambient, weight)
    drift = AMBIENT_DRIFT * around
    variance = dark.noise_codes**2 * _summed(slopes, weight**2)
    covariance = np.einsum("ni,ij->nij", variance, np.eye(3)) + drift[:, :, None] * drift[:, None, :]
    positive = np.where(mean_rgb > 0.0, mean_rgb, np.where(np.isnan(mean_rgb), np.nan, 0.0))
    lit, plausible = _lit_or_dark(linear, strongest, dark, noise)
    plausible[lit] &= _in_the_middle(strongest[lit])
    channels = _summed(light, steady[None]) / steady.sum()
    uv, uv_covariance = uv_of_rgb(positive), uv_spread(positive, covariance)
    luminance, usable = luminance_of(channels), count / steady.size
    face = _mean_over(dark.linear, blown & ~dark.blown)
    more = _more_room(linear, ambient)[:, None] * around
    otherwise = read_otherwise(mean_rgb, _halves(light, weight, strongest), around, face, more, float(noise.mean()))
    return lit, luminance, mean_rgb, covariance, uv, uv_covariance, usable, plausible, channels, otherwise


def _summed(planes: Planes, weight: Planes | Bools) -> Floats:
    """Sum planes, shape (3, n, h, w), over pixels by their weights, shape (n, h, w): shape (n, 3); either n may be 1."""
    pixels = planes.shape[2] * planes.shape[3]
    by_pixel = weight.astype(np.float32, copy=False).reshape(len(weight), pixels)
    total: Floats = np.vecdot(planes.reshape(3, planes.shape[1], pixels), by_pixel).T.astype(np.float64)
    return total


def _look_up(table: Planes, codes: Crops, *, into: Planes) -> None:
    """Look codes up in a table of 256; NumPy's own indexing takes twice as long."""
    if codes.size:
        cv2.LUT(codes.reshape(-1, codes.shape[3]), table, dst=into.reshape(-1, codes.shape[3]))


def _halves(light: Planes, weight: Planes, strongest: Planes) -> Floats:
    """Give the light of the glow's brighter and dimmer part, shape (2, n, 3), pixels in the middle counting for more."""
    _, height, width = strongest.shape
    across, down = (np.linspace(-1.0, 1.0, side) ** 2 for side in (width, height))
    inner = weight * np.clip(1.0 - across - down[:, None], 0.0, None).astype(np.float32)
    bound = (inner * strongest).sum(axis=(1, 2)) / np.maximum(inner.sum(axis=(1, 2)), 1e-12)
    brighter = strongest >= bound[:, None, None]
    return np.stack([_summed(light, inner * brighter), _summed(light, inner * ~brighter)])


def _mean_over(picture: Planes, masks: Bools) -> Floats:
    """Give the mean of a picture, shape (h, w, 3), over each mask, shape (n, h, w); not a number where a mask is empty."""
    count = masks.sum(axis=(1, 2)).astype(np.float64)
    total: Floats = np.tensordot(masks.astype(np.float32), picture, axes=((1, 2), (0, 1))).astype(np.float64)
    return total / np.where(count > 0, count, np.nan)[:, None]


def _dark_noise(dark: DarkReference) -> Planes:
    """Give the noise of a dark pixel in linear light, shape (h, w), for its noisiest channel."""
    slope: Floats = np.interp(dark.linear.max(axis=2), dark.curve, dark.slope)
    return np.asarray(dark.noise_codes * slope, dtype=np.float32)


def _more_room(linear: Planes, ambient: Planes) -> Planes:
    """Give for each frame, shape (n,), the share by which the room's light may have grown since the dark crops.

    Other light falls on all pixels, in all channels: it grew by no more than the channel and the quarter of the pixels that
    gained least. Every other line and column tells that as well as all.
    """
    sparse = np.s_[:, :, ::2, ::2]
    gained = (linear[sparse] - ambient[sparse]) / np.maximum(ambient[sparse], LIT_LEAST)
    least: Planes = np.min([_lower_quartile(channel) for channel in gained], axis=0)
    return np.maximum(least, np.float32(0.0))


def _lit_or_dark(linear: Planes, strongest: Planes, dark: DarkReference, noise: Planes) -> tuple[Bools, Bools]:
    """Say for each frame whether the lamp is lit, and whether that can be told at all.

    Lit: the brightest part is well above its dark value, and also above what that would be in the ambient light
    of the frame. How much brighter the ambient light is comes from the quarter of the pixels that gained least:
    the lamp's glow is strongest at its core, other light falls on all pixels alike.
    """
    ambient = dark.linear.max(axis=2) + LIT_LEAST
    brightest = linear.max(axis=0) + LIT_LEAST
    gain = _lower_quartile(brightest / ambient)
    scaled = np.maximum(gain, 1.0)[:, None, None] * ambient
    need = np.maximum(LIT_OVER_AMBIENT * dark.linear.max(axis=2), np.maximum(6.0 * noise, LIT_LEAST))
    lit = _brightest_part(strongest - need)
    lit[lit] = _brightest_part(brightest[lit] - (1.0 + LIT_OVER_AMBIENT) * scaled[lit] - 6.0 * noise)
    unsure = ~lit & (gain > BRIGHTER_ROOM)
    left = ~lit & ~unsure
    unsure[left] = _brightest_part(brightest[left] - (1.0 + DARK_OVER_AMBIENT) * scaled[left] - 6.0 * noise)
    bright_enough = linear.mean(axis=(0, 2, 3)) >= 0.5 * dark.linear.mean() - 2.0 * noise.mean()
    return lit, bright_enough & ~unsure


def _in_the_middle(strongest: Planes) -> Bools:
    """Say for each frame whether its brightest part lies in the middle of the crop: what shines in from beside is no lamp's."""
    _, height, width = strongest.shape
    # A blown-out core is as bright all over, and its gain the greater where the board is dark: so all that is nearly as bright.
    brightest = strongest >= NEARLY_AS_BRIGHT * _brightest_bound(strongest)[:, None, None]
    count = np.maximum(brightest.sum(axis=(1, 2)), 1)
    across = (brightest.sum(axis=1) @ np.arange(width)) / count - (width - 1) / 2
    down = (brightest.sum(axis=2) @ np.arange(height)) / count - (height - 1) / 2
    middle: Bools = np.maximum(np.abs(across) / width, np.abs(down) / height) < OFF_MIDDLE
    return middle


def _brightest_bound(planes: Planes) -> Planes:
    """Give the least value of each frame's brightest part, shape (n,)."""
    flat = planes.reshape(len(planes), planes.shape[1] * planes.shape[2])
    at = flat.shape[1] - max(4, int(BRIGHTEST_SHARE * flat.shape[1]))
    return np.partition(flat, at, axis=1)[:, at]


def _lower_quartile(frames: Planes) -> Planes:
    flat = frames.reshape(len(frames), frames.shape[1] * frames.shape[2])
    quarter = flat.shape[1] // 4
    return np.partition(flat, quarter, axis=1)[:, quarter]


def _brightest_part(over: Planes) -> Bools:
    """Say for each frame, shape (n, h, w), whether the mean of its brightest part is above zero."""
    flat = over.reshape(len(over), over.shape[1] * over.shape[2])
    count = max(4, int(BRIGHTEST_SHARE * flat.shape[1]))
    above = _counted(over > 0.0)
    top = above >= count
    between = ~top & (above > 0.0)  # of all others the brightest part lies on one side, which takes no ordering
    top[between] = np.partition(flat[between], flat.shape[1] - count, axis=1)[:, -count:].mean(axis=1) > 0.0
    return top
