"""How far an exposure is cut: a lamp whose blown-out core shrinks with it, before a camera that takes what it is given."""

import numpy as np
import pytest

from hil.core.errors import BenchError, InputError
from hil.drive.bench.exposing import SHORTEST_S, SHORTEST_UNSEEN_S, cut_exposure
from hil.instruments.exposure import Exposure
from hil.lamp.aim import Turn

REGION = (60, 40, 40, 40)
Y, X = np.mgrid[:120, :160]
SHAPE = np.exp(-((np.hypot(X - 80, Y - 60) / 7.0) ** 2) / 2)


class Bench(Exposure):
    """A lamp `bright` times full light at 8 ms; of each exposure `shows` tells how much of it the pictures show by turns."""

    def __init__(
        self, bright: float, shows: dict[float, tuple[float, ...]] | None = None, least_s: float = 1e-4
    ) -> None:
        self.bright, self.shows, self.least_s = bright, shows or {}, least_s
        self.taken = [0.008]

    def range_s(self) -> tuple[float, float]:
        return self.least_s, 0.03

    def now_s(self) -> float:
        return self.taken[-1]

    def set(self, exposure_s: float) -> float:
        self.taken.append(max(exposure_s, self.least_s))
        return self.taken[-1]

    def turn(self) -> Turn:
        at_s = self.now_s()
        shown = next((shares for bound_s, shares in self.shows.items() if at_s < bound_s), (1.0,) * 4)
        light = [np.clip(0.02 + SHAPE * self.bright * at_s / 0.008 * share, 0.0, 1.0) for share in shown]
        lit = [np.repeat(np.round(255 * one ** (1 / 2.2))[..., None], 3, axis=2).astype(np.uint8) for one in light]
        return Turn(np.stack(lit), np.full((2, 120, 160, 3), round(255 * 0.02 ** (1 / 2.2)), np.uint8))


def test_it_is_cut_by_stops_until_little_is_blown_out() -> None:
    bench = Bench(bright=1.6)
    cut = cut_exposure(bench, bench.turn, REGION, [REGION])
    assert cut is not None
    assert (cut.from_s, cut.to_s) == (0.008, 0.004)
    assert bench.taken == [0.008, 0.004, 0.004]
    assert cut.blown_before > 10 * cut.blown_after
    assert str(cut).startswith("4.0 ms in place of 8.0 ms: at the unit's lamp ")


def test_a_lamp_not_blown_out_is_left_as_it_is() -> None:
    bench = Bench(bright=0.8)
    assert cut_exposure(bench, bench.turn, REGION, [REGION]) is None
    assert set(bench.taken) == {0.008}


def test_for_a_dim_lamp_it_is_made_longer_by_stops_until_the_lamp_shows() -> None:
    bench = Bench(bright=0.1)
    cut = cut_exposure(bench, bench.turn, REGION, [REGION])
    assert cut is not None
    assert (cut.from_s, cut.to_s, bench.now_s()) == (0.008, 0.03, 0.03)
    assert bench.taken == [0.008, 0.016, 0.03, 0.03]
    assert str(cut) == "30.0 ms in place of 8.0 ms, by which the unit's lamp was dim"


def test_no_longer_one_is_kept_by_which_it_is_blown_out_or_no_brighter() -> None:
    class Floods(Bench):
        def set(self, exposure_s: float) -> float:
            self.bright = 20.0 if exposure_s > 0.008 else 0.1
            return super().set(exposure_s)

    class Stays(Bench):
        def set(self, exposure_s: float) -> float:
            return super().set(0.008)

    for bench in (Floods(bright=0.1), Stays(bright=0.1)):
        assert cut_exposure(bench, bench.turn, REGION, [REGION]) is None
        assert bench.now_s() == 0.008


def test_one_that_was_longer_than_a_frame_lasts_is_cut_too() -> None:
    bench = Bench(bright=0.2)
    bench.taken = [0.066]
    cut = cut_exposure(bench, bench.turn, REGION, [REGION])
    assert cut is not None
    assert cut.to_s == bench.now_s() == 0.033


def test_however_bright_it_is_cut_no_further_than_its_own_switching_bears() -> None:
    bench = Bench(bright=50.0)
    cut = cut_exposure(bench, bench.turn, REGION, [REGION])
    assert cut is not None
    assert cut.to_s == min(bench.taken) == SHORTEST_S


def test_a_lamp_whose_switching_shows_is_exposed_for_longer() -> None:
    bench = Bench(bright=4.0, shows={0.003: (1.0, 0.2, 1.0, 0.5)})
    cut = cut_exposure(bench, bench.turn, REGION, [REGION])
    assert cut is not None
    assert cut.to_s == bench.now_s() == 0.004
    assert min(bench.taken) == 0.0025


def test_of_a_lamp_that_flashes_by_itself_no_short_one_is_tried() -> None:
    bench = Bench(bright=20.0, shows={1.0: (1.0, 0.0, 1.0, 0.0)})
    cut = cut_exposure(bench, bench.turn, REGION, [REGION])
    assert cut is not None
    assert cut.to_s == min(bench.taken) == SHORTEST_UNSEEN_S


def test_a_camera_that_stays_where_it_is_is_asked_once() -> None:
    bench = Bench(bright=20.0, least_s=0.004)
    bench.range_s = lambda: (1e-4, 0.03)  # type: ignore[method-assign]
    cut = cut_exposure(bench, bench.turn, REGION, [REGION])
    assert cut is not None
    assert bench.taken == [0.008, 0.004, 0.004, 0.004]


def test_one_that_does_not_take_an_exposure_within_its_range_keeps_the_last_that_it_took() -> None:
    class Stubborn(Bench):
        def set(self, exposure_s: float) -> float:
            if exposure_s < 0.004:
                raise BenchError("camera", "takes no such exposure.", "Set it by hand.")
            return super().set(exposure_s)

    bench = Stubborn(bright=20.0)
    cut = cut_exposure(bench, bench.turn, REGION, [REGION])
    assert cut is not None
    assert cut.to_s == bench.now_s() == 0.004


def test_one_that_does_what_it_was_not_told_to_is_left_as_it_was() -> None:
    class Jumps(Bench):
        def set(self, exposure_s: float) -> float:
            return super().set(0.0001 if exposure_s < 0.008 else exposure_s)

    class Lies(Bench):
        def set(self, exposure_s: float) -> float:
            self.asked = exposure_s
            return exposure_s

    jumps, lies = Jumps(bright=20.0), Lies(bright=20.0)
    assert cut_exposure(jumps, jumps.turn, REGION, [REGION]) is None
    assert jumps.now_s() == 0.008
    assert cut_exposure(lies, lies.turn, REGION, [REGION]) is None
    assert lies.asked == 0.008


def test_a_cut_that_breaks_off_leaves_the_camera_as_it_was() -> None:
    bench = Bench(bright=20.0)

    def breaks() -> Turn:
        if bench.now_s() < 0.008:
            raise BenchError("camera", "gave no pictures.", "Look at its cable.")
        return bench.turn()

    with pytest.raises(BenchError, match="gave no pictures"):
        cut_exposure(bench, breaks, REGION, [REGION])
    assert bench.now_s() == 0.008


def test_one_that_takes_no_exposures_says_so() -> None:
    bench = Bench(bright=3.0)

    def none() -> tuple[float, float]:
        raise InputError("camera", "takes no exposure times.", "Leave it.")

    bench.range_s = none  # type: ignore[method-assign]
    with pytest.raises(InputError, match="takes no exposure times"):
        cut_exposure(bench, bench.turn, REGION, [REGION])
