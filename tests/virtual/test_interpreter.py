"""Holds the way the firmware is started against the interpreters themselves: MicroPython knows no names above 255 octets."""

import subprocess
from pathlib import Path

import pytest

from hil.virtual.board.interpreter import Interpreter

LIMIT_S = 30.0


def test_firmware_runs_from_a_deep_folder(tmp_path: Path) -> None:
    folder = tmp_path.joinpath(*[f"{'deep' * 10}{level}" for level in range(8)])
    assert len(str(folder)) > 300
    folder.mkdir(parents=True)
    (folder / "main.py").write_text("import beside\nprint(beside.WORD)\n", encoding="utf-8")
    (folder / "beside.py").write_text("WORD = 'imported'\n", encoding="utf-8")
    interpreter = Interpreter("micropython")
    if interpreter.name != "micropython":
        pytest.skip("no MicroPython for this machine")
    done = subprocess.run(
        interpreter.command(folder),
        cwd=folder,
        env=interpreter.environment(),
        capture_output=True,
        text=True,
        timeout=LIMIT_S,
        check=False,
    )
    assert done.stdout == "imported\n", done.stdout + done.stderr
