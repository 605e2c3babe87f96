"""Whether the host's access point is there, asked by one thread while another takes networks and addresses down and up."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from hil.core.clock import Clock
from hil.core.errors import InstrumentGone
from hil.core.timeline import Timeline
from hil.instruments.host.access_point import HostAccessPoint
from hil.instruments.stations import AccessPoint


@dataclass
class Daemon:
    """A network or a lease server that has ended; what happens while it is asked is the test's."""

    meanwhile: Callable[[], object] = field(default=lambda: None)
    interface: str = "radio0"

    @property
    def answers(self) -> bool:
        self.meanwhile()
        return False

    @property
    def running(self) -> bool:
        return self.answers

    def end(self) -> None:
        """It has."""


@pytest.fixture
def access_point(tmp_path: Path) -> HostAccessPoint:
    """One without radios: only what is asked of its daemons counts here."""
    access_point = HostAccessPoint.__new__(HostAccessPoint)
    AccessPoint.__init__(access_point, Timeline(Clock()))
    access_point._folder = tmp_path
    access_point._networks, access_point._radio_of = {}, {}
    access_point._control_network = access_point._leases = None
    return access_point


def test_a_network_and_addresses_that_the_bench_itself_takes_down_are_not_gone(access_point: HostAccessPoint) -> None:
    access_point._networks[0] = Daemon(meanwhile=lambda: access_point._networks.pop(0))  # type: ignore[assignment]
    access_point._leases = Daemon(meanwhile=access_point._end_leases)  # type: ignore[assignment]
    assert access_point._ask() == {"members": 0, "network": ""}


def test_addresses_given_anew_meanwhile_are_not_gone(access_point: HostAccessPoint) -> None:
    def anew() -> None:
        access_point._leases = Daemon()  # type: ignore[assignment]

    access_point._leases = Daemon(meanwhile=anew)  # type: ignore[assignment]
    assert access_point._ask() == {"members": 0, "network": ""}


def test_an_ending_server_is_no_longer_its_own(access_point: HostAccessPoint) -> None:
    class Ending(Daemon):
        def end(self) -> None:
            assert access_point._ask() == {"members": 0, "network": ""}

    access_point._leases = Ending()  # type: ignore[assignment]
    access_point._end_leases()


@pytest.mark.parametrize("what", ["daemon on radio0", "DHCP server"])
def test_one_that_ended_by_itself_is_gone(access_point: HostAccessPoint, what: str) -> None:
    if what == "DHCP server":
        access_point._leases = Daemon()  # type: ignore[assignment]
    else:
        access_point._networks[0] = Daemon()  # type: ignore[assignment]
    with pytest.raises(InstrumentGone, match=f"its {what} is gone"):
        access_point._ask()
