"""The process in which the virtual board's firmware runs: MicroPython where there is one, CPython elsewhere."""

import asyncio
import contextlib
import ctypes
import fcntl
import os
import shutil
import signal
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import BinaryIO

from hil.virtual.board.serial_port import LINE_RATE_BAUD

__all__ = ["Interpreter", "RunningFirmware"]

SHIMS = Path(__file__).parents[1] / "shims"
LINE_RATE_BYTES = LINE_RATE_BAUD / 10
"""Bytes per unit second on the console line: a start and a stop bit frame eight data bits."""
FIFO_BYTES = 128
"""What a chip's transmitter holds before a write has to wait (a usual size for this class of chip)."""
PIPE_BYTES = 4096
"""Smallest size of a pipe on Linux: one page."""
STUCK_INPUT = 4096
"""Unread input bytes after which the chip's receiver overruns and loses the rest."""
DRAIN_LIMIT_S = 2.0
"""How long the output of a killed process may take to end, real seconds."""
PR_SET_PDEATHSIG = 1
"""From <linux/prctl.h>: the signal this process gets when the thread that started it ends."""

_libc = ctypes.CDLL(None, use_errno=True) if sys.platform == "linux" else None


def _die_with_board() -> None:
    # Runs between fork and exec, so it only calls what is already loaded.
    if _libc is not None:
        _libc.prctl(PR_SET_PDEATHSIG, signal.SIGKILL)


class Interpreter:
    """Which interpreter runs the firmware, and how it is called."""

    def __init__(self, wanted: str) -> None:
        """Take "micropython" if it is wanted and there is one, else "cpython"."""
        self._micropython = _find_micropython() if wanted == "micropython" else None
        self.name = "micropython" if self._micropython else "cpython"

    def command(self, folder: Path) -> list[str]:
        """Return the command that runs the application unpacked in `folder`."""
        if self._micropython:
            return [self._micropython, "-m", "main"]  # by name: a path of its own would come first, however long
        return [sys.executable, str(SHIMS / "cpython_start.py"), str(folder)]

    def environment(self) -> dict[str, str]:
        """Return what the interpreter itself wants of the environment."""
        return {
            # The firmware runs in its own folder. Named by its path it could not be imported from where that is deep:
            # MicroPython knows no names above some 250 characters.
            "MICROPYPATH": f".frozen:{SHIMS / 'virtual'}:.",
            "PATH": os.defpath,
            "PYTHONDONTWRITEBYTECODE": "1",
            "PYTHONUNBUFFERED": "1",
        }


def _find_micropython() -> str | None:
    beside = Path(sys.executable).with_name("micropython")
    return str(beside) if beside.exists() else shutil.which("micropython")


class RunningFirmware:
    """One run of the interpreter, from start to end."""

    def __init__(self, process: asyncio.subprocess.Process, output: asyncio.StreamReader, speed: float) -> None:
        """Use `start` instead."""
        self._process, self._output = process, output
        self._rate = LINE_RATE_BYTES * speed
        self._killed = False

    @classmethod
    async def start(
        cls, interpreter: Interpreter, folder: Path, link: Mapping[str, str], speed: float
    ) -> "RunningFirmware":
        """Start the application in `folder`; `link` is its environment beside the interpreter's own."""
        output, transport, chip_end = await _lay_output_line()
        try:
            process = await asyncio.create_subprocess_exec(
                *interpreter.command(folder),
                cwd=folder,
                env={**interpreter.environment(), **link},
                stdin=asyncio.subprocess.PIPE,
                stdout=chip_end,
                stderr=asyncio.subprocess.STDOUT,
                preexec_fn=_die_with_board,
            )
        except BaseException:
            transport.close()
            raise
        finally:
            chip_end.close()
        return cls(process, output, speed)

    def write(self, data: bytes) -> None:
        """Send bytes to the firmware's standard input; what it does not read in time is lost."""
        to_chip = self._process.stdin
        if to_chip is None or to_chip.is_closing() or to_chip.transport.get_write_buffer_size() > STUCK_INPUT:
            return
        to_chip.write(data)

    def kill(self) -> None:
        """End the process now, whatever it is doing."""
        if self._killed or self._process.returncode is not None:
            return
        self._killed = True
        # Not Process.kill: that may take the exit status away from the event loop, which then warns of a lost child.
        with contextlib.suppress(ProcessLookupError):
            os.kill(self._process.pid, signal.SIGKILL)

    async def run(self, say: Callable[[bytes], None]) -> None:
        """Hand on the output, no faster than the line carries it, until the process has ended."""
        await self._pump(say)
        await self._process.wait()

    async def bury(self, say: Callable[[bytes], None]) -> None:
        """Kill the process, hand on what it had still said, and wait until it is gone."""
        self.kill()
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self.run(say), DRAIN_LIMIT_S)

    async def _pump(self, say: Callable[[bytes], None]) -> None:
        clock = asyncio.get_running_loop().time
        line_free = clock()
        while data := await self._output.read(512):
            say(data)
            line_free = max(clock(), line_free) + len(data) / self._rate
            if not self._killed:
                await asyncio.sleep(line_free - clock() - FIFO_BYTES / self._rate)


async def _lay_output_line() -> tuple[asyncio.StreamReader, asyncio.ReadTransport, BinaryIO]:
    """Return our end of a pipe, ready to read, and the chip's end; it holds little, so that a flood has to wait."""
    board_fd, chip_fd = os.pipe()
    board_end, chip_end = os.fdopen(board_fd, "rb", buffering=0), os.fdopen(chip_fd, "wb", buffering=0)
    if sys.platform == "linux":
        fcntl.fcntl(chip_end, fcntl.F_SETPIPE_SZ, PIPE_BYTES)
    output = asyncio.StreamReader(limit=PIPE_BYTES // 4)
    transport, _ = await asyncio.get_running_loop().connect_read_pipe(
        lambda: asyncio.StreamReaderProtocol(output), board_end
    )
    return output, transport, chip_end
