"""The control socket that hostapd and wpa_supplicant share: orders with their answers, and reports as they come.

Each is one datagram on a Unix socket; a report begins with its level in angle brackets, `<3>AP-STA-CONNECTED …`. The
daemon sends reports to whoever said ATTACH (the programs' own `wpa_ctrl.h`). Orders go by a socket of their own, so that
an answer is never taken for a report.
"""

import contextlib
import re
import shutil
import socket
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

from hil.core.errors import InstrumentGone

ANSWER_S = 5.0
POLL_S = 0.02  # that a socket's file is there is told by nobody
REPORT = re.compile(r"<\d+>(.*)", re.DOTALL)
LONGEST = 65536

OnReport = Callable[[str, float], None]


class WpaControl:
    """The way to one daemon."""

    def __init__(self, path: Path, daemon: str, on_report: OnReport, limit_s: float = ANSWER_S) -> None:
        """Connect to a daemon that is just starting, and have it report.

        Args:
            path: Its socket.
            daemon: What it is called in messages.
            on_report: Told each report and when it came (monotonic), in a thread of its own.
            limit_s: How long its socket may take to be there, real seconds.

        Raises:
            InstrumentGone: it is not, or does not answer.
        """
        self._path, self._daemon, self._on_report = path, daemon, on_report
        self._folder = Path(tempfile.mkdtemp(prefix="hil-control-"))
        self._lock = threading.Lock()
        self._ends: list[socket.socket] = []
        try:
            self._orders, self._reports = (self._connect(name, limit_s) for name in ("orders", "reports"))
            if _said(self._reports, "ATTACH", self._gone) != "OK":
                raise self._gone("will not report")
        except InstrumentGone:
            self.close()
            raise
        self._reports.settimeout(None)
        threading.Thread(target=self._follow, name=f"{daemon} reports", daemon=True).start()

    def ask(self, order: str) -> str:
        """Give an order and return the answer.

        Raises:
            InstrumentGone: none came.
        """
        with self._lock:
            return _said(self._orders, order, self._gone)

    def order(self, order: str) -> None:
        """Give an order that must be answered by OK.

        Raises:
            InstrumentGone: it was not.
        """
        answer = self.ask(order)
        if answer != "OK":
            raise self._gone(f"answers {order.split(' ', maxsplit=1)[0]} with {answer!r}")

    def close(self) -> None:
        """Hang up; the daemon goes on."""
        for end in self._ends:
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()
        shutil.rmtree(self._folder, ignore_errors=True)

    def _connect(self, name: str, limit_s: float) -> socket.socket:
        end = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._ends.append(end)
        end.bind(str(self._folder / name))
        end.settimeout(ANSWER_S)
        until_s = time.monotonic() + limit_s
        while True:
            try:
                end.connect(str(self._path))
                return end
            except OSError as error:
                if time.monotonic() > until_s:
                    raise self._gone(f"has no socket {self._path} after {limit_s:g} s: {error}") from error
            time.sleep(POLL_S)

    def _follow(self) -> None:
        while True:
            try:
                octets = self._reports.recv(LONGEST)
            except OSError:
                return
            if not octets:  # hung up
                return
            came_s = time.monotonic()
            report = REPORT.fullmatch(octets.decode("utf-8", "backslashreplace"))
            if report is not None:
                self._on_report(report[1].strip(), came_s)

    def _gone(self, problem: str) -> InstrumentGone:
        return InstrumentGone(self._daemon, f"it {problem}.", "Look at its log in the run folder.")


def _said(end: socket.socket, order: str, gone: Callable[[str], InstrumentGone]) -> str:
    try:
        end.send(order.encode())
        return end.recv(LONGEST).decode("utf-8", "backslashreplace").strip()
    except OSError as error:
        raise gone(f"gives no answer to {order.split(' ', maxsplit=1)[0]}: {error}") from error
