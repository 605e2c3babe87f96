"""The rain sensor's known-bad units, without a bench: each changes its program, and names checks that there are."""

from pathlib import Path

import pytest
from support.rain_sensor import PRODUCT_FILE, firmware_files, known_bad, load_known_bad, write_build
from support.runs import hil
from support.verdicts import witnesses_by_check

from hil.cli.own_units import OwnProduct, own_units
from hil.core.errors import InputError

DIFFERENCES = {
    "light.py": "a lamp code of two-colour sequences",
    "wireless.py": "its own times, an open hotspot, a silent console",
    "fields.py": "settings as JSON, by names of its own",
    "routes.py": "a script's request, a restart of its own time",
}


@pytest.fixture(scope="module")
def checks(tmp_path_factory: pytest.TempPathFactory) -> frozenset[str]:
    """The names of all checks."""
    return frozenset(witnesses_by_check(tmp_path_factory.mktemp("checks")))


@pytest.mark.parametrize("name", known_bad())
def test_each_changes_the_program_and_must_fail_checks_that_exist(name: str, checks: frozenset[str]) -> None:
    unit = load_known_bad(name)
    assert unit.apply(firmware_files()) != firmware_files()
    assert any(expected.verdict == "fail" for expected in unit.expect)
    assert {expected.check for expected in unit.expect} <= checks


def test_each_difference_from_the_first_product_has_one() -> None:
    changed = {change.file for name in known_bad() for change in load_known_bad(name).change}
    assert changed == set(DIFFERENCES)


def test_units_of_one_s_own_are_read_with_their_builds(tmp_path: Path) -> None:
    write_build(tmp_path / "late", "gives_up_late")
    signature = '[[expect]]\ncheck = "test_form.py::*"\nverdict = "fail"\nsays = "x"\n'
    (tmp_path / "late.toml").write_text(f'why = "late"\nbuild = "late"\nspeed = 2.0\n\n{signature}', encoding="utf-8")
    (tmp_path / "good.toml").write_text('why = "good"\nbuild = "late/build.toml"\n', encoding="utf-8")
    good, late = own_units(OwnProduct(str(tmp_path)))
    assert (good.name, good.golden, late.name, late.golden) == ("good", True, "late", False)
    assert (late.speed, late.expected[0].says, Path(late.build)) == (2.0, "x", tmp_path / "late" / "build.toml")
    assert [unit.name for unit in own_units(OwnProduct(str(tmp_path)), ["late"])] == ["late"]
    before = late.patch_sha256
    write_build(tmp_path / "late", "hotspot_late")
    assert own_units(OwnProduct(str(tmp_path)), ["late"])[0].patch_sha256 != before


def test_units_that_are_not_there_or_wrong_are_wrong_input(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no units here"):
        own_units(OwnProduct(str(tmp_path)))
    (tmp_path / "late.toml").write_text('why = "late"\n', encoding="utf-8")
    with pytest.raises(InputError, match="build: missing"):
        own_units(OwnProduct(str(tmp_path)))
    with pytest.raises(InputError, match=r"'early' is not known.*late"):
        own_units(OwnProduct(str(tmp_path)), ["early"])


def test_a_product_file_without_units_of_it_is_wrong_input(tmp_path: Path) -> None:
    ended = hil("challenge", "--product", str(PRODUCT_FILE), cwd=tmp_path)
    assert ended.code == 2
    assert "Give --units FOLDER too" in ended.err
    missing = hil("challenge", "--units", str(tmp_path), "--bench", "no.toml", cwd=tmp_path)
    assert (missing.code, "no.toml" in missing.err) == (2, True)
    assert not ended.reports.exists()
