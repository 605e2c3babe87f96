"""Which situation the witnesses confirm: supply, leases and beacons; never what the unit says or shows."""

from collections.abc import Iterable

import pytest
from support.records import UNIT, awake, beacons, line, make, moment, power

from hil.core.moments import Moment
from hil.core.stages import Connected, Off, Setup, Situation, Unknown
from hil.drive.confirm import confirm

BEGIN_S, END_S = 100.0, 130.0
ON = power("on", 101.0)
LEASED = moment(110.0, "access point", "leased", address=UNIT, ip="198.51.100.2")
LEFT = moment(120.0, "access point", "left", address=UNIT)
DOWN = moment(120.0, "access point", "down")
FRESH = beacons(115.0, END_S)
OLD = beacons(105.0, 120.0)
HOPES = [Off("defaults"), Setup("defaults"), Connected("bench network")]

CASES: list[tuple[str, list[Moment], str]] = [
    ("switched off", [ON, LEASED, power("off", 125.0)], "off"),
    ("switched off and read back so", [ON, power("off", 125.0), moment(126.0, "power", "state", on=False)], "off"),
    (
        "read while it was being switched off",
        [ON, power("off", 125.0), moment(125.01, "power", "state", on=True)],
        "off",
    ),
    ("hotspot on the air at the end", [ON, *FRESH], "setup"),
    ("hotspot that fell silent", [ON, *OLD], "unknown"),
    ("another hotspot", [ON, *beacons(115.0, END_S, "mossgate-0000")], "unknown"),
    ("leased", [ON, LEASED], "connected"),
    ("a stranger leased", [ON, moment(110.0, "access point", "leased", address="02:00:00:00:00:77")], "unknown"),
    ("leased and left", [ON, LEASED, LEFT], "unknown"),
    ("leased, left and in setup", [ON, LEASED, LEFT, *FRESH], "setup"),
    ("leased, and the network went down", [ON, LEASED, DOWN], "unknown"),
    ("leased before the supply was cut", [moment(100.5, "access point", "leased", address=UNIT), ON], "unknown"),
    ("hotspot first, then leased", [ON, *beacons(102.0, 106.0), LEASED], "connected"),
    ("what the unit says of itself", [ON, line(110.0, "stage: connected"), line(111.0, "stage: setup")], "unknown"),
    ("nothing", [ON], "unknown"),
]


def confirmed(moments: Iterable[Moment], hoped: Situation) -> Situation:
    return confirm(make([*awake(98.0, 132.0, but=["power"]), *moments]).window(BEGIN_S, END_S), hoped)


@pytest.mark.parametrize(("name", "moments", "stage"), CASES, ids=[name for name, *_ in CASES])
def test_the_stage_that_witnesses_confirm(name: str, moments: list[Moment], stage: str) -> None:
    for hoped in HOPES:
        found = confirmed(moments, hoped)
        assert found.stage == stage
        # The store is believed only where the stage came out as hoped.
        assert found.store == (hoped.store if stage == hoped.stage else "unknown")
    if stage == "unknown":
        assert confirmed(moments, Setup()) == Unknown()


def test_before_any_order_was_given_the_unit_is_off_only_where_the_supply_reads_so() -> None:
    """The first leg of a run may find a unit that is on."""
    off = make(awake(98.0, 132.0, supply_on=False)).window(BEGIN_S, END_S)
    on = make(awake(98.0, 132.0, supply_on=True)).window(BEGIN_S, END_S)
    assert confirm(off, Off("defaults")).stage == "off"
    assert confirm(on, Off("defaults")).stage != "off"


def test_an_order_the_supply_did_not_obey_is_no_off() -> None:
    """A relay that sticks: ordered off, and still read back as on."""
    stuck = [ON, power("off", 120.0), moment(121.0, "power", "state", on=True)]
    assert confirmed(stuck, Off("defaults")).stage != "off"


def test_a_store_that_a_leg_could_not_put_right_is_not_believed() -> None:
    doubt = moment(125.0, "leg", "store in doubt", why="a value that was taken could not be undone")
    assert confirmed([ON, LEASED], Connected("bench network")) == Connected("bench network")
    assert confirmed([ON, LEASED, doubt], Connected("bench network")) == Connected("unknown")


def test_nor_is_one_that_was_saved_before_an_instrument_was_gone() -> None:
    """The leg had no time to undo what it saved: later legs would hold that against the unit."""
    hoped, asked = Connected("bench network"), moment(105.0, "ledger", "asked", asked_by="form")
    gone = moment(125.0, "leg", "gave up", why="its radio is gone", instrument="probe")
    assert confirmed([ON, LEASED, asked], hoped) == hoped
    assert confirmed([ON, LEASED, gone], hoped) == hoped
    assert confirmed([ON, LEASED, asked, gone], hoped) == Connected("unknown")
