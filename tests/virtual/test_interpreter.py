"""Holds the way the firmware is started against the interpreters themselves: MicroPython knows no names above 255 octets."""

import json
import subprocess
from pathlib import Path

import pytest

from hil.virtual.board.interpreter import Interpreter

LIMIT_S = 30.0
PROGRAM = """
import os
import sys
import beside
print(beside.WORD, os.getenv("HIL_LINK"), sys.stdin.readline().strip())
"""


def run(interpreter: Interpreter, said: bytes) -> str:
    """Load an interpreter, say something to it, and return what came of it."""
    done = subprocess.run(
        interpreter.command(),
        env=interpreter.environment(),
        input=said,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        timeout=LIMIT_S,
        check=False,
    )
    return done.stdout.decode()


@pytest.fixture(params=["micropython", "cpython"])
def interpreter(request: pytest.FixtureRequest) -> Interpreter:
    """Each that there is."""
    made = Interpreter(request.param)
    if made.name != request.param:
        pytest.skip(f"no {request.param} for this machine")
    return made


def test_what_waits_runs_the_program_from_a_deep_folder_and_leaves_it_the_console(
    interpreter: Interpreter, tmp_path: Path
) -> None:
    folder = tmp_path.joinpath(*[f"{'deep' * 10}{level}" for level in range(8)])
    assert len(str(folder)) > 300
    folder.mkdir(parents=True)
    body = PROGRAM.replace("\n", "\n    ")  # CPython's start calls `run`, MicroPython's the module itself
    (folder / "main.py").write_text(
        f"def run(_=None):{body}\nif __name__ == '__main__':\n    run()\n", encoding="utf-8"
    )
    (folder / "beside.py").write_text("WORD = 'imported'\n", encoding="utf-8")
    life = {"folder": str(folder), "environment": {"HIL_LINK": "4711", "HIL_TICK_RATE": "4.0"}}
    assert run(interpreter, json.dumps(life).encode() + b"\nfirst words\nmore\n") == "imported 4711 first words\n"


def test_what_waits_for_a_board_that_ends_runs_nothing(interpreter: Interpreter) -> None:
    assert run(interpreter, b"") == ""
    assert run(interpreter, b'{"folder": ') == ""
