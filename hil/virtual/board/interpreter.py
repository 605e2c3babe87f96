"""The process in which the virtual board's firmware runs: MicroPython where there is one, CPython elsewhere."""

import asyncio
import contextlib
import ctypes
import fcntl
import json
import os
import shutil
import signal
import sys
from collections.abc import Callable, Mapping
from importlib.util import find_spec
from pathlib import Path
from typing import BinaryIO

from hil.virtual.board.serial_port import LINE_RATE_BAUD

__all__ = ["Interpreter", "RunningFirmware", "Standby"]

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
NEXT_AFTER_S = 1.0
"""Unit seconds from a start to the loading of the interpreter for the next: by then the firmware has its lamp on."""
NANO = 1e-9
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
        micropython = _micropython() if wanted == "micropython" else None
        self.name = "cpython" if micropython is None else "micropython"
        self._arguments = [self.name, *(micropython or ())]

    def command(self) -> list[str]:
        """Return the command that loads it and waits for the program to run, which `RunningFirmware.go` tells it."""
        return [sys.executable, str(SHIMS / "standby.py"), *self._arguments]

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


def _micropython() -> list[str] | None:
    """Where it is, for `standby.py`: nothing where it is a library of this Python, else a path; None if nowhere."""
    if find_spec("micropython_unix") is not None:
        return []
    program = shutil.which("micropython")
    return [program] if program else None


class RunningFirmware:
    """One run of the interpreter, from start to end."""

    def __init__(self, process: asyncio.subprocess.Process, output: asyncio.StreamReader, speed: float) -> None:
        """Use `start` instead."""
        self._process, self._output = process, output
        self._rate = LINE_RATE_BYTES * speed
        self._killed = False
        self._waited_s, self._account = 0.0, f"/proc/{process.pid}/schedstat"

    @classmethod
    async def load(cls, interpreter: Interpreter, speed: float) -> "RunningFirmware":
        """Load the interpreter, which then waits for `go`."""
        output, transport, chip_end = await _lay_output_line()
        try:
            process = await asyncio.create_subprocess_exec(
                *interpreter.command(),
                env=interpreter.environment(),
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

    @property
    def ended(self) -> bool:
        """Whether the process is over, by what the kernel says now: the event loop hears of it a little later."""
        if self._process.returncode is not None:
            return True
        try:
            return os.waitid(os.P_PID, self._process.pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is not None
        except ChildProcessError:
            return True

    def go(self, folder: Path, link: Mapping[str, str]) -> None:
        """Run the application in `folder`; `link` is its environment beside the interpreter's own."""
        self.kept_waiting_s()  # while it was loaded nobody watched it
        self.write(json.dumps({"folder": str(folder), "environment": dict(link)}).encode() + b"\n")

    def kept_waiting_s(self) -> float:
        """How long the machine kept it waiting for a processor, since this was asked last; 0 where the kernel does not tell."""
        before_s = self._waited_s
        # Asked fifty times a second: a file object would cost the lab's processor much.
        with contextlib.suppress(OSError):  # it is gone, or its kernel keeps no account
            account = os.open(self._account, os.O_RDONLY)
            try:
                _ran_ns, waited_ns, _turns = os.read(account, 64).split()  # Linux' sched-stats, "/proc/<pid>/schedstat"
            finally:
                os.close(account)
            self._waited_s = int(waited_ns) * NANO
        return self._waited_s - before_s

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


class Standby:
    """Has an interpreter loaded for the next life of the chip, so that a busy machine does not make its start late."""

    def __init__(self, interpreter: Interpreter, speed: float) -> None:
        """Use `prepare` to load the first."""
        self._interpreter, self._speed = interpreter, speed
        self._wanted = asyncio.Event()
        self._next: asyncio.Task[RunningFirmware] | None = None

    def prepare(self, after_s: float = 0.0) -> "asyncio.Task[RunningFirmware]":
        """Load the next one in the background, so many unit seconds from now at the latest."""
        self._wanted.clear()
        self._next = asyncio.create_task(self._load(after_s / self._speed))
        return self._next

    async def take(self) -> RunningFirmware:
        """Return the one that is loaded, or being loaded, and prepare another; if cancelled, it is left for the next life."""
        ready = self._next if self._next is not None and not _is_lost(self._next) else self.prepare()
        self._wanted.set()
        taken = await asyncio.shield(ready)
        self.prepare(NEXT_AFTER_S)
        return taken

    async def close(self) -> None:
        """End the one that waits."""
        if self._next is None:
            return
        self._next.cancel()
        with contextlib.suppress(asyncio.CancelledError, OSError):
            await (await self._next).bury(lambda _: None)

    async def _load(self, after_s: float) -> RunningFirmware:
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._wanted.wait(), after_s)
        return await RunningFirmware.load(self._interpreter, self._speed)


def _is_lost(loading: "asyncio.Task[RunningFirmware]") -> bool:
    return loading.done() and (loading.exception() is not None or loading.result().ended)


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
