"""How a bench file's supply is told on the sheet: what switches it, what its state is told by, and what it is not."""

from pathlib import Path

import pytest

from hil.core.bench_file import PowerPlace
from hil.core.clock import Clock
from hil.core.errors import InputError
from hil.core.timeline import Timeline
from hil.instruments.console import Console
from hil.instruments.power import Power
from hil.instruments.power.ways import open_power, told_of

RELAY = {"port": "/dev/ttyUSB2", "line": "dtr"}
GPIO = {"chip": "pinctrl-bcm2711", "line": "GPIO17"}
TOLD = [
    ({"scpi": {"port": "/dev/ttyUSB3"}}, "SCPI at /dev/ttyUSB3"),
    ({"relay": RELAY}, "relay on DTR of /dev/ttyUSB2, no contact read back"),
    ({"relay": {**RELAY, "read_back": "cd"}}, "relay on DTR of /dev/ttyUSB2, a contact read back on CD"),
    ({"gpio": GPIO}, "relay on GPIO line GPIO17 of pinctrl-bcm2711, no contact read back"),
    ({"gpio": {**GPIO, "read_back": 0}}, "relay on GPIO line GPIO17 of pinctrl-bcm2711, a contact read back on line 0"),
    ({"hub_port": {"hub": "1-1", "port": 2}}, "port 2 of hub 1-1, by the hub's word"),
    ({"operator": {}}, "plugged in and unplugged by a person, by their word"),
    (
        {"reset_line": {}},
        "not switched: the unit is held in reset by RTS of the console, and what wants a cut supply is not judged",
    ),
    (
        {"reset_line": RELAY},
        "not switched: the unit is held in reset by DTR of /dev/ttyUSB2, and what wants a cut supply is not judged",
    ),
]


@pytest.mark.parametrize(("place", "told"), TOLD)
def test_each_way_is_told(place: dict[str, object], told: str) -> None:
    assert told_of(PowerPlace.model_validate(place)) == told


def test_only_a_reset_line_cuts_no_supply(tmp_path: Path) -> None:
    timeline = Timeline(Clock())
    console = Console("/dev/no-such-port", timeline, tmp_path / "console.raw")
    reset = open_power(timeline, PowerPlace.model_validate({"reset_line": {}}), "1", console)
    assert (Power.cuts_supply, reset.cuts_supply) == (True, False)
    with pytest.raises(InputError, match=r"console\.port = '/dev/no-such-port'"):
        reset.off(asked_by="test")
    with pytest.raises(InputError, match=r"power\.reset_line\.port = '/dev/no-such-port'"):
        open_power(timeline, PowerPlace.model_validate({"reset_line": {"port": "/dev/no-such-port"}}), "1", console)
