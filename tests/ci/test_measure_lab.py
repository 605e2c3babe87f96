"""The table of contracts, from JUnit files as pytest writes them."""

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

SCRIPT = Path(__file__).parents[2] / "ci" / "measure_lab.py"
VIRTUAL = """<?xml version="1.0" encoding="utf-8"?><testsuites><testsuite name="pytest">
<testcase classname="tests.contracts.test_access_point" name="test_a[virtual]" time="1.5"/>
<testcase classname="tests.contracts.test_access_point" name="test_b[virtual]" time="2.0"><failure/></testcase>
<testcase classname="tests.contracts.test_found" name="test_c" time="0.0"><skipped message="lab"/></testcase>
</testsuite></testsuites>"""
LAB = """<?xml version="1.0" encoding="utf-8"?><testsuites><testsuite name="pytest">
<testcase classname="tests.contracts.test_access_point" name="test_a[lab]" time="20.0"/>
<testcase classname="tests.contracts.test_access_point" name="test_b[lab]" time="21.0"><error/></testcase>
<testcase classname="tests.contracts.test_found" name="test_c" time="4.0"/>
</testsuite></testsuites>"""


@pytest.fixture(scope="module")
def script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("measure_lab", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_a_line_a_contract_says_how_its_tests_ended_in_both_places(script: ModuleType, tmp_path: Path) -> None:
    for name, text in (("virtual.xml", VIRTUAL), ("lab.xml", LAB)):
        (tmp_path / name).write_text(text, encoding="utf-8")
    held = [script.held_by(tmp_path / name) for name in ("virtual.xml", "lab.xml")]
    head, access_point, found = script.table(*held).splitlines()
    assert head.split() == ["contract", "virtual", "lab"]
    assert access_point.startswith("access point")
    assert "1 passed, 1 failed (4 s)" in access_point
    assert access_point.endswith("1 passed, 1 failed (41 s)")
    assert "the lab's alone" in found
    assert found.endswith("1 passed (4 s)")


def test_a_place_that_left_no_results_is_told(script: ModuleType, tmp_path: Path) -> None:
    (tmp_path / "virtual.xml").write_text(VIRTUAL, encoding="utf-8")
    table = script.table(script.held_by(tmp_path / "virtual.xml"), script.held_by(tmp_path / "lab.xml"))
    assert all(line.endswith("not run") for line in table.splitlines()[1:])
