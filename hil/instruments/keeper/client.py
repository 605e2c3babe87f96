"""The run's way to the keeper: started when the first room is wanted, ended with the last."""

import os
import socket
import subprocess
import sys
import threading
from collections.abc import Sequence
from pathlib import Path

from hil.core.errors import BenchError, InputError
from hil.instruments.keeper.kernel_calls import KEEPERS
from hil.instruments.keeper.wire import Message, close_all, receive, send

INSTALLED = Path("/usr/local/sbin/hil-keeper")
REMEDY = f"Be root, or install the keeper: see README, {INSTALLED}."
ANSWER_S, END_S = 60.0, 10.0
SERVE = "hil.instruments.keeper.serve"


class Keeper:
    """The one of this process; its users say `want` before they ask, and `spare` after."""

    def __init__(self) -> None:
        """Nothing is started yet."""
        self._lock = threading.Lock()
        self._wanted = 0
        self._end: socket.socket | None = None
        self._process: subprocess.Popen[bytes] | None = None

    def want(self) -> None:
        """Have it run.

        Raises:
            BenchError: it cannot be started.
        """
        with self._lock:
            if self._process is None:
                self._start()
            self._wanted += 1

    def spare(self) -> None:
        """Want it no more; with nobody left who does it ends, and all that it started."""
        with self._lock:
            self._wanted -= 1
            if self._wanted == 0:
                self._stop()

    def ask(self, what: str, files: Sequence[int] = (), **arguments: object) -> tuple[Message, list[int]]:
        """Ask for something, with open files that it is to have; returns the answer, and the files that came with it.

        Raises:
            BenchError: it did not go, or the keeper is gone.
            InputError: the keeper refuses what was asked for.
        """
        with self._lock:
            if self._end is None:
                raise BenchError("keeper", f"is gone, asked for {what}.", REMEDY)
            try:
                send(self._end, {"asked": what, **arguments}, files)
                came = receive(self._end)
            except (OSError, ValueError) as error:
                self._hang_up()  # a late answer would be taken for that to the next
                raise BenchError("keeper", f"gives no answer to {what}: {error}.", REMEDY) from error
            if came is None:
                self._hang_up()
                raise BenchError("keeper", f"ended, asked for {what}.", REMEDY)
        answer, received = came
        if "refused" in answer:
            close_all(received)
            raise InputError("keeper", f"refuses {what}: {answer['refused']}.", "")
        if "failed" in answer:
            close_all(received)
            raise BenchError("keeper", f"{answer['failed']}.", REMEDY)
        return answer, received

    def _start(self) -> None:
        own, others = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        own.settimeout(ANSWER_S)
        with others:
            try:
                self._process = subprocess.Popen(
                    _words(), stdin=others.fileno(), start_new_session=True, env=_environment()
                )
            except OSError as error:
                own.close()
                raise BenchError("keeper", f"cannot be started: {error}.", REMEDY) from error
        self._end = own

    def _stop(self) -> None:
        self._hang_up()
        if self._process is not None:
            try:
                self._process.wait(END_S)
            except subprocess.TimeoutExpired:
                self._process.kill()
                self._process.wait(END_S)
        self._process = None

    def _hang_up(self) -> None:
        if self._end is not None:
            self._end.close()
        self._end = None


def _words() -> list[str]:
    """As a child, where this process may all that it may; else as installed, by `sudo`."""
    if has_rights():
        return [sys.executable, "-I", "-m", SERVE]
    return ["sudo", "-n", str(INSTALLED)]


def has_rights() -> bool:
    """Whether this process has the keeper's three rights itself."""
    told = Path("/proc/self/status").read_text(encoding="ascii")
    effective = int(next(line for line in told.splitlines() if line.startswith("CapEff:")).split()[1], 16)
    return all(effective >> right & 1 for right in KEEPERS)


def _environment() -> dict[str, str]:
    """Without what `sudo` says of who called it: a child stays who its parent is."""
    return {name: value for name, value in os.environ.items() if not name.startswith("SUDO_")}


KEEPER = Keeper()
