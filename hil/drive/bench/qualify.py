"""Qualifies the lamp camera as a measuring instrument, from runs recorded under different conditions.

Between the runs somebody aims the camera anew, sets another exposure, or changes the light in the room: each run is one
condition of a crossed study (gauge R&R), its colours are the parts, single frames the trials. And the stage that the lamp
showed at the end of each leg is held against the stage that the witnesses confirmed there (kappa).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from hil.core.bench_file import BenchFile
from hil.core.errors import InputError
from hil.core.product import Product, load_product
from hil.core.qualified_file import Alike, LookTold, QualifiedFile
from hil.core.run_folder import RunFolder, RunInfo
from hil.drive.bench.tellable import RATES_ALIKE, times
from hil.drive.recorded import read_record
from hil.evidence.lamp import LampView
from hil.evidence.lamp_colours import LampColours, colours_seen, frames_by_colour, stages_by_colour
from hil.evidence.window import Record, Window
from hil.lamp import DARK, UNRECOGNISED, NotTold, StageSpan
from hil.lamp.agreement import CohenKappa, cohen_kappa
from hil.lamp.gauge import GaugeStudy, gauge_study
from hil.lamp.stage import SLOWEST_PHASE_S

FEWEST_RUNS, MOST_TRIALS, FEWEST_TRIALS = 2, 30, 5
Points = NDArray[np.float64]
AXES = ("u′", "v′")
OFF_STAGE = "off"  # what the witnesses call a unit without supply
# Both the manual's (AIAG, Measurement Systems Analysis, 4th ed.), as is the study; of kappa: common practice, no source.
MOST_PERCENT_OF_TOLERANCE, LEAST_CATEGORIES, LEAST_KAPPA = 30.0, 5, 0.9


@dataclass(frozen=True, slots=True)
class Qualification:
    """What the runs tell of the instrument.

    studies: of u' and v' each; tolerance: the least distance of two colours, in u'v'. stages: agreement with the witnesses,
    `untold` legs left out in which the lamp's last light was too short to tell. alike: looks that cannot be told apart.
    reasons: why it does not qualify.
    """

    runs: int
    colours: tuple[str, ...]
    trials: int
    tolerance: float
    studies: tuple[GaugeStudy | NotTold, ...]
    stages: CohenKappa | NotTold
    untold: int
    unseen: tuple[str, ...]
    alike: tuple[Alike, ...]
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Run:
    folder: Path
    info: RunInfo
    record: Record

    @property
    def stretch_s(self) -> tuple[float, float]:
        return min(leg.begin_s for leg in self.info.legs), max(leg.end_s for leg in self.info.legs)


def qualify_lamp(folders: Sequence[Path]) -> Qualification:
    """Study runs of one product.

    Raises:
        InputError: too few runs, one that is none, of several products, or too little to see in them.
    """
    if len(folders) < FEWEST_RUNS:
        raise InputError("hil bench qualify", f"{len(folders)} run: a spread needs {FEWEST_RUNS}.", "Name another run.")
    runs = [_read(folder) for folder in folders]
    products = {run.record.product.name for run in runs}
    if len(products) > 1:
        raise InputError("hil bench qualify", f"runs of {', '.join(sorted(products))}.", "Name runs of one product.")
    frames = [frames_by_colour(run.record, *run.stretch_s) for run in runs]
    colours = [word for word in frames[0] if all(len(by.get(word, ())) >= FEWEST_TRIALS for by in frames)]
    if len(colours) < 2:
        told = f"{len(colours)} colour was seen often enough in each of them."
        raise InputError("hil bench qualify", told, "Name whole runs, of a camera that was awake.")
    trials = min(MOST_TRIALS, *(len(by[word]) for by in frames for word in colours))
    values = np.array(
        [[_evenly(by[word], trials) for by in frames] for word in colours]
    )  # (parts, conditions, trials, 2)
    means = values.mean(axis=(1, 2))
    tolerance = min(float(np.hypot(*(one - other))) for one, other in combinations(means, 2))
    studies = tuple(gauge_study(values[..., axis], tolerance=tolerance) for axis in (0, 1))
    said, confirmed, untold = _stages(runs)
    stages = cohen_kappa(said, confirmed)
    seen = [colours_seen(run.record, *run.stretch_s) for run in runs]
    product = runs[0].record.product
    colours_alike, rates_alike = _alike(seen), _alike_rates(product)
    reasons = (
        *_of_studies(studies),
        *_of_stages(stages),
        *(f"{pair} cannot be told apart: {pair.because}" for pair in colours_alike),
        *(stages_told for stages_told, _ in rates_alike),
    )
    alike = (*colours_alike, *(pair for _, pair in rates_alike))
    unseen = tuple(word for word in stages_by_colour(product) if word not in colours)
    return Qualification(len(runs), tuple(colours), trials, tolerance, studies, stages, untold, unseen, alike, reasons)


def _read(path: Path) -> _Run:
    folder = RunFolder(path)
    info = folder.read_info()
    if not info.legs:
        raise InputError(str(path), "no leg was driven in this run.", "Name another run.")
    return _Run(path, info, read_record(folder, info, load_product(folder.product_file)))


def _evenly(uv: Points, count: int) -> Points:
    chosen: Points = uv[np.linspace(0, len(uv) - 1, count).astype(int)]
    return chosen


def _stages(runs: Sequence[_Run]) -> tuple[list[str], list[str], int]:
    """The lamp's stage at the end of each leg, the witnesses' beside it, and in how many the lamp's could not be told."""
    said, confirmed, untold = [], [], 0
    for run in runs:
        for leg in run.info.legs:
            stage = leg.confirmed.partition(" ")[0]
            if stage != OFF_STAGE and stage not in run.record.product.stages:
                continue
            shown = LampView(Window(leg.name, leg.begin_s, leg.end_s, run.record)).stages
            if stage != OFF_STAGE and shown and _may_be_a_phase(shown[-1]):
                shown = shown[:-1]
            if not shown or shown[-1].stage == UNRECOGNISED:
                untold += 1
                continue
            said.append(OFF_STAGE if shown[-1].stage == DARK else shown[-1].stage)
            confirmed.append(stage)
    return said, confirmed, untold


def _may_be_a_phase(last: StageSpan) -> bool:
    """Whether a stretch at the end is dark no longer than a phase of a flash may be."""
    return last.stage == DARK and last.end_s - last.begin_s < SLOWEST_PHASE_S


def _of_studies(studies: Sequence[GaugeStudy | NotTold]) -> list[str]:
    reasons = []
    for axis, study in zip(AXES, studies, strict=True):
        if isinstance(study, NotTold):
            reasons.append(f"{axis}: {study.reason}")
            continue
        percent = study.gauge.percent_of_tolerance or 0.0
        if percent > MOST_PERCENT_OF_TOLERANCE:
            reasons.append(f"{axis}: the instrument's own variation takes {percent:.0f} % of what parts two colours")
        if study.distinct_categories is not None and study.distinct_categories < LEAST_CATEGORIES:
            reasons.append(f"{axis}: {study.distinct_categories} distinct categories; {LEAST_CATEGORIES} are wanted")
    return reasons


def _of_stages(stages: CohenKappa | NotTold) -> list[str]:
    if isinstance(stages, NotTold):
        return [f"stages: {stages.reason}"]
    return [f"stages: kappa {stages.kappa:.2f} with the witnesses"] if stages.kappa < LEAST_KAPPA else []


def _alike(seen: Sequence[LampColours]) -> list[Alike]:
    """Colours that lie nearer to each other than their doubts in some run: each two once, as they lay nearest."""
    near = sorted((pair for one in seen for pair in one.pairs() if pair[3] < 1.0), key=lambda pair: -pair[3])
    found = {
        frozenset((one, other)): Alike(
            one=LookTold(colour=one), other=LookTold(colour=other), because=f"{distance:.3f} in u′v′"
        )
        for one, other, distance, _ in near
    }
    return list(found.values())


def _alike_rates(product: Product) -> list[tuple[str, Alike]]:
    """Stages of one colour whose flashes are too alike: in words, and their looks."""
    flashes = [
        (name, LookTold(colour=stage.lamp.colour, flash_hz=stage.lamp.flash_hz))
        for name, stage in product.stages.items()
        if stage.lamp.colour and stage.lamp.flash_hz
    ]
    return [
        (
            f"{name} and {second} flash {one.colour} at rates that cannot be told apart",
            Alike(
                one=one,
                other=other,
                because=f"each rate may be off by 15 %, and they differ by less than {RATES_ALIKE:g} times",
            ),
        )
        for (name, one), (second, other) in combinations(flashes, 2)
        if one.colour == other.colour and times(one.flash_hz, other.flash_hz) < RATES_ALIKE
    ]


def finding(found: Qualification, folders: Sequence[Path], bench_file: BenchFile, day: str) -> QualifiedFile:
    """What `hil accept` on that bench must know of a qualification.

    Raises:
        InputError: a run is of another bench.
    """
    wanted = bench_file.name, bench_file.slot
    for path in folders:
        bench = RunFolder(path).read_info().facts.get("bench", {})
        ran = str(bench.get("name", "")), str(bench.get("slot", ""))
        if ran != wanted:
            problem = f"was driven on {ran[0]!r}, slot {ran[1]}; this is {wanted[0]!r}, slot {wanted[1]}."
            raise InputError(str(path), problem, "Name the runs of one bench, and its bench file.")
    camera = bench_file.lamp_camera
    return QualifiedFile(
        day=day,
        runs=tuple(path.resolve().name for path in folders),
        qualified=not found.reasons,
        regions=(camera.unit_region, camera.bench_region),
        alike=found.alike,
    )
