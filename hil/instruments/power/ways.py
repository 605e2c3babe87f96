"""The ways in which a desk switches the unit's supply, as its bench file names them."""

from hil.core.bench_file import PowerPlace
from hil.core.timeline import Timeline
from hil.instruments.console import Console
from hil.instruments.keyboard import Keyboard
from hil.instruments.operator import Operator
from hil.instruments.power.by_operator import OperatorPower
from hil.instruments.power.hub_port import HubPortPower
from hil.instruments.power.relay import AdapterRelay, GpioRelay, Relay
from hil.instruments.power.reset_line import AdapterReset, ConsoleReset
from hil.instruments.power.scpi import ScpiPower

DeskPower = ScpiPower | Relay | HubPortPower | ConsoleReset | AdapterReset | OperatorPower


def open_power(
    timeline: Timeline, place: PowerPlace, slot: str, console: Console, keyboard: Keyboard | None = None
) -> DeskPower:
    """Open the one that is named; the console's port has a reset line too. A `keyboard` that is open serves more than this.

    Raises:
        InputError: what it names is not there.
        BenchError: it is busy or broken.
    """
    if place.scpi is not None:
        return ScpiPower(timeline, place.scpi.port, baud=place.scpi.baud)
    if (relay := place.relay) is not None:
        return AdapterRelay(timeline, relay.port, relay.line, inverted=relay.inverted, read_back=relay.read_back)
    if (gpio := place.gpio) is not None:
        seen, is_low = gpio.read_back, gpio.read_back_inverted
        return GpioRelay(
            timeline, gpio.chip, gpio.line, inverted=gpio.inverted, read_back=seen, read_back_inverted=is_low
        )
    if place.hub_port is not None:
        return HubPortPower(timeline, place.hub_port.hub, place.hub_port.port)
    if (reset := place.reset_line) is not None:
        if reset.port is None:
            return ConsoleReset(timeline, console)
        return AdapterReset(timeline, reset.port, reset.line, inverted=reset.inverted)
    assert place.operator is not None  # the bench file has one of them
    return OperatorPower(timeline, Operator(timeline, keyboard or Keyboard(), place.operator.limit_s), slot)


def told_of(place: PowerPlace) -> str:
    """How the supply is switched, for the sheet, and what its state is told by."""
    if place.scpi is not None:
        return f"SCPI at {place.scpi.port}"
    if (relay := place.relay) is not None:
        seen = f"a contact read back on {relay.read_back.upper()}" if relay.read_back else "no contact read back"
        return f"relay on {relay.line.upper()} of {relay.port}, {seen}"
    if (gpio := place.gpio) is not None:
        seen = "no contact read back" if gpio.read_back is None else f"a contact read back on line {gpio.read_back}"
        return f"relay on GPIO line {gpio.line} of {gpio.chip}, {seen}"
    if place.hub_port is not None:
        return f"port {place.hub_port.port} of hub {place.hub_port.hub}, by the hub's word"
    if (reset := place.reset_line) is not None:
        line = f"{reset.line.upper()} of {reset.port or 'the console'}"
        return f"not switched: the unit is held in reset by {line}, and what wants a cut supply is not judged"
    return "plugged in and unplugged by a person, by their word"
