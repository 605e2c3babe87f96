"""Holds the way the firmware is started against the interpreters themselves: MicroPython knows no names above 255 octets."""

import asyncio
import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from hil.virtual.board.interpreter import Interpreter, RunningFirmware

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


SPINS = "def run(_=None):\n    while True:\n        pass\nif __name__ == '__main__':\n    run()\n"
SHARED_S = 0.5


@pytest.mark.skipif(
    not Path("/proc/self/schedstat").exists(), reason="this kernel does not tell how long a process waits"
)
def test_how_long_the_machine_kept_the_firmware_waiting_is_told(interpreter: Interpreter, tmp_path: Path) -> None:
    """Beside another program on the one processor that both may have: what it did not get of it, it waited for (proc(5))."""
    (tmp_path / "main.py").write_text(SPINS, encoding="utf-8")

    async def share() -> tuple[float, float, float]:
        firmware = await RunningFirmware.load(interpreter, 1.0)
        process, one = firmware._process.pid, min(os.sched_getaffinity(0))
        os.sched_setaffinity(process, {one})
        spins = [sys.executable, "-c", f"import os\nos.sched_setaffinity(0, {{{one}}})\nwhile True: pass"]
        with subprocess.Popen(spins) as beside:
            try:
                firmware.go(tmp_path, {})
                begin_s, used_s = time.monotonic(), processor_s(process)
                while processor_s(process) < used_s + SHARED_S:
                    await asyncio.sleep(0.02)
                return firmware.kept_waiting_s(), processor_s(process) - used_s, time.monotonic() - begin_s
            finally:
                beside.kill()
                await firmware.bury(lambda _: None)

    waited_s, used_s, took_s = asyncio.run(asyncio.wait_for(share(), LIMIT_S))
    assert waited_s > 0.1
    assert waited_s + used_s == pytest.approx(took_s, abs=0.15)


def processor_s(process: int) -> float:
    """User and system time, by the kernel's own account (proc_pid_stat(5), fields 14 and 15)."""
    told = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")
