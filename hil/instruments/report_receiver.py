"""Takes what a unit reports by HTTP, and answers it; or is silent: takes the connection, reads nothing, and says nothing."""

import socket
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

READ_REAL_S = 5.0
LONGEST = 65536  # octets of a body that are read
POLL_S = 0.1


@dataclass(frozen=True, slots=True)
class Report:
    """A request that came: `authorization` and `content_type` are its headers, empty where it has none."""

    method: str
    path: str
    authorization: str
    content_type: str
    body: bytes


OnCalled = Callable[[float], None]
OnReport = Callable[[Report, float], None]


class ReportReceiver:
    """The receiver, from now until `close`."""

    def __init__(self, listener: socket.socket, on_called: OnCalled, on_report: OnReport, *, answers: bool) -> None:
        """Serve a listening socket, which is closed in the end.

        Args:
            listener: Where connections come in.
            on_called: Told when one came (monotonic).
            on_report: Told each request, and when it was read (monotonic).
            answers: Whether requests are read and answered.
        """
        self._server = _Server(listener, on_called, on_report, answers)
        self._thread = threading.Thread(target=self._server.serve_forever, args=(POLL_S,), name="reports", daemon=True)
        self._thread.start()

    @property
    def running(self) -> bool:
        """Whether connections are still taken."""
        return self._thread.is_alive()

    def close(self) -> None:
        """Take no more, and hang up."""
        self._server.over.set()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    block_on_close = True

    def __init__(self, listener: socket.socket, on_called: OnCalled, on_report: OnReport, answers: bool) -> None:
        super().__init__(listener.getsockname(), _Handler, bind_and_activate=False)
        self.socket.close()
        self.socket = listener
        self.on_called, self.on_report, self.answers = on_called, on_report, answers
        self.over = threading.Event()

    def process_request(self, request: socket.socket | tuple[bytes, socket.socket], client_address: object) -> None:
        self.on_called(time.monotonic())
        super().process_request(request, client_address)

    def handle_error(self, request: object, client_address: object) -> None:
        """Whoever hangs up in the middle has sent no report."""


class _Handler(BaseHTTPRequestHandler):
    timeout = READ_REAL_S
    server: _Server

    def handle(self) -> None:
        if self.server.answers:
            super().handle()
        else:
            self.server.over.wait()

    def _take(self) -> None:
        told = self.headers.get("Content-Length", "")
        body = self.rfile.read(min(int(told), LONGEST) if told.isdigit() else 0)
        authorization, kind = (self.headers.get(name, "") for name in ("Authorization", "Content-Type"))
        self.server.on_report(Report(self.command, self.path, authorization, kind, body), time.monotonic())
        self.send_response(HTTPStatus.NO_CONTENT)
        self.end_headers()

    do_GET = do_POST = do_PUT = _take  # noqa: N815 — as the library looks them up

    def log_message(self, *_said: object) -> None:
        """What came is booked, not logged."""
