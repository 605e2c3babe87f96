"""The control socket of hostapd and wpa_supplicant, with a daemon of the test's that speaks as their `wpa_ctrl.h` says."""

import contextlib
import queue
import socket
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

import hil.instruments.host.wpa_control
from hil.core.errors import InstrumentGone
from hil.instruments.host.wpa_control import WpaControl

LIMIT_S = 10.0


class Daemon:
    """Answers orders by a table, and reports to whoever attached."""

    def __init__(self, path: Path, answers: dict[str, str]) -> None:
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(str(path))
        self._answers = {"ATTACH": "OK\n"} | answers
        self._listeners: list[str] = []
        self._thread = threading.Thread(target=self._serve)
        self._thread.start()

    def report(self, text: str) -> None:
        for listener in self._listeners:
            self._socket.sendto(text.encode(), listener)

    def close(self) -> None:
        with contextlib.closing(socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)) as end:
            end.sendto(b"end of the test", self._socket.getsockname())
        self._thread.join(LIMIT_S)
        self._socket.close()

    def _serve(self) -> None:
        while True:
            order, who = self._socket.recvfrom(4096)
            if order == b"end of the test":
                return
            if order == b"ATTACH":
                self._listeners.append(who)
            answer = self._answers.get(order.decode())
            if answer is not None:
                self._socket.sendto(answer.encode(), who)


Start = Callable[[dict[str, str]], Daemon]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    with contextlib.ExitStack() as stack:

        def make(answers: dict[str, str]) -> Daemon:
            made = Daemon(tmp_path / "wlan0", answers)
            stack.callback(made.close)
            return made

        yield make


def test_orders_are_answered_and_reports_come_beside_them(start: Start, tmp_path: Path) -> None:
    daemon = start({"PING": "PONG\n", "SET_NETWORK 0 ssid 6d": "OK\n", "STATUS": "state=ENABLED\nchannel=6\n"})
    heard: queue.SimpleQueue[str] = queue.SimpleQueue()
    control = WpaControl(tmp_path / "wlan0", "access point", lambda report, _at_s: heard.put(report))
    with contextlib.closing(control):
        daemon.report("<3>AP-STA-CONNECTED 02:00:00:00:00:b2")
        daemon.report("no level: no report")
        daemon.report("<2>AP-STA-POSSIBLE-PSK-MISMATCH 02:00:00:00:00:b2\n")
        assert control.ask("PING") == "PONG"
        assert control.ask("STATUS") == "state=ENABLED\nchannel=6"
        control.order("SET_NETWORK 0 ssid 6d")
        assert [heard.get(timeout=LIMIT_S) for _ in range(2)] == [
            "AP-STA-CONNECTED 02:00:00:00:00:b2",
            "AP-STA-POSSIBLE-PSK-MISMATCH 02:00:00:00:00:b2",
        ]


def test_an_order_that_is_refused_or_unanswered_names_the_daemon(
    start: Start, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(hil.instruments.host.wpa_control, "ANSWER_S", 0.2)
    start({"SET_NETWORK 0 psk short": "FAIL\n"})
    with contextlib.closing(WpaControl(tmp_path / "wlan0", "probe", lambda _report, _at_s: None)) as control:
        with pytest.raises(InstrumentGone, match=r"probe.*answers SET_NETWORK with 'FAIL'"):
            control.order("SET_NETWORK 0 psk short")
        with pytest.raises(InstrumentGone, match=r"probe.*no answer to PING"):
            control.ask("PING")


def test_a_daemon_that_is_not_there_is_told_with_its_socket(tmp_path: Path) -> None:
    with pytest.raises(InstrumentGone, match=r"has no socket .*wlan0 after 0.1 s"):
        WpaControl(tmp_path / "wlan0", "access point", lambda _report, _at_s: None, limit_s=0.1)
