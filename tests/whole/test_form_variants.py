"""Setup pages that differ, driven live: one suite of legs and checks, and a product file that says how each page works.

Each unit is the demo's with a few texts of its firmware changed (`form_variants/`). A good one must pass every check of its
legs; a bad sibling must be caught by the checks that its file names. All of them take some minutes (`ci/measure forms`), so
here the date chooses: one good unit and one bad one a day, by the number of the day, and each in its turn.
"""

import os
from datetime import UTC, datetime
from pathlib import Path

import pytest
from support import form_variants
from support.by_day import on_day
from support.runs import Ended, accept
from support.verdicts import Outcome, read_outcomes

ALL = "HIL_FORM_VARIANTS"
SOUND = ("pass", "not applicable")


def chosen(*, bad: bool) -> list[str]:
    """The units of the day; with the environment's word for it, all of them."""
    names = form_variants.names(bad=bad)
    return names if os.environ.get(ALL) == "all" else [names[datetime.now(UTC).toordinal() % len(names)]]


def driven(name: str, folder: Path) -> Ended:
    """Drive a unit for its legs."""
    product, build = form_variants.write(name, folder)
    legs = [f"--leg={leg}" for leg in form_variants.made(name).legs]
    return accept("--profile=release", f"--product={product}", f"--build={build}", *legs, cwd=folder)


def outcomes_of(ended: Ended) -> dict[str, Outcome]:
    """The checks of the run, by file and name."""
    return read_outcomes(ended.folder / "junit.xml")


@on_day(0)
@pytest.mark.parametrize("name", chosen(bad=False))
def test_a_good_unit_passes(name: str, tmp_path: Path) -> None:
    ended = driven(name, tmp_path)
    wrong = {check: o for check, o in outcomes_of(ended).items() if o.verdict not in SOUND}
    assert not wrong
    assert ended.code == 0, ended.out + ended.err
    legs = {outcome.leg for outcome in outcomes_of(ended).values()}
    assert legs >= set(form_variants.made(name).legs)


@on_day(1)
@pytest.mark.parametrize("name", chosen(bad=True))
def test_a_bad_sibling_is_caught(name: str, tmp_path: Path) -> None:
    ended = driven(name, tmp_path)
    outcomes = outcomes_of(ended)
    for expected in form_variants.load(name).expect:
        found = outcomes[expected.check]
        assert (found.verdict, expected.says in found.reason) == (expected.verdict, True), found
    assert ended.code == 1, ended.out + ended.err
