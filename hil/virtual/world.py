"""Starts and ends the processes of the virtual world, and talks to their control ports.

Each process holds the other end of a pipe of ours as its standard input: when the runner is gone, for whatever reason,
the pipe closes and the process ends with all its children.
"""

import json
import select
import socket
import subprocess
import sys
import threading
from collections.abc import Mapping

from hil.core.errors import BenchError
from hil.core.lateness import OnLate

READY_REAL_S = 20.0
ANSWER_REAL_S = 5.0


class WorldProcess:
    """One process: `python -m hil.virtual.NAME CONFIG`."""

    def __init__(
        self,
        name: str,
        config: Mapping[str, object],
        *,
        ready_s: float = READY_REAL_S,
        on_late: OnLate = lambda _due_s, _woke_s: None,
    ) -> None:
        """Start it and read its ready line, for which it may take so long; `on_late` is told when it was held up.

        Raises:
            BenchError: it did not start.
        """
        self.name = name
        self._listener: threading.Thread | None = None
        self._process = subprocess.Popen(
            [sys.executable, "-m", f"hil.virtual.{name}", json.dumps(config)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            start_new_session=True,  # Ctrl-C at the terminal goes to the runner alone, which ends its world in order
        )
        try:
            self.ready = self._read_ready(ready_s)
        except BaseException:
            self.stop()
            raise
        self._on_late = on_late
        self._listener = threading.Thread(target=self._listen, name=f"words of {name}", daemon=True)
        self._listener.start()

    def _listen(self) -> None:
        """Hear when the machine held it up, by the clock that all processes of a machine share."""
        assert self._process.stdout is not None
        for line in self._process.stdout:
            due_s, woke_s = json.loads(line)["held_up"]
            self._on_late(float(due_s), float(woke_s))

    def _read_ready(self, limit_s: float) -> Mapping[str, object]:
        assert self._process.stdout is not None
        readable, _, _ = select.select([self._process.stdout], [], [], limit_s)
        line = self._process.stdout.readline() if readable else b""
        try:
            ready = json.loads(line)
        except ValueError:
            raise BenchError(f"virtual {self.name}", "did not start; its words are above.") from None
        if not isinstance(ready, dict):
            raise BenchError(f"virtual {self.name}", f"said {line!r} instead of its ports.")
        return ready

    def port(self, key: str) -> int:
        """A port it listens on."""
        return int(str(self.ready[key]))

    @property
    def running(self) -> bool:
        """Whether it still runs."""
        return self._process.poll() is None

    def stop(self) -> None:
        """Close its standard input, which ends it; kill it if that takes too long."""
        if self._process.stdin is not None:
            self._process.stdin.close()
        try:
            self._process.wait(timeout=2.0)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        if self._process.stdout is not None:
            if self._listener is not None:
                self._listener.join(timeout=2.0)
            self._process.stdout.close()


class ControlLine:
    """A control port: one JSON object a line, one answer a line where one is given. Safe for several threads."""

    def __init__(self, name: str, port: int) -> None:
        """Connect."""
        self._name = name
        self._lock = threading.Lock()
        self._socket = socket.create_connection(("127.0.0.1", port), timeout=ANSWER_REAL_S)
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._reader = self._socket.makefile("rb")

    def tell(self, order: Mapping[str, object]) -> None:
        """Send an order that is not answered.

        Raises:
            BenchError: the process is gone.
        """
        with self._lock:
            self._send(order)

    def ask(self, order: Mapping[str, object]) -> Mapping[str, object]:
        """Send an order and wait for its answer.

        Raises:
            BenchError: the process is gone or does not answer.
        """
        with self._lock:
            self._send(order)
            try:
                line = self._reader.readline()
                answer = json.loads(line)
            except (OSError, ValueError) as error:
                raise BenchError(self._name, f"did not answer {dict(order)}: {error}.") from error
        if not isinstance(answer, dict):
            raise BenchError(self._name, f"answered {line!r} to {dict(order)}.")
        return answer

    def _send(self, order: Mapping[str, object]) -> None:
        try:
            self._socket.sendall(json.dumps(order).encode() + b"\n")
        except OSError as error:
            raise BenchError(self._name, f"took no order: {error}.") from error

    def close(self) -> None:
        """Disconnect."""
        self._reader.close()
        self._socket.close()
