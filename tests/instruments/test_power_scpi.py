"""A supply that speaks SCPI, against one that answers as SCPI-1999 (volume 2: 15, 11, 21.8) and IEEE 488.2 (10.19) say."""

import socket
import threading
from collections.abc import Iterator

import pytest
from support.scpi import LIMIT_S, Supply

from hil.core.clock import Clock
from hil.core.errors import BenchError, InputError, InstrumentGone
from hil.core.timeline import Timeline
from hil.instruments.power import scpi
from hil.instruments.power.scpi import ScpiPower


@pytest.fixture
def supply() -> Iterator[Supply]:
    made = Supply()
    yield made
    made.close()


@pytest.fixture
def timeline() -> Timeline:
    return Timeline(Clock())


@pytest.fixture
def power(supply: Supply, timeline: Timeline) -> Iterator[ScpiPower]:
    made = ScpiPower(timeline, supply.port)
    yield made
    made.close()


def test_it_switches_and_reads_state_and_current_back(power: ScpiPower, supply: Supply, timeline: Timeline) -> None:
    power.on(asked_by="leg")
    assert supply.on
    assert power.read_back()
    power.off(asked_by="leg")
    assert not supply.on
    assert not power.read_back()
    told = [(m.kind, m.data.get("on"), m.data.get("current_ma")) for m in timeline.since()]
    assert told == [("on", None, None), ("state", True, 85.0), ("off", None, None), ("state", False, 0.0)]


def test_its_errors_are_read_and_told(power: ScpiPower, supply: Supply) -> None:
    supply.output.answer("VOLTS 5")
    with pytest.raises(BenchError, match=r"supply socket:.*-113,\"Undefined header\""):
        power.on(asked_by="leg")


def test_an_old_error_is_not_this_run_s(supply: Supply, timeline: Timeline) -> None:
    supply.output.answer("VOLTS 5")
    power = ScpiPower(timeline, supply.port)
    power.on(asked_by="leg")
    power.close()


def test_one_that_does_not_switch_is_no_instrument(power: ScpiPower, supply: Supply) -> None:
    supply.stuck = True
    with pytest.raises(BenchError, match="was told to switch on and did not"):
        power.on(asked_by="leg")


def test_one_that_leaves_is_gone(power: ScpiPower, supply: Supply) -> None:
    supply.unplug()
    with pytest.raises(InstrumentGone, match="supply socket:"):
        power.read_back()


def test_one_that_never_answers_is_gone(supply: Supply, timeline: Timeline, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scpi, "ANSWER_S", 0.2)
    supply.mute = True
    with pytest.raises(InstrumentGone, match=r"no answer to \*CLS"):
        ScpiPower(timeline, supply.port)


@pytest.mark.parametrize("port", ["/dev/no-such-supply", "nonsense://", "socket://127.0.0.1:1"])
def test_a_port_that_is_not_there_is_wrong_input(timeline: Timeline, port: str) -> None:
    with pytest.raises(InputError, match=r"power\.scpi\.port"):
        ScpiPower(timeline, port)


def test_a_port_where_something_else_answers_is_told(timeline: Timeline) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:

        def answer() -> None:
            end, _ = other.accept()
            with end:
                end.recv(100)
                end.sendall(b"HTTP/1.1 400 Bad Request\r\n")
                end.recv(100)
                end.sendall(b"HTTP/1.1 400 Bad Request\r\n" * scpi.MOST_ERRORS)
                while end.recv(100):
                    end.sendall(b"HTTP/1.1 400 Bad Request\r\n")

        thread = threading.Thread(target=answer)
        thread.start()
        with pytest.raises(BenchError, match=r"reports HTTP/1\.1 400"):
            ScpiPower(timeline, f"socket://127.0.0.1:{other.getsockname()[1]}")
        thread.join(LIMIT_S)
