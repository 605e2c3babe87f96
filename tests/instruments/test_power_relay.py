"""A relay on a control line: which way round, and a contact that is read back. Lines as of pyserial: True is asserted."""

from collections.abc import Iterator
from dataclasses import dataclass

import pytest
import serial

from hil.core.clock import Clock
from hil.core.errors import BenchError, InputError, InstrumentGone
from hil.core.timeline import Timeline
from hil.instruments import adapter_lines
from hil.instruments.power import relay
from hil.instruments.power.relay import AdapterRelay


@dataclass
class Adapter:
    """A serial adapter with a relay on RTS, whose second contact leads to CTS and may stick."""

    rts: bool = False
    dtr: bool = False
    sticks: bool = False
    inverted: bool = False
    there: bool = True

    @property
    def cts(self) -> bool:
        """The second contact."""
        if not self.there:
            raise serial.SerialException("unplugged")
        return not self.sticks and self.rts != self.inverted

    def close(self) -> None:
        """Let go."""


@pytest.fixture
def adapter(monkeypatch: pytest.MonkeyPatch) -> Iterator[Adapter]:
    made = Adapter()
    monkeypatch.setattr(adapter_lines, "open_port", lambda *_, **__: made)
    monkeypatch.setattr(relay, "FOLLOWS_S", 0.05)
    return made


@pytest.fixture
def timeline() -> Timeline:
    return Timeline(Clock())


@pytest.mark.parametrize("inverted", [False, True])
def test_the_supply_is_off_at_first_and_on_when_told(adapter: Adapter, timeline: Timeline, inverted: bool) -> None:
    adapter.inverted = inverted
    power = AdapterRelay(timeline, "/dev/ttyUSB7", "rts", inverted=inverted, read_back="cts")
    assert (adapter.rts, power.read_back()) == (inverted, False)
    power.on(asked_by="leg")
    assert (adapter.rts, power.read_back()) == (not inverted, True)
    power.off(asked_by="leg")
    assert (adapter.rts, power.read_back()) == (inverted, False)
    assert [m.kind for m in timeline.since()] == ["state", "on", "state", "off", "state"]


def test_a_contact_that_does_not_follow_is_a_broken_bench(adapter: Adapter, timeline: Timeline) -> None:
    power = AdapterRelay(timeline, "/dev/ttyUSB7", "rts", read_back="cts")
    adapter.sticks = True
    with pytest.raises(BenchError, match=r"relay on RTS of /dev/ttyUSB7: was told to switch on; its contact did not"):
        power.on(asked_by="leg")


def test_without_a_contact_it_is_what_the_line_was_told(adapter: Adapter, timeline: Timeline) -> None:
    adapter.sticks = True
    power = AdapterRelay(timeline, "/dev/ttyUSB7", "dtr")
    power.on(asked_by="leg")
    assert (adapter.dtr, power.read_back()) == (True, True)


@pytest.mark.parametrize("read_back", ["cts", None])
def test_an_adapter_that_is_gone_says_so(adapter: Adapter, timeline: Timeline, read_back: adapter_lines.Input) -> None:
    power = AdapterRelay(timeline, "/dev/ttyUSB7", "rts", read_back=read_back)
    adapter.there = False
    with pytest.raises(InstrumentGone, match="unplugged"):
        power.read_back()


def test_a_port_that_is_not_there_is_wrong_input(timeline: Timeline) -> None:
    with pytest.raises(InputError, match=r"power\.relay\.port = '/dev/no-such-port'"):
        AdapterRelay(timeline, "/dev/no-such-port", "rts")
