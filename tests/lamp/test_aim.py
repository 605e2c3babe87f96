"""Finding lamps in whole pictures: lit discs with a glow on a drawn board, beside things that change by themselves.

The pictures are made here, apart from the virtual bench's own; those are looked at too, with the places its generator states.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np
import pytest

from hil.lamp.aim import UNEVEN, Aimed, NotAimed, Turn, find_lamp, is_one_lamp, overlapping, readable, shift_px
from hil.lamp.light import Crops
from hil.virtual.scene.picture import DARK, Picture

WIDTH, HEIGHT, TURNS, PICTURES = 320, 240, 4, 4
NOISE = 2.0
RED, GREEN, BLUE, WHITE = (0.0, 0.0, 1.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), (1.0, 1.0, 1.0)  # blue first
More = Callable[[np.ndarray, bool, np.random.Generator], None]


@dataclass(frozen=True)
class Lamp:
    """A disc of so many pixels' radius with a glow, brighter than the sensor can take in its middle."""

    at: tuple[int, int]
    colour: tuple[float, float, float] = GREEN
    radius_px: float = 4.0
    glow: float = 0.4


@cache
def light_of(lamp: Lamp) -> np.ndarray:
    """Linear light of a lit lamp, shape (h, w, 3)."""
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    away = np.hypot(x - lamp.at[0], y - lamp.at[1]) / lamp.radius_px
    profile = np.where(away < 1.0, 3.0, lamp.glow * np.exp(-((away - 1.0) ** 2) / 3.0))
    return profile[..., None] * np.array(lamp.colour)


@dataclass
class Bench:
    """A board on a table; what is on it beside the lamp is `more`, told whether the lamp is lit."""

    lamp: Lamp
    more: Sequence[More] = ()
    seed: int = 1
    shift: tuple[int, int] = (0, 0)
    board: np.ndarray = field(init=False)

    def __post_init__(self) -> None:
        rng = np.random.default_rng(self.seed)
        self.board = np.full((HEIGHT, WIDTH, 3), 0.06)
        for _ in range(40):
            x, y = rng.integers(0, WIDTH - 30), rng.integers(0, HEIGHT - 30)
            self.board[y : y + rng.integers(4, 30), x : x + rng.integers(4, 30)] = rng.uniform(0.01, 0.2, 3)

    def pictures(self, *, lit: bool, rng: np.random.Generator) -> Crops:
        made = []
        for _ in range(PICTURES):
            light = self.board + (light_of(self.lamp) if lit else 0.0)
            for change in self.more:
                change(light, lit, rng)
            clipped = np.clip(light, 0.0, 1.0)
            codes = 255.0 * np.where(clipped <= 0.0031308, 12.92 * clipped, 1.055 * clipped ** (1 / 2.4) - 0.055)
            made.append(np.clip(codes + rng.normal(0.0, NOISE, codes.shape), 0, 255).astype(np.uint8))
        return np.stack(made)

    def turns(self) -> list[Turn]:
        rng = np.random.default_rng(self.seed + 1000)
        return [Turn(self.pictures(lit=True, rng=rng), self.pictures(lit=False, rng=rng)) for _ in range(TURNS)]


def aimed(bench: Bench) -> Aimed:
    found = find_lamp(bench.turns())
    assert isinstance(found, Aimed), found
    return found


def assert_at(found: Aimed, at: tuple[int, int]) -> None:
    assert found.centre == pytest.approx(at, abs=1.5)
    x, y, width, height = found.region
    assert x <= at[0] < x + width
    assert y <= at[1] < y + height


@pytest.mark.parametrize("colour", [RED, GREEN, BLUE, WHITE])
@pytest.mark.parametrize("at", [(60, 60), (250, 180), (160, 120)])
def test_a_lamp_is_found_where_it_lies(colour: tuple[float, float, float], at: tuple[int, int]) -> None:
    found = aimed(Bench(Lamp(at, colour)))
    assert_at(found, at)
    assert found.warnings == ()
    assert 16 <= found.region[2] <= 60


def test_a_lamp_that_flashes_while_it_should_be_lit_is_found() -> None:
    def flashes(light: np.ndarray, lit: bool, rng: np.random.Generator) -> None:
        if lit and rng.random() < 0.5:
            light -= light_of(Lamp((200, 80)))

    assert_at(aimed(Bench(Lamp((200, 80)), [flashes])), (200, 80))


def test_a_turn_whose_pictures_came_late_is_told() -> None:
    """In the middle of the dark exposure the lamp went out: its core is blown out still, and of the glow a part is left."""

    def goes_out(light: np.ndarray, lit: bool, _rng: np.random.Generator) -> None:
        light += 0.0 if lit else 0.5 * light_of(Lamp((200, 80)))

    whole, late = Bench(Lamp((200, 80))), Bench(Lamp((200, 80)), [goes_out])
    found = find_lamp([*whole.turns(), late.turns()[0]])
    assert isinstance(found, Aimed)
    assert found.warnings == (UNEVEN,)


def test_a_screen_a_hand_and_another_lamp_that_change_by_themselves_are_not_taken_for_it() -> None:
    def film(light: np.ndarray, _lit: bool, rng: np.random.Generator) -> None:
        light[10:70, 200:300] = rng.uniform(0.0, 1.0, 3)

    def hand(light: np.ndarray, _lit: bool, rng: np.random.Generator) -> None:
        if rng.random() < 0.3:
            light[180:, :80] = (0.3, 0.4, 0.6)

    def neighbour(light: np.ndarray, _lit: bool, rng: np.random.Generator) -> None:
        if rng.random() < 0.5:
            light += light_of(Lamp((280, 200), RED))

    for seed in range(8):
        assert_at(aimed(Bench(Lamp((120, 120), BLUE), [film, hand, neighbour], seed)), (120, 120))


def test_a_reflection_is_dimmer_and_not_the_lamp() -> None:
    def mirrors(light: np.ndarray, lit: bool, _rng: np.random.Generator) -> None:
        if lit:
            light += 0.25 * light_of(Lamp((230, 120), GREEN, 4.0))

    assert_at(aimed(Bench(Lamp((120, 120), GREEN), [mirrors])), (120, 120))


def test_of_two_that_are_as_bright_nobody_can_say_which_it_is() -> None:
    def twin(light: np.ndarray, lit: bool, _rng: np.random.Generator) -> None:
        if lit:
            light += light_of(Lamp((230, 60), GREEN))

    found = find_lamp(Bench(Lamp((120, 120), GREEN), [twin]).turns())
    assert isinstance(found, NotAimed)
    assert "two places" in found.reason


def test_nothing_that_goes_on_and_off_is_told() -> None:
    unlit = Lamp((120, 120), (0.0, 0.0, 0.0))
    found = find_lamp(Bench(unlit).turns())
    assert isinstance(found, NotAimed)
    assert "nothing goes on and off with it" in found.reason


def test_room_light_that_is_switched_on_meanwhile_is_no_lamp() -> None:
    turns = Bench(Lamp((120, 120))).turns()
    bright = [np.clip(part.astype(int) + 60, 0, 255).astype(np.uint8) for part in (turns[2].lit, turns[2].dark)]
    found = find_lamp([turns[0], turns[1], Turn(*bright), turns[3]])
    assert isinstance(found, Aimed)
    assert_at(found, (120, 120))


def test_a_camera_that_was_moved_is_noticed() -> None:
    turns = Bench(Lamp((120, 120))).turns()
    moved = Turn(np.roll(turns[3].lit, 7, axis=2), np.roll(turns[3].dark, 7, axis=2))
    found = find_lamp([*turns[:3], moved])
    assert isinstance(found, NotAimed)
    assert "moved by 7 pixels" in found.reason


def test_a_shift_is_told_to_a_pixel() -> None:
    dark = Bench(Lamp((120, 120))).turns()[0].dark
    for right, down in ((0, 0), (5, 0), (0, -9), (12, 12)):
        told = shift_px(dark, np.roll(dark, (down, right), axis=(1, 2)))
        assert told == pytest.approx(np.hypot(right, down), abs=0.5)


@pytest.mark.parametrize(
    ("lamp", "warning"),
    [
        (Lamp((2, 120)), "cut off by the edge"),
        (Lamp((120, 120), radius_px=0.6, glow=0.1), "pixels wide"),
        (Lamp((120, 120), radius_px=30.0), "a third of the picture"),
        (Lamp((120, 120), WHITE, radius_px=16.0, glow=0.0), "blown out"),
    ],
    ids=["at the edge", "tiny", "out of focus", "blown out"],
)
def test_what_makes_a_lamp_hard_to_read_is_said(lamp: Lamp, warning: str) -> None:
    assert any(warning in told for told in aimed(Bench(lamp)).warnings)


def test_regions_that_meet_are_told() -> None:
    one = aimed(Bench(Lamp((120, 120))))
    beside = replace(one, region=(one.region[0] + one.region[2] - 1, one.region[1], 20, 20))
    apart = replace(one, region=(one.region[0] + one.region[2], one.region[1], 20, 20))
    assert overlapping([one, beside, apart]) == [(0, 1), (1, 2)]
    assert overlapping([one, apart]) == []


def test_too_little_to_tell_is_refused() -> None:
    turns = Bench(Lamp((120, 120))).turns()
    with pytest.raises(ValueError, match="3 at least"):
        find_lamp(turns[:2])
    with pytest.raises(ValueError, match="without pictures"):
        find_lamp([*turns[:3], Turn(turns[0].lit, turns[0].dark[:0])])


@pytest.mark.parametrize("seed", range(6))
def test_the_virtual_bench_s_lamps_are_found_where_its_generator_put_them(seed: int) -> None:
    picture, rng, numbers = Picture(seed), np.random.default_rng(seed), iter(range(1000))
    colour = [(0.67, 0.67, 0.67), (0.0, 0.0, 0.86), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0)][seed % 4]

    def seen(unit: tuple[float, float, float], bench: tuple[float, float, float] | None) -> Crops:
        blinks = [bench or ((float(rng.integers(2)),) * 3) for _ in range(PICTURES)]
        return np.stack([picture.render(unit, (b[0], b[1], b[2]), next(numbers)) for b in blinks])

    unit = find_lamp([Turn(seen(colour, None), seen(DARK, None)) for _ in range(TURNS)])
    bench = find_lamp([Turn(seen(DARK, (1.0, 1.0, 1.0)), seen(DARK, DARK)) for _ in range(TURNS)])
    for name, found in (("unit", unit), ("bench", bench)):
        assert isinstance(found, Aimed), found
        x, y, width, height = picture.regions[name]
        assert found.centre == pytest.approx((x + width / 2, y + height / 2), abs=5.0)
        assert found.warnings == ()


@pytest.mark.parametrize(("places", "looked_for"), [(1, (1,)), (4, (1, 4)), (8, (5, 8))])
def test_each_unit_of_the_virtual_table_is_found_among_neighbours_that_do_as_they_like(
    places: int, looked_for: tuple[int, ...]
) -> None:
    """Held against where the generator put them; the neighbours' lamps stay dark, stay lit or flash by themselves."""
    rng = np.random.default_rng(places)
    for place in looked_for:
        picture, frame = Picture(11, 960, 720, places=places, place=place), 0

        def seen(*, lit: bool) -> Crops:
            nonlocal frame
            frame += int(rng.integers(20, 40))
            drive = (0.67, 0.67, 0.67) if lit else DARK
            return np.stack([picture.render(drive, DARK, frame + at) for at in range(3)])  # noqa: B023 - used at once

        found = find_lamp([Turn(seen(lit=True), seen(lit=False)) for _ in range(5)])
        assert isinstance(found, Aimed), found
        x, y, width, height = picture.regions["unit"]
        assert found.centre == pytest.approx((x + width / 2, y + height / 2), abs=6.0)
        assert found.rival < 0.1
        assert found.warnings == ()


def test_what_may_flash_in_step_by_chance_is_told() -> None:
    def twin(share: float) -> More:
        def lit_with_it(light: np.ndarray, lit: bool, _rng: np.random.Generator) -> None:
            if lit:
                light += share * light_of(Lamp((230, 60), GREEN))

        return lit_with_it

    assert aimed(Bench(Lamp((120, 120)))).rival < 0.01
    assert 0.1 < aimed(Bench(Lamp((120, 120)), [twin(0.3)])).rival < 0.8
    alike = find_lamp(Bench(Lamp((120, 120)), [twin(1.0)]).turns())
    assert isinstance(alike, NotAimed)
    assert alike.rival == pytest.approx(1.0, abs=0.1)


def test_one_lamp_found_twice_is_one() -> None:
    one = aimed(Bench(Lamp((120, 120))))
    assert is_one_lamp(one, replace(one, centre=(one.centre[0] + 2.0, one.centre[1])))
    assert not is_one_lamp(one, replace(one, centre=(one.centre[0] + one.region[2], one.centre[1])))


def test_many_lamps_in_one_picture_are_each_found() -> None:
    """Eight units on a table, whose neighbours flash as they like while one goes on and off."""
    places = [(40 + 80 * (at % 4), 60 + 110 * (at // 4)) for at in range(8)]

    def others(but: int) -> More:
        def flash(light: np.ndarray, _lit: bool, rng: np.random.Generator) -> None:
            for at, place in enumerate(places):
                if at != but and rng.random() < 0.6:
                    light += light_of(Lamp(place, (RED, GREEN, BLUE, WHITE)[at % 4]))

        return flash

    found = [aimed(Bench(Lamp(place, GREEN), [others(at)])) for at, place in enumerate(places)]
    for place, one in zip(places, found, strict=True):
        assert_at(one, place)
    assert overlapping(found) == []


@pytest.mark.parametrize("colour", [RED, GREEN, BLUE, WHITE])
def test_a_lamp_whose_colour_can_be_told_is_readable(colour: tuple[float, float, float]) -> None:
    turns = Bench(Lamp((160, 120), colour)).turns()
    found = find_lamp(turns)
    assert isinstance(found, Aimed)
    assert readable(found, turns) == found


def hard(board: tuple[float, ...], glow: float, lamp: tuple[float, ...]) -> NotAimed | Aimed:
    """Turns of a round lamp whose face is blown out on a board, blue first, which it lights by a share of full light."""
    random = np.random.default_rng(4)
    y, x = np.mgrid[0:120, 0:120] - 60.0
    radius = np.hypot(x, y)
    face = (radius < 10.0)[..., None]
    reflected = np.where(face, 0.3, np.array(board))

    def seen(lit: bool) -> "np.ndarray[tuple[int, ...], np.dtype[np.uint8]]":
        thrown = glow * np.array(lamp) * np.maximum(radius / 10.0, 1.0)[..., None] ** -3.0 * reflected
        light = np.clip(0.1 * reflected + lit * np.where(face, 5.0, thrown), 0.0, 1.0)
        codes = 255.0 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
        return np.clip(codes + random.normal(0.0, 1.0, (2, *codes.shape)), 0, 255).astype(np.uint8)

    turns = [Turn(seen(True), seen(False)) for _ in range(4)]
    found = find_lamp(turns)
    assert isinstance(found, Aimed)
    return readable(found, turns)


def test_a_lamp_of_which_nothing_tells_the_colour_is_refused() -> None:
    none = hard((0.03, 0.03, 0.03), 0.0, (1.0, 1.0, 1.0))
    assert isinstance(none, NotAimed)
    assert none.reason.endswith("is blown out, and the rest is too little: lower the exposure")
    by_board = hard((0.2, 0.03, 0.006), 4.0, (1.0, 1.0, 1.0))
    assert isinstance(by_board, NotAimed)
    assert by_board.reason.endswith("another colour: lower the exposure, or hide the other light")
    assert isinstance(hard((0.2, 0.2, 0.2), 4.0, (1.0, 1.0, 1.0)), Aimed)
