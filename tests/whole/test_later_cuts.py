"""A witness that leaves in the middle of a leg: the later it leaves, the more passes, and nobody is ever blamed for it.

The checks are called directly here, on evidence altered in memory: dozens of cuts cost no more than a few sessions.
"""

import importlib
import inspect
import pkgutil
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import hil_acceptance
import numpy as np
import pytest
from support.alterations import SOURCES
from support.by_day import of_the_day

from hil.core.frames import LampFrames
from hil.core.product import load_product
from hil.core.run_folder import LegRecord, RunFolder
from hil.core.verdicts import Verdict
from hil.evidence.leg_evidence import LegEvidence
from hil.evidence.views import WITNESSES, Gate
from hil.evidence.window import Record, Window
from hil.judge.judge import Judge, verdict_of_findings
from hil.judge.needs import NEEDS_ATTRIBUTE

SHARES = (0.1, 0.3, 0.5, 0.8)
"""Where a leg is cut. Later than that, all that a check needs may lie before the cut and its last control's patience."""

Check = Callable[..., None]


def shipped_checks() -> dict[str, Check]:
    """Every check of the shipped suite, by name."""
    modules = [
        importlib.import_module(f"hil_acceptance.{m.name}") for m in pkgutil.iter_modules(hil_acceptance.__path__)
    ]
    found = ((module, name) for module in modules for name in vars(module) if name.startswith("test_"))
    return {f"{module.__name__}::{name}": getattr(module, name) for module, name in found}


CHECKS = shipped_checks()


def named_by(check: Check) -> frozenset[str]:
    """The views a check names."""
    views: frozenset[str] = getattr(check, NEEDS_ATTRIBUTE)
    return views


@pytest.fixture(scope="module")
def record(good_run: Path) -> Record:
    """The good run, as it was."""
    folder = RunFolder(good_run)
    frames = folder.read_frames()
    return Record(
        product=load_product(folder.product_file),
        facts=folder.read_info().facts,
        moments=folder.read_moments(),
        frames=lambda: frames,
        page=folder.read_page,
        console=folder.read_console,
    )


@pytest.fixture(scope="module")
def legs(good_run: Path) -> dict[str, LegRecord]:
    """The legs of the good run."""
    return {leg.name: leg for leg in RunFolder(good_run).read_info().legs}


def without(record: Record, witness: str, begin_s: float, end_s: float) -> Record:
    """The record with a witness gone for a while."""
    source = SOURCES.get(witness, witness)
    moments = tuple(m for m in record.moments if m.source != source or not begin_s <= m.time_s <= end_s)
    frames = record.frames()
    if witness == "camera":
        there = (frames.times_s < begin_s) | (frames.times_s > end_s)
        frames = LampFrames(frames.times_s[there], frames.unit[there], frames.bench[there])
    return replace(record, moments=moments, frames=lambda: frames)


def judged(check: Check, record: Record, legs: dict[str, LegRecord]) -> Verdict:
    """What a check says of a record."""
    judge, gate = Judge(), Gate(named_by(check))
    arguments: dict[str, object] = {"judge": judge, "product": record.product}
    for name in inspect.signature(check).parameters:
        if name in legs:
            window = Window(name, legs[name].begin_s, legs[name].end_s, record)
            arguments[name] = LegEvidence(window, gate)
    check(**{name: arguments[name] for name in inspect.signature(check).parameters})
    return verdict_of_findings(judge.findings)


@pytest.fixture(scope="module")
def told_by(record: Record, legs: dict[str, LegRecord]) -> dict[str, Verdict]:
    """What each check whose legs were driven says of the record as it is."""
    driven = {name for name, check in CHECKS.items() if _legs_of(check) <= legs.keys()}
    return {name: judged(CHECKS[name], record, legs) for name in driven}


def _legs_of(check: Check) -> set[str]:
    return set(inspect.signature(check).parameters) - {"judge", "product"}


def verdicts_by_cut(
    witness: str, leg: LegRecord, record: Record, legs: dict[str, LegRecord]
) -> dict[str, list[Verdict]]:
    """For each check of a leg that names a witness, its verdicts as that leaves later and later."""
    names = [
        name
        for name, check in CHECKS.items()
        if leg.name in inspect.signature(check).parameters and witness in {WITNESSES[v] for v in named_by(check)}
    ]
    told: dict[str, list[Verdict]] = {name: [] for name in names}
    for share in SHARES if names else ():
        altered = without(record, witness, leg.begin_s + share * (leg.end_s - leg.begin_s), leg.end_s)
        for name in names:
            told[name].append(judged(CHECKS[name], altered, legs))
    return told


def surer_and_surer(verdicts: Sequence[Verdict]) -> bool:
    """Whether it is unjudged up to some cut and a pass from there on."""
    passes = [verdict is Verdict.PASS for verdict in verdicts]
    return passes == sorted(passes) and set(verdicts) <= {Verdict.PASS, Verdict.UNJUDGED}


def test_all_pass_as_it_was(record: Record, told_by: dict[str, Verdict]) -> None:
    """The control: called in this way, on the record as it is, every check passes that the product promises."""
    others = {name for name, verdict in told_by.items() if verdict is not Verdict.PASS}
    assert {told_by[name] for name in others} <= {Verdict.NOT_APPLICABLE}
    assert len(told_by) - len(others) > 0.9 * len(CHECKS)
    assert np.size(record.frames().times_s) > 0


@pytest.mark.parametrize("witness", of_the_day(sorted(set(WITNESSES.values()))))
def test_a_witness_that_stays_longer_makes_surer(
    witness: str, record: Record, legs: dict[str, LegRecord], told_by: dict[str, Verdict]
) -> None:
    """Each check goes from unjudged to pass as the witness stays longer, and never by way of a fail."""
    told: dict[str, list[Verdict]] = {}
    for leg in legs.values():
        told |= verdicts_by_cut(witness, leg, record, legs)
    told = {name: verdicts for name, verdicts in told.items() if told_by[name] is Verdict.PASS}
    assert told
    assert {name: verdicts for name, verdicts in told.items() if not surer_and_surer(verdicts)} == {}
    assert any(verdicts[0] is Verdict.UNJUDGED for verdicts in told.values())
