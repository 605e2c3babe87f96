"""Holds README and DEVELOPERS against the thing itself: outputs against a real run, commands and tables against the code."""

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest
from support.runs import Printed, hil, plain_pytest

from hil.legs.leg import DECLARED, PARAMETRISED

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def load_paste() -> ModuleType:
    """The tool that pastes outputs into the README."""
    spec = importlib.util.spec_from_file_location("paste", ROOT / "ci" / "readme" / "paste.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


PASTE = load_paste()


def test_the_readme_shows_what_accept_really_prints(quick_accept: Printed) -> None:
    shown = PASTE.blocks(README)[0]
    assert PASTE.masked(shown).splitlines() == PASTE.masked(quick_accept.out).splitlines(), (
        "README.md is out of date: python ci/readme/paste.py FILE_WITH_OUTPUT FILE_WITH_CHECK_OUTPUT"
    )


def test_the_readme_shows_what_its_own_check_prints(quick_run: Path, tmp_path: Path) -> None:
    check = re.search(r"```python\n(.*?)```", README, re.DOTALL)
    assert check is not None
    (tmp_path / "test_vent.py").write_text(check.group(1), encoding="utf-8")
    ended = plain_pytest(
        "-q", "test_vent.py", "--hil-run", str(quick_run), "--hil-into", str(tmp_path / "out"), cwd=tmp_path
    )
    assert ended.code == 1
    shown = PASTE.masked(PASTE.blocks(README)[1]).strip()
    assert shown in PASTE.masked(ended.out)
    assert "fail: the vent is half open" in shown


@pytest.mark.parametrize("words", sorted(set(re.findall(r"`hil ([a-z]+(?: (?:check|example))?)", README))))
def test_every_command_in_the_readme_exists(words: str, tmp_path: Path) -> None:
    ended = hil(*words.split(), "--help", cwd=tmp_path)
    assert ended.code == 0, ended.err
    assert "Usage" in ended.out


def test_every_option_in_the_readme_exists(tmp_path: Path) -> None:
    usage = hil("accept", "--help", cwd=tmp_path, environment={"COLUMNS": "200"}).out
    row = re.search(r"`hil accept (.*?)`", README)
    assert row is not None
    for option in re.findall(r"(--?[a-z-]+)", row.group(1)):
        assert option in usage


def test_every_file_the_documents_name_exists() -> None:
    for text in (README, DEVELOPERS):
        for name in re.findall(r"\]\((?!http)([^)#]+)\)", text):
            assert (ROOT / name).exists(), name
        for name in re.findall(r"`((?:hil|tests|fixtures|ci)/[\w/.-]+\.(?:py|toml|sh))`", text):
            assert (ROOT / name).exists(), name


def test_the_stated_python_is_the_packages_own() -> None:
    stated = re.search(r'requires-python = ">=([\d.]+)"', (ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert stated is not None
    assert f"Python {stated.group(1)} or newer" in README


def test_the_table_of_legs_is_that_of_the_declarations() -> None:
    shipped = [
        leg for leg in (*DECLARED.values(), *PARAMETRISED.values()) if leg.drive.__module__.startswith("hil.legs")
    ]
    rows = "\n".join(f"| `{leg.name}` | {leg.begins} | {leg.ends} | {leg.title} |" for leg in shipped)
    assert rows in DEVELOPERS, f"DEVELOPERS.md is out of date: paste this table of legs:\n{rows}"
