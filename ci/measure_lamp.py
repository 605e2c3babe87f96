"""Measures the lamp reader on drawn desks, whose truth is known, beside the simple way: the hue of the brightest pixels.

    ci/measure lamp [--desks N] [--processes N]    10,000 desks by default, some 40 min on two cores

Colours: desks of every word as `hil.virtual.desk` draws them; the lamp is found by `find_lamp` in four turns, refused by
`readable` where they tell no colour, else read in one frame there. Once as the camera was set when it was found, and once by
the exposure that `hil bench aim` cuts it to (`cut_exposure`; that the camera's place stays known bounds it on a bench, and not
in these small pictures). The simple way is given the same region of the same lit frame: the mean hue of its brightest pixels,
in HSV; and `read_still`, which knows no dark picture. Learnt: benches that have learnt five colours from one unit read another
one, once with each word left out, and cyan and magenta, which have no word, by an exposure cut by the first unit's white;
10,000 readings by default.
Flash rates and changes: frames of one desk, lit and dark by a plan that the test keeps. Processor: this process's own time,
one thread.
Ends with 1 where a wrong word comes more often than once in a hundred; every other figure is told and judged by nobody.
"""

import argparse
import sys
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from hil.drive.bench.exposing import cut_exposure
from hil.instruments.exposure import UNIT_S, Exposure
from hil.judge.statistics import rate_between
from hil.lamp import (
    OFF,
    UNRECOGNISED,
    LearntColour,
    NotTold,
    colour_spans,
    colour_words,
    dark_reference,
    flash_rate,
    learn_colour,
    read_light,
)
from hil.lamp.aim import Aimed, NotAimed, Region, Turn, find_lamp, readable
from hil.lamp.appearance import Appearance
from hil.lamp.doubt import stamp_scatter
from hil.lamp.learnt import too_alike
from hil.lamp.pattern import RATE_TOLERANCE, pattern_runs
from hil.lamp.still import read_still
from hil.virtual.desk.desk import Desk, draw_bench, draw_desk
from hil.virtual.desk.emitters import STRANGERS
from hil.virtual.desk.ranges import LAMP_KINDS, WORDS, DeskRange

Crops = NDArray[np.uint8]
FIRST_SEED = 900_000
DARK, TURNS, PER_TURN = 8, 4, 2
LEARNT_FRAMES = 12
LEARNT_WORDS = WORDS[:-1]
LIT_FROM = 30  # the number of the first lit frame
SIMPLE_HUES = (
    (10, "red"),
    (35, "amber"),
    (85, "green"),
    (130, "blue"),
    (180, "red"),
)  # OpenCV's, of 180; common practice
SIMPLE_GREY, SIMPLE_DARK, SIMPLE_BRIGHTEST = 60, 90, 0.03
NOT_AIMED = ("not found", "found elsewhere", "refused")
MOST_WRONG = 0.01
TIMES_READ = 5
INTERVAL_S, STAMPS_SD_S, RATES_HZ = 1.0 / 30.0, 0.001, (0.2, 12.0)


@dataclass
class BenchRead:
    """What one bench read of its other unit, a frame each; `refused` says why what it learnt was not taken, else nothing.

    read: truth, word as learnt, by the rule, the simple way's. left_out: truth, the word where that colour was not learnt, and
    whether it is another's that was. strangers: the colour of no word, word as learnt, by the rule.
    """

    refused: str = ""
    read: list[tuple[str, str, str, str]] = field(default_factory=list)
    left_out: list[tuple[str, str, bool]] = field(default_factory=list)
    strangers: list[tuple[str, str, str]] = field(default_factory=list)


# The truth, the reader's word (or why there is none), the simple way's, and that of the lit frame alone.
Reading = tuple[str, str, str, str]


def simple_word(crop: Crops) -> str:
    """Name the colour of the brightest pixels of one crop by their mean hue in HSV: what is written first, usually."""
    hsv = cv2.cvtColor(crop, cv2.COLOR_BGR2HSV).reshape(-1, 3)
    brightest = hsv[np.argsort(hsv[:, 2])[-max(4, int(SIMPLE_BRIGHTEST * len(hsv))) :]]
    hue, saturation, value = brightest.mean(axis=0)
    if value < SIMPLE_DARK:
        return OFF
    return "white" if saturation < SIMPLE_GREY else next(word for up_to, word in SIMPLE_HUES if hue <= up_to)


class DeskExposure(Exposure):
    """The exposure of a drawn desk's camera."""

    def __init__(self, desk: Desk) -> None:
        """Begin with the desk as it was drawn."""
        self.desk = desk

    def range_s(self) -> tuple[float, float]:
        """As V4L2 counts them, up to the time between two frames."""
        return UNIT_S, INTERVAL_S

    def now_s(self) -> float:
        """Of the desk."""
        return self.desk.exposure_s

    def set(self, exposure_s: float) -> float:
        """Take another."""
        self.desk = self.desk.exposed(exposure_s)
        return exposure_s

    def turn(self) -> Turn:
        """Pictures of its lamp lit and dark."""
        lit = [self.desk.picture(1.0, LIT_FROM + frame) for frame in range(PER_TURN * 2)]
        return Turn(np.stack(lit), np.stack([self.desk.picture(0.0, frame) for frame in range(PER_TURN)]))


def cut_desk(desk: Desk, region: Region) -> Desk:
    """The desk by the exposure that aiming leaves its camera with."""
    exposure = DeskExposure(desk)
    cut_exposure(exposure, exposure.turn, region, [region])
    return exposure.desk


def read_desk(seed: int) -> tuple[Reading, Reading]:
    """Read one desk as its camera was found and as it is exposed once it is aimed."""
    cv2.setNumThreads(1)
    word = WORDS[seed % len(WORDS)]
    try:
        desk = draw_desk(seed, word)
    except ValueError:
        return (word, "not drawn", "", ""), (word, "not drawn", "", "")
    return _read(desk, word), _read(cut_desk(desk, desk.region) if word != OFF else desk, word)


def _read(desk: Desk, word: str) -> Reading:
    dark = np.stack([desk.picture(0.0, frame) for frame in range(DARK)])
    lit = np.stack([desk.picture(1.0, LIT_FROM + frame) for frame in range(DARK)])
    region = desk.region if word == OFF else _aimed(desk, lit, dark)
    if isinstance(region, str):
        return word, region, "", ""
    x, y, width, height = region
    alone = read_still(lit[0], region).word
    part = np.s_[y : y + height, x : x + width]
    try:
        light = read_light(lit[:1, part[0], part[1]], dark_reference(dark[:, part[0], part[1]]))
    except ValueError:
        return word, UNRECOGNISED, simple_word(lit[0][part]), alone
    return word, colour_words(light)[0], simple_word(lit[0][part]), alone


def _aimed(desk: Desk, lit: Crops, dark: Crops) -> tuple[int, int, int, int] | str:
    turns = [Turn(lit[at : at + PER_TURN], dark[at : at + PER_TURN]) for at in range(0, TURNS * PER_TURN, PER_TURN)]
    found = find_lamp(turns)
    if isinstance(found, NotAimed):
        return "not found"
    off = np.hypot(found.centre[0] - desk.centre[0], found.centre[1] - desk.centre[1])
    if off > 0.5 * max(desk.region[2:]):
        return "found elsewhere"
    return found.region if isinstance(readable(found, turns), Aimed) else "refused"


def measure_colours(desks: int, processes: int) -> bool:
    """Print how often the word is right, wrong and not told; whether it is wrong seldom enough."""
    with ProcessPoolExecutor(processes) as pool:
        both = list(pool.map(read_desk, range(FIRST_SEED, FIRST_SEED + desks), chunksize=20))
    print(f"Colours: seeds {FIRST_SEED} to {FIRST_SEED + desks - 1}, one lit frame each.")
    good = [
        _told(name, list(read))
        for name, read in zip(
            ("as the camera was found", "by the exposure of hil bench aim"), zip(*both, strict=True), strict=True
        )
    ]
    return all(good)


def _told(how: str, read: list[Reading]) -> bool:
    drawn = [one for one in read if one[1] != "not drawn"]
    aimed = [one for one in drawn if one[1] not in NOT_AIMED]
    lamps = [one for one in drawn if one[0] != OFF]
    missed = Counter(one[1] for one in lamps if one[1] in NOT_AIMED)
    print(f"  {how}: {len(drawn)} desks")
    print(f"  aimed, where the lamp is: {1 - missed.total() / len(lamps):.2%} of {len(lamps)}; {dict(missed)}")
    print(
        f"  {'':10}{'desks':>7}{'right':>9}{'not told':>10}{'wrong':>8}   as                 simple way: right {'wrong':>7}"
    )
    for word in WORDS:
        print(_line(word, [one for one in aimed if one[0] == word]))
    print(_line("all", aimed))
    wrong = sum(reader not in (truth, UNRECOGNISED) for truth, reader, *_ in aimed)
    low, high = rate_between(wrong, len(aimed))
    print(f"  wrong and sure: {wrong} of {len(aimed)}, true share {low:.3%} to {high:.3%} (95 %, Clopper and Pearson)")
    alone = Counter(
        "right" if word == truth else "not told" if word in (UNRECOGNISED, OFF) else "wrong"
        for truth, *_, word in aimed
        if truth != OFF
    )
    shares = ", ".join(f"{name} {number / alone.total():.2%}" for name, number in alone.most_common())
    print(f"  the lit frame alone, as a photograph, without a dark one: {shares} of {alone.total()}")
    return wrong <= MOST_WRONG * len(aimed)


def _line(name: str, read: list[Reading]) -> str:
    count = max(1, len(read))
    right = sum(truth == reader for truth, reader, *_ in read) / count
    wrong = Counter(reader for truth, reader, *_ in read if reader not in (truth, UNRECOGNISED))
    simple = sum(truth == by_hue for truth, _, by_hue, _ in read) / count
    words = ", ".join(f"{number} {word}" for word, number in wrong.most_common())
    untold = sum(reader == UNRECOGNISED for _, reader, *_ in read) / count
    told = f"  {name:10}{len(read):7d}{right:9.2%}{untold:10.2%}{wrong.total() / count:8.2%}   {words:30}"
    return f"{told} {simple:9.2%} {1 - simple:7.2%}"


def read_bench(seed: int) -> BenchRead | None:
    """Have a bench learn five colours from one unit and read another; nothing where no such bench could be drawn."""
    cv2.setNumThreads(1)
    try:
        desks = draw_bench(seed, LEARNT_WORDS, 2, DeskRange(lamp_kinds=LAMP_KINDS[:2]), tuple(STRANGERS))
    except ValueError:
        return None
    cut_s = cut_desk(desks[0, "white"], desks[0, "white"].region).exposure_s
    desks = {key: desk.exposed(cut_s) for key, desk in desks.items()}
    x, y, width, height = desks[0, "green"].region
    part = np.s_[:, y : y + height, x : x + width]
    learnt: dict[str, LearntColour] = {}
    found = BenchRead()
    for (unit, word), desk in desks.items():
        try:
            dark = dark_reference(np.stack([desk.picture(0.0, frame) for frame in range(DARK)])[part])
        except ValueError:  # its dark picture is blown out
            dark = None
        lit = np.stack([desk.picture(1.0, LIT_FROM + frame) for frame in range(1 if unit else LEARNT_FRAMES)])[part]
        light = read_light(lit, dark) if dark else None
        if unit == 0:
            colour = learn_colour(light.rgb_linear[light.lit & light.plausible]) if light else NotTold("blown out")
            learnt |= {} if isinstance(colour, NotTold) else {word: colour}
            continue
        by_each = {name: colour for name, colour in learnt.items() if name != word}
        told = [colour_words(light, known)[0] if light else UNRECOGNISED for known in (learnt, {}, by_each)]
        if word in STRANGERS:
            found.strangers.append((word, told[0], told[1]))
        else:
            found.read.append((word, told[0], told[1], simple_word(lit[0])))
            found.left_out.append((word, told[2], told[2] in by_each))
    found.refused = "".join(f"{one} and {other}" for one, other, _ in too_alike(learnt)[:1])
    if len(learnt) < len(LEARNT_WORDS):
        found.refused = "too little light"
    return found


def measure_learnt(benches: int, processes: int) -> None:
    """Print how often colours are right once they were learnt from another unit, and what comes of colours not learnt."""
    with ProcessPoolExecutor(processes) as pool:
        drawn = [one for one in pool.map(read_bench, range(FIRST_SEED, FIRST_SEED + benches), chunksize=4) if one]
    taken = [one for one in drawn if not one.refused]
    low, high = rate_between(len(taken), len(drawn))
    why = dict(Counter(one.refused for one in drawn if one.refused).most_common())
    print(f"Learnt: {len(drawn)} benches, five colours of an addressable lamp, learnt of one unit and read of another.")
    print(f"  taken: {len(taken) / max(1, len(drawn)):.2%}, true share {low:.2%} to {high:.2%} (95 %); refused: {why}")
    read = [one for bench in taken for one in bench.read]
    for name, told in (
        ("learnt", [(truth, word) for truth, word, _, _ in read]),
        ("by the rule alone", [(truth, word) for truth, _, word, _ in read]),
        ("by the rule, all benches", [(truth, word) for bench in drawn for truth, _, word, _ in bench.read]),
        ("simple way", [(truth, word) for truth, _, _, word in read]),
    ):
        right, untold = sum(truth == word for truth, word in told), sum(word == UNRECOGNISED for _, word in told)
        share = f"{right / max(1, len(told)):.2%} right of {len(told)}"
        print(f"  {name:26}{share:26}not told {untold}; wrong {_share(len(told) - right - untold, len(told))}")
    left_out = [one for bench in taken for one in bench.left_out]
    as_learnt = sum(learnt for *_, learnt in left_out)
    print(f"  a word left out of what was learnt: told as another's, learnt, {_share(as_learnt, len(left_out))}")
    for name in STRANGERS:
        shown = [one for bench in taken for one in bench.strangers if one[0] == name]
        told_so = sum(word != UNRECOGNISED for _, word, _ in shown)
        by_rule = sum(word != UNRECOGNISED for *_, word in shown)
        print(f"  {name}, no word: given one {_share(told_so, len(shown))}; by the rule alone {by_rule}")


def _share(count: int, of: int) -> str:
    low, high = rate_between(count, of)
    return f"{count} of {of}, true share {low:.3%} to {high:.3%} (95 %)"


def measure_time(desk: Desk) -> None:
    """Print what reading a region costs, and eight lamps in a stream of large JPEGs."""
    dark = np.stack([desk.picture(0.0, frame)[:40, :40] for frame in range(DARK)])
    lit = np.stack([desk.picture(1.0, frame)[:40, :40] for frame in range(30)] * 20)
    reference = dark_reference(dark)
    each_s = []
    for _ in range(TIMES_READ):
        begin_s = time.process_time()
        colour_words(read_light(lit, reference))
        each_s.append((time.process_time() - begin_s) / len(lit))
    told = f"({len(lit)} frames at once, the middle of {TIMES_READ} times)"
    print(f"Processor: a region of 40 × 40 pixels {np.median(each_s) * 1e3:.3f} ms a frame {told}.")
    random = np.random.default_rng(1)
    picture = cv2.resize(
        random.integers(0, 255, (68, 120, 3), dtype=np.uint8), (1920, 1080), interpolation=cv2.INTER_CUBIC
    )
    _, jpeg = cv2.imencode(".jpg", picture)
    frames = 90
    crops = np.empty((8, frames, 40, 40, 3), np.uint8)
    begin_s = time.process_time()
    for frame in range(frames):  # as a camera's frames come: of each nothing is kept but the lamps' regions
        decoded = cv2.imdecode(jpeg, cv2.IMREAD_COLOR)
        assert decoded is not None
        for lamp in range(8):
            crops[lamp, frame] = decoded[100:140, 100 * lamp : 100 * lamp + 40]
    decoded_s = time.process_time() - begin_s
    for lamp in range(8):
        colour_words(read_light(crops[lamp], reference))
    spent_s = time.process_time() - begin_s
    print(
        f"  eight lamps of 1920 × 1080 JPEGs, 30 a second, decoding included: {spent_s / (frames / 30):.2f} of one core, "
        f"{decoded_s / (frames / 30):.2f} of it to decode."
    )


@dataclass
class Flashes:
    """What was read of flashes: errors of rates, and of changes in frames, and whether the stated doubts held the truth.

    Runs are what a unit's run reads, of colour words and for a declared rate; rates what light and dark alone tell.
    """

    untold: int = 0
    rate_errors: list[float] = field(default_factory=list)
    rates_held: list[bool] = field(default_factory=list)
    change_errors: list[float] = field(default_factory=list)
    changes_held: list[bool] = field(default_factory=list)
    run_errors: list[float] = field(default_factory=list)
    runs_held: list[bool] = field(default_factory=list)
    mostly_told: int = 0

    def read(self, desk: Desk, random: np.random.Generator) -> None:
        """Have a desk's lamp flash at a drawn rate before a camera of a drawn exposure, and read it."""
        exposure_s = float(random.uniform(0.2, 0.9)) * INTERVAL_S
        hz = float(np.exp(random.uniform(np.log(RATES_HZ[0]), np.log(RATES_HZ[1]))))
        count = int(max(12.0 / hz, 4.0) / INTERVAL_S)
        times_s = np.arange(count) * INTERVAL_S
        stamps_s = times_s + random.normal(0.0, STAMPS_SD_S, count)
        edges_s = random.uniform(0.1, 0.1 + 0.5 / hz) + np.arange(int(2 * count * INTERVAL_S * hz) + 2) / (2.0 * hz)
        x, y, width, height = desk.region
        part = np.s_[:, y : y + height, x : x + width]
        dark = np.stack([desk.picture(0.0, frame) for frame in range(DARK)])[part]
        crops = np.stack(list(_watched(desk, times_s, edges_s, exposure_s)))[part]
        light = read_light(crops, dark_reference(dark))
        rate = flash_rate(stamps_s, np.asarray(light.lit), light.channels, least_periods=2)
        if isinstance(rate, NotTold):
            self.untold += 1
        else:
            self.rate_errors.append(abs(rate.hz / hz - 1.0))
            self.rates_held.append(abs(rate.hz - hz) <= rate.doubt_hz)
        words, sd_s = colour_words(light), stamp_scatter(stamps_s)
        spans = colour_spans(stamps_s, words, light.channels, exposure_s=exposure_s, stamp_sd_s=sd_s)
        told_s = 0.0
        for run in pattern_runs(spans, {"flash": Appearance(desk.word, hz)}, RATE_TOLERANCE):
            told_s += spans[run.last].end_s - spans[run.first].begin_s
            self.run_errors.append(abs(run.rate.hz / hz - 1.0))
            self.runs_held.append(abs(run.rate.hz - hz) <= run.rate.doubt_hz)
        self.mostly_told += told_s > (stamps_s[-1] - stamps_s[0]) / 2
        for before, after in pairwise(spans):
            if {before.colour, after.colour} == {OFF, desk.word} and min(before.frames, after.frames) > 2:
                error_s = float(np.abs(edges_s - after.begin_s).min())
                self.change_errors.append(error_s / INTERVAL_S)
                self.changes_held.append(error_s <= after.begin_doubt_s)


def _watched(
    desk: Desk, times_s: NDArray[np.float64], edges_s: NDArray[np.float64], exposure_s: float
) -> Iterator[Crops]:
    """Frames of a lamp that is lit from the first edge on, dark from the second on, and so on."""
    for frame, time_s in enumerate(times_s):
        instants_s = time_s + exposure_s * (np.arange(16) / 15.0 - 0.5)
        lit = float((np.searchsorted(edges_s, instants_s) % 2 == 1).mean())
        yield desk.picture(lit, LIT_FROM + frame)


def measure_flashes(desks: int) -> None:
    """Print how near flash rates and the times of changes come, and how often their doubts hold the truth."""
    random, flashes = np.random.default_rng(3), Flashes()
    for number in range(desks):
        flashes.read(draw_desk(FIRST_SEED + 500_000 + number, WORDS[number % 5]), random)
    rate_95, rate_50 = np.percentile(flashes.rate_errors, [95, 50])
    change_95, change_50 = np.percentile(flashes.change_errors, [95, 50])
    print(f"Flashes: {desks} desks, {RATES_HZ[0]:g} to {RATES_HZ[1]:g} Hz at 30 frames/s; {flashes.untold} not told.")
    print(
        f"  rate: within {rate_95:.2%} (95 %), median {rate_50:.3%}; doubts hold the truth in {np.mean(flashes.rates_held):.1%}"
    )
    run_95, run_50 = np.percentile(flashes.run_errors, [95, 50])
    print(
        f"  as a run reads it: {len(flashes.run_errors)} stretches within {run_95:.2%} (95 %), median {run_50:.3%}; "
        f"doubts hold the truth in {np.mean(flashes.runs_held):.1%}; "
        f"{flashes.mostly_told} desks told for more than half of the time"
    )
    print(
        f"  {len(flashes.change_errors)} changes: within {change_95:.2f} of a frame (95 %), median {change_50:.2f}; "
        f"doubts hold the truth in {np.mean(flashes.changes_held):.1%}"
    )


def main() -> int:
    """Measure all of it."""
    parser = argparse.ArgumentParser(prog="ci/measure lamp")
    parser.add_argument("--desks", type=int, default=10_000)
    parser.add_argument("--processes", type=int, default=2)
    asked = parser.parse_args()
    cv2.setNumThreads(1)
    good = measure_colours(asked.desks, asked.processes)
    measure_learnt(asked.desks * 11 // 50, asked.processes)
    measure_time(draw_desk(FIRST_SEED, "green"))
    measure_flashes(max(20, asked.desks // 50))
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
