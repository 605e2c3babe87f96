"""A network namespace of the bench's own: radios moved into it are nobody else's, and its addresses disturb nothing here.

What is started in it dies with this process, however that ends; a radio goes back to the host with the namespace.
"""

import contextlib
import errno
import fcntl
import os
import socket
import struct
import subprocess
import threading
import time
from collections.abc import Callable, Sequence
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import IO

from hil.core.errors import BenchError, InputError
from hil.instruments.host.kernel import INTERFACES, NAMED

__all__ = ["Namespace", "end_program"]

ORDER_S, END_S = 10.0, 3.0
BACK_S, POLL_S = 5.0, 0.05
ASK_FLAGS, FLAGS_REQUEST = 0x8913, "16sh22x"  # SIOCGIFFLAGS of linux/sockios.h, struct ifreq of linux/if.h
REMEDY = "The bench needs to be root, or to have CAP_NET_ADMIN and CAP_SYS_ADMIN."


class Namespace:
    """One of them, by its name, with the radios that are used in it."""

    def __init__(self, name: str, radios: Sequence[str]) -> None:
        """Make it and move radios here; one that a dead run left under this name goes first, and what it holds.

        Args:
            name: Of the namespace.
            radios: By their interfaces.

        Raises:
            InputError: there is no such interface, or it is no radio's.
            BenchError: this process may not, or a radio cannot be moved.
        """
        self.name = name
        self._radios: list[Path] = []
        self._phys: list[str] = []
        self._asks: socket.socket | None = None
        self._patience_s = 0.0
        try:
            if (NAMED / name).exists():
                _netns().remove(name)
                self._patience_s = BACK_S
            _netns().create(name)
        except OSError as error:
            raise BenchError(f"namespace {name}", f"cannot be made: {error}.", REMEDY) from error
        try:
            self.order("ip", "link", "set", "lo", "up")
            for interface in radios:
                self._take(interface)
        except (BenchError, InputError):
            self.close()
            raise

    def _take(self, interface: str) -> None:
        """Move a radio here with all its interfaces."""
        told = INTERFACES / interface / "phy80211" / "name"
        if not _there(told, self._patience_s):
            known = ", ".join(sorted(path.name for path in INTERFACES.glob("*") if (path / "phy80211").exists()))
            raise InputError(f"radio {interface}", "there is no such radio.", f"There are: {known or 'none'}.")
        phy = told.read_text(encoding="ascii").strip()
        _order(f"radio {interface}", ["iw", "phy", phy, "set", "netns", "name", self.name])
        self._radios.append(told)
        self._phys.append(phy)

    def has(self, interface: str) -> bool:
        """Whether an interface is here, asked without a program: a radio that is pulled out is not.

        Raises:
            BenchError: the namespace is gone.
        """
        if self._asks is None:
            self._asks = self.socket_here(lambda: socket.socket(socket.AF_INET, socket.SOCK_DGRAM))
        try:
            fcntl.ioctl(self._asks, ASK_FLAGS, struct.pack(FLAGS_REQUEST, interface.encode(), 0))
        except OSError as error:
            if error.errno == errno.ENODEV:
                return False
            raise BenchError(f"namespace {self.name}", f"cannot be asked for {interface}: {error}.") from error
        return True

    def order(self, *words: str) -> str:
        """Run a program here to its end and return what it said.

        Raises:
            BenchError: it failed.
        """
        return _order(f"namespace {self.name}", self._here(words))

    def address_of(self, interface: str) -> str:
        """The hardware address of a radio that is here."""
        return self.order("cat", f"/sys/class/net/{interface}/address").strip()

    def start(self, words: Sequence[str], log: IO[bytes] | int) -> "subprocess.Popen[bytes]":
        """Start a program here that is to run on, and to end with this process; what it says goes to `log`."""
        dying_with_us = ["setpriv", "--pdeathsig", "KILL", *self._here(words)]
        return subprocess.Popen(dying_with_us, stdin=subprocess.DEVNULL, stdout=log, stderr=subprocess.STDOUT)

    def dial(self, host: str, port: int, limit_s: float) -> socket.socket:
        """Connect from here; see `hil.instruments.endpoint.Dial`."""
        end = self.socket_here(lambda: socket.socket(socket.AF_INET, socket.SOCK_STREAM))
        end.settimeout(limit_s)
        try:
            end.connect((host, port))
        except OSError:
            end.close()
            raise
        return end

    def socket_here(self, make: Callable[[], socket.socket]) -> socket.socket:
        """Return a socket that was made here and stays here; the rest of this process stays where it is."""
        made: list[socket.socket | OSError] = []

        def run() -> None:
            try:
                _netns().setns(self.name)
                made.append(make())
            except OSError as error:
                made.append(error)

        thread = threading.Thread(target=run, name=f"into {self.name}")  # a thread's namespace ends with the thread
        thread.start()
        thread.join(ORDER_S)
        if not made or isinstance(made[0], OSError):
            raise BenchError(f"namespace {self.name}", f"gives no socket: {made[0] if made else 'no answer'}.", REMEDY)
        return made[0]

    def close(self) -> None:
        """Remove it, and wait until its radios are back. What still runs in it, or is on its way, keeps it but not them."""
        if self._asks is not None:  # an open socket would keep it
            self._asks.close()
            self._asks = None
        for phy in self._phys:
            with contextlib.suppress(BenchError):  # it was pulled out
                self.order("iw", "phy", phy, "set", "netns", str(os.getpid()))
        with contextlib.suppress(OSError):
            _netns().remove(self.name)
        for radio in self._radios:
            _there(radio, BACK_S)

    def _here(self, words: Sequence[str]) -> list[str]:
        return ["ip", "netns", "exec", self.name, *words]


def _netns() -> ModuleType:
    return import_module("pyroute2.netns")  # here: it takes a fifth of a second, and the virtual bench needs none


def end_program(process: "subprocess.Popen[bytes]") -> None:
    """End a program that runs on: by asking, then by force."""
    process.terminate()
    try:
        process.wait(END_S)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait(END_S)


def _there(path: Path, limit_s: float) -> bool:
    """Whether a path of the kernel's is there within a limit: no event tells that a radio came back."""
    until_s = time.monotonic() + limit_s
    while not path.exists():
        if time.monotonic() > until_s:
            return False
        time.sleep(POLL_S)
    return True


def _order(who: str, words: Sequence[str]) -> str:
    try:
        done = subprocess.run(words, capture_output=True, text=True, timeout=ORDER_S, check=False)
    except (OSError, subprocess.TimeoutExpired) as error:
        raise BenchError(who, f"`{' '.join(words)}` failed: {error}.", REMEDY) from error
    if done.returncode:
        said = (done.stderr or done.stdout).strip() or f"exit code {done.returncode}"
        raise BenchError(who, f"`{' '.join(words)}` failed: {said}.", REMEDY)
    return done.stdout
