"""The public list of the lamp reader: what it names exists, and nothing here opens a file, socket or clock."""

import ast
from pathlib import Path

import hil.lamp

ALLOWED = {"math", "numpy", "numpy.typing", "cv2", "collections.abc", "dataclasses", "itertools"}
ALLOWED |= {"scipy.special"}  # what qualifies an instrument: tails of distributions


def test_every_public_name_exists_once() -> None:
    assert len(set(hil.lamp.__all__)) == len(hil.lamp.__all__)
    assert all(hasattr(hil.lamp, name) for name in hil.lamp.__all__)


def test_the_reader_imports_numbers_and_itself_only() -> None:
    for source in Path(hil.lamp.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            for name in names:
                assert name in ALLOWED or name.startswith("hil.lamp"), f"{source.name} imports {name}"
