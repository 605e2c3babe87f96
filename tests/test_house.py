"""The rules of the house, read off the source with `ast`: arrows, purity, sizes, names, and what the README promises.

Each rule is the design page's or the code standard's. An exception is a line here, with its reason; one that is no longer
needed fails too.
"""

import ast
import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import networkx as nx
import pytest
from typer.testing import CliRunner

from hil.cli.main import app

ROOT = Path(__file__).resolve().parent.parent
TOPS = {"hil": ROOT / "hil", "hil_fixtures": ROOT / "fixtures"}
#: Programs that run elsewhere, in the unit or under its interpreter: not modules of the package.
FOREIGN = ("virtual/firmware", "virtual/shims")

# What each package may import of ours, beside itself: the design's arrows, and what lies below along them.
CORE = {"hil.core"}
PURE = CORE | {"hil.lamp", "hil.page"}
JUDGING = PURE | {"hil.evidence", "hil.judge"}
DRIVING = PURE | {"hil.instruments", "hil.legs", "hil.evidence"}
ALL = JUDGING | DRIVING | {"hil.drive", "hil.sheet"}
MAY_IMPORT = {
    "hil.core": set[str](),
    "hil.lamp": CORE,
    "hil.page": CORE,
    "hil.evidence": PURE,
    "hil.judge": PURE | {"hil.evidence"},
    "hil.sheet": JUDGING,
    "hil.instruments": CORE
    | {"hil.page", "hil.lamp"},  # a form is sent as hil.page made it; hil.lamp tells a moved camera
    "hil.legs": PURE | {"hil.instruments"},
    "hil.drive": DRIVING,
    "hil_fixtures": ALL,
    "hil.cli": ALL | {"hil_fixtures"},
    "hil.virtual": CORE | {"hil.instruments"},
}
#: The world's programs stand for things outside the tool: they share no code with what judges them.
WORLD = ("hil.virtual.air", "hil.virtual.board", "hil.virtual.desk", "hil.virtual.scene")
WORLD_MAY_IMPORT = {"hil.core.errors"}
VIRTUAL_USERS = {
    "hil.drive.load_bench": "the bench loader",
    "hil_fixtures.session": "where the demo's files lie",
    "hil.cli.bench": "where the demo's files lie",
    "hil.cli.product": "where the demo's files lie",
    "hil.cli.product_draft": "where the demo's files lie",
    "hil.cli.route": "where the demo's files lie",
    "hil.cli.challenged_unit": "builds the known-bad units of the demo, to be judged",
}
#: Modules of the standard library that pure packages may use: nothing that opens, waits or tells the time.
PURE_STDLIB = {
    "__future__", "base64", "binascii", "bisect", "collections", "dataclasses", "decimal", "enum", "fractions", "functools",
    "hashlib", "html", "inspect", "itertools", "json", "math", "operator", "re", "statistics", "string", "struct",
    "typing", "unicodedata", "urllib.parse", "weakref", "xml.etree.ElementTree",
}  # fmt: skip
PURE_PACKAGES = ("hil.lamp", "hil.page", "hil.evidence", "hil.judge")
PURE_LIBRARIES = {"numpy", "cv2", "scipy", "html5lib", "webencodings", "pydantic"}
OPENS = {"open", "print", "input", "exec", "eval", "compile", "__import__", "breakpoint"}
READS_FILES = {
    "read_text", "read_bytes", "write_text", "write_bytes", "unlink", "mkdir", "iterdir", "glob", "rglob", "exists",
    "fromfile", "tofile", "load", "save", "savez", "loadtxt", "savetxt", "genfromtxt", "memmap", "imread", "imwrite",
    "imshow", "VideoCapture", "VideoWriter", "FileStorage",
}  # fmt: skip

LONGEST_MODULE, LONGEST_FUNCTION, MOST_MODULES = 500, 60, 12
LARGE_FOLDERS = {
    "hil/core": "words that everything shares; each module is one of them",
    "hil/evidence": "one module a view",
    "hil/instruments": "one module an instrument, and the endpoint's three parts",
    "hil/lamp": "one module a thing to know of a lamp, and two on how far such an instrument is to be trusted",
    "hil/legs": "one module a family of legs",
    "hil/virtual/air": "one module a kind of what travels, and the roles of a radio",
    "hil/page": "one module a thing to know of a page",
    "hil/sheet": "one module a part of the sheet",
    "hil/cli": "one module a command, and the screen's parts",
}
INIT_WITH_MORE = {
    "hil/virtual/__init__.py": "where the demo's files lie",
    "fixtures/__init__.py": "pytest wants to be told before the modules are imported",
}
PRODUCT_NAMES = re.compile(r"mossgate|\bmv-?2\b|esp-?(32|8266)", re.IGNORECASE)
MAY_NAME_THE_DEMO = {
    "hil/cli/accept.py": "tells what is judged where no product file is given",
    "hil/cli/product.py": "writes the demo's product file",
    "hil/cli/route.py": "tells whose route it is where no product file is given",
}
VAGUE = re.compile(r"^(utils?|helpers?|commons?|misc|base\d*|stuff|tools?)$")


@dataclass(frozen=True)
class Module:
    """A module of ours: its dotted name, its file, its tree."""

    name: str
    file: Path
    tree: ast.Module

    @property
    def package(self) -> str:
        """The package its arrows begin from."""
        return self.name.split(".")[0] if self.name.startswith("hil_fixtures") else ".".join(self.name.split(".")[:2])

    @property
    def path(self) -> str:
        """As the tables here write it."""
        return self.file.relative_to(ROOT).as_posix()


@cache
def modules() -> dict[str, Module]:
    found = {}
    for top, folder in TOPS.items():
        for file in sorted(folder.rglob("*.py")):
            inside = file.relative_to(folder)
            if inside.as_posix().startswith(FOREIGN):
                continue
            parts = [top, *inside.with_suffix("").parts]
            name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
            found[name] = Module(name, file, ast.parse(file.read_text(encoding="utf-8")))
    return found


def is_for_types(node: ast.AST) -> bool:
    return isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)


def nodes(tree: ast.AST, *, types_too: bool = False) -> Iterator[ast.AST]:
    """Every node, but for what only type checkers read."""
    for child in ast.iter_child_nodes(tree):
        if types_too or not is_for_types(child):
            yield child
            yield from nodes(child, types_too=types_too)


def imported(tree: ast.AST, *, types_too: bool = False) -> set[str]:
    """Dotted names a tree imports, in functions too; `from a import b` counts as a.b where that is a module."""
    names = set()
    for node in nodes(tree, types_too=types_too):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute here"
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                names.add(whole if whole in modules() else str(node.module))
    return names


def is_ours(name: str) -> bool:
    return name.partition(".")[0] in TOPS


def package_of(name: str) -> str:
    return "hil_fixtures" if name.startswith("hil_fixtures") else ".".join(name.split(".")[:2])


def test_the_source_is_found() -> None:
    assert {"hil.core.timeline", "hil.judge.rules", "hil.virtual.board.chip", "hil_fixtures.loop"} <= set(modules())
    assert {module.package for module in modules().values()} - {"hil"} == set(MAY_IMPORT)


@pytest.mark.parametrize("package", MAY_IMPORT)
def test_arrows_point_down(package: str) -> None:
    wrong = {
        f"{module.name} imports {name}"
        for module in modules().values()
        if module.package == package
        for name in imported(module.tree, types_too=True)
        if is_ours(name)
        and package_of(name) not in {package, *MAY_IMPORT[package]}
        and not (package_of(name) == "hil.virtual" and module.name in VIRTUAL_USERS)
    }
    assert not wrong


def test_those_who_may_import_the_virtual_bench_do() -> None:
    users = {
        module.name
        for module in modules().values()
        if module.package != "hil.virtual"
        and any(package_of(name) == "hil.virtual" for name in imported(module.tree) if is_ours(name))
    }
    assert users == set(VIRTUAL_USERS)


def test_the_world_shares_no_code_with_what_judges_it() -> None:
    wrong = {
        f"{module.name} imports {name}"
        for module in modules().values()
        if module.name.startswith(WORLD)
        for name in imported(module.tree, types_too=True)
        if is_ours(name) and package_of(name) != "hil.virtual" and name not in WORLD_MAY_IMPORT
    }
    assert not wrong


def test_the_world_does_not_import_the_bench_around_it() -> None:
    bench = {module.name for module in modules().values() if re.fullmatch(r"hil\.virtual\.bench\w*", module.name)}
    assert bench
    wrong = {
        f"{module.name} imports {name}"
        for module in modules().values()
        if module.name.startswith(WORLD)
        for name in imported(module.tree)
        if name in bench
    }
    assert not wrong


def test_what_runs_in_the_unit_imports_nothing_of_the_tool() -> None:
    files = [file for part in FOREIGN for file in (ROOT / "hil" / part).rglob("*.py")]
    assert files
    wrong = [
        f"{file.name} imports {name}"
        for file in files
        for name in imported(ast.parse(file.read_text(encoding="utf-8")))
        if is_ours(name)
    ]
    assert not wrong


def test_drive_imports_no_pytest() -> None:
    drive = [module for module in modules().values() if module.package == "hil.drive"]
    assert drive
    assert not [m.name for m in drive if any(name.split(".")[0] in ("pytest", "_pytest") for name in imported(m.tree))]


def test_no_import_goes_round_in_a_circle() -> None:
    graph = nx.DiGraph()
    for module in modules().values():
        graph.add_edges_from((module.name, name) for name in imported(module.tree) if name in modules())
    assert graph.number_of_edges() > 100
    graph.remove_edges_from(nx.selfloop_edges(graph))
    assert [sorted(circle) for circle in nx.strongly_connected_components(graph) if len(circle) > 1] == []


def test_our_own_modules_are_imported_at_the_head() -> None:
    wrong = [
        f"{module.path}:{node.lineno}"
        for module in modules().values()
        for function in ast.walk(module.tree)
        if isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef)
        for node in ast.walk(function)
        if isinstance(node, ast.Import | ast.ImportFrom)
        and any(is_ours(name) for name in imported(ast.Module([node], [])))
    ]
    assert not wrong


@pytest.mark.parametrize("package", PURE_PACKAGES)
def test_what_decides_opens_nothing(package: str) -> None:
    pure = [module for module in modules().values() if module.package == package]
    assert pure
    wrong = []
    for module in pure:
        for name in imported(module.tree):
            top = name.split(".")[0]
            if not is_ours(name) and not {name, top} & (PURE_STDLIB | PURE_LIBRARIES):
                wrong.append(f"{module.name} imports {name}")
        for node in ast.walk(module.tree):
            called = node.func if isinstance(node, ast.Call) else None
            if isinstance(called, ast.Name) and called.id in OPENS:
                wrong.append(f"{module.path}:{called.lineno} calls {called.id}")
            if isinstance(called, ast.Attribute) and called.attr in READS_FILES:
                wrong.append(f"{module.path}:{called.lineno} calls .{called.attr}")
    assert not wrong


def test_no_product_board_or_chip_is_known_by_name() -> None:
    naming = set()
    for top in TOPS.values():
        for file in sorted(top.rglob("*")):
            path = file.relative_to(ROOT).as_posix()
            if path.startswith("hil/virtual/") or file.suffix not in {".py", ".j2", ".typ", ".css"}:
                continue
            if PRODUCT_NAMES.search(file.read_text(encoding="utf-8")):
                naming.add(path)
    assert naming == set(MAY_NAME_THE_DEMO)


def test_modules_are_short_and_say_what_they_hold() -> None:
    long = [m.path for m in modules().values() if len(m.file.read_text(encoding="utf-8").splitlines()) > LONGEST_MODULE]
    assert not long
    mute = [m.path for m in modules().values() if m.tree.body and ast.get_docstring(m.tree) is None]
    assert not mute


def lines_of(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    body = function.body[1:] if ast.get_docstring(function) is not None else function.body
    head = function.body[0].lineno - function.lineno
    return head + (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else head


def test_functions_are_short() -> None:
    functions = [
        (module.path, node)
        for module in modules().values()
        for node in ast.walk(module.tree)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    ]
    assert len(functions) > 500
    assert not [f"{path}: {node.name}" for path, node in functions if lines_of(node) > LONGEST_FUNCTION]
    # Nine of ten within 30 lines: the code standard.
    assert sum(lines_of(node) <= 30 for _, node in functions) >= 0.9 * len(functions)


def test_folders_hold_few_modules() -> None:
    counts: dict[str, int] = {}
    for module in modules().values():
        if module.file.name not in ("__init__.py", "__main__.py"):
            folder = module.file.parent.relative_to(ROOT).as_posix()
            counts[folder] = counts.get(folder, 0) + 1
    assert {folder for folder, count in counts.items() if count > MOST_MODULES} == set(LARGE_FOLDERS)


def test_init_files_only_export() -> None:
    more = {
        module.path
        for module in modules().values()
        if module.file.name == "__init__.py" and not all(map(_only_exports, module.tree.body))
    }
    assert more == set(INIT_WITH_MORE)


def _only_exports(node: ast.stmt) -> bool:
    is_text = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    is_list = isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__"
    return is_text or is_list or isinstance(node, ast.ImportFrom)


def test_names_say_something() -> None:
    stems = [part for module in modules().values() for part in module.name.split(".")]
    stems += [file.stem for file in (ROOT / "tests").rglob("*.py")]
    assert not sorted({stem for stem in stems if VAGUE.match(stem.removeprefix("test_"))})


def test_tests_stand_where_what_they_test_stands() -> None:
    """Folders of tests are as in hil/, beside whole runs, contracts, a second product, what is shared, the suite."""
    folders = {path.name for path in (ROOT / "tests").iterdir() if path.is_dir() and any(path.rglob("*.py"))}
    own = {path.name for path in (ROOT / "hil").iterdir() if path.is_dir()} | {"fixtures"}
    assert folders - own <= {"acceptance", "support", "whole", "ci", "second_product", "contracts"}


def test_every_test_module_says_what_it_holds() -> None:
    files = [*(ROOT / "tests").rglob("test_*.py"), *(ROOT / "tests").rglob("conftest.py")]
    mute = [f.relative_to(ROOT).as_posix() for f in files if ast.get_docstring(ast.parse(f.read_text("utf-8"))) is None]
    assert not mute


README = (ROOT / "README.md").read_text(encoding="utf-8") if (ROOT / "README.md").exists() else ""


def test_the_readme_s_scripts_exist_and_can_be_run() -> None:
    scripts = set(re.findall(r"\./(ci/[\w./-]+)", README))
    assert scripts
    assert not [name for name in scripts if not (ROOT / name).stat().st_mode & 0o111]


def test_the_readme_s_commands_exist() -> None:
    commands = {
        tuple(word for word in found.split() if re.fullmatch(r"[a-z]+", word))
        for found in re.findall(r"`hil ((?:[a-z]+ ?)+)", README)
    }
    assert ("accept",) in commands
    known = {command for command in commands if _help_of(*command) == 0}
    assert commands == known


def _help_of(*command: str) -> int:
    return CliRunner().invoke(app, [*command, "--help"]).exit_code


def test_no_file_speaks_of_where_it_was_made() -> None:
    """No path of the workshop, no host of a package registry, in any file that is kept."""
    git = shutil.which("git")
    if git is None or not (ROOT / ".git").exists():
        pytest.skip("not a checkout")
    listed = subprocess.run([git, "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True, timeout=30).stdout
    banned = re.compile(
        "|".join(("/" + "work/", "/" + "tmp/", "pypi" + r"\.org", "registry" + r"\.npmjs", "/" + "root/"))
    )
    speaking = []
    for name in listed.splitlines():
        file = ROOT / name
        if file.suffix in {".py", ".md", ".toml", ".sh", ".yml", ".yaml", ".j2", ".typ", ""} and file.is_file():
            text = file.read_text(encoding="utf-8", errors="replace")
            speaking += [f"{name}: {found.group()}" for found in banned.finditer(text)]
    assert not speaking
