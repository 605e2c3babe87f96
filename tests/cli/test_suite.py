"""The suite's table: which defects of the field its checks stand for.

The classes themselves are common practice, no source; here it is held that the table tells the truth of the suite.
"""

from pathlib import Path

import pytest
from support.runs import hil
from support.verdicts import witnesses_by_check

from hil.cli.suite import Catalogue, Defect, covered, load_catalogue
from hil.core.errors import OurBug

NOT_YET = {"crowded_air", "brown_out"}
PROFILES = {"test_a.py::test_one": "quick", "test_a.py::test_two": "release", "test_b.py::test_one": "release"}


def test_patterns_find_their_checks() -> None:
    catalogue = Catalogue(defect={"late": Defect(words="late", checks=("test_a.py::*", "*::test_one"))})
    (row,) = covered(catalogue, PROFILES)
    assert row.checks == ("test_a.py::test_one", "test_a.py::test_two", "test_b.py::test_one")
    assert row.profiles == ("quick", "release")


def test_a_pattern_that_fits_nothing_is_our_fault() -> None:
    with pytest.raises(OurBug, match="test_gone"):
        covered(Catalogue(defect={"late": Defect(words="late", checks=("*::test_gone",))}), PROFILES)


def test_each_class_has_checks_or_says_why_not() -> None:
    for name, defect in load_catalogue().defect.items():
        assert bool(defect.checks) != bool(defect.not_seen), name


def test_of_the_most_frequent_only_these_have_no_check_yet(tmp_path: Path) -> None:
    names = dict.fromkeys((name.partition("[")[0] for name in witnesses_by_check(tmp_path)), "quick")
    rows = covered(load_catalogue(), names)
    assert {row.name for row in rows if row.defect.often and not row.checks} == NOT_YET


def test_the_command_shows_every_class(tmp_path: Path) -> None:
    ended = hil("suite", cwd=tmp_path, environment={"COLUMNS": "200"})
    assert ended.code == 0, ended.err
    for defect in load_catalogue().defect.values():
        assert defect.words in ended.out
