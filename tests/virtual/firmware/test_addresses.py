"""The unit's fixed address: what it takes, held against Python's `ipaddress`, and what becomes of it on the radio.

RFC 4632 (a netmask is a row of ones and then of zeros), RFC 1122 3.2.1.3 (addresses that no host may have).
"""

import json
from collections.abc import Callable, Iterator
from ipaddress import IPv4Address, IPv4Network
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.virtual.firmware.conftest import Board

FIXED = {"fixed_address": "192.0.2.77", "netmask": "255.255.255.0", "gateway": "192.0.2.1"}
Run = Callable[[str], object]
LABELS = {"fixed_address": "Fixed address", "netmask": "Netmask", "gateway": "Gateway"}
TEXTS = (
    "192.0.2.7",
    "192.0.2.1",
    "192.0.2.0",
    "192.0.2.255",
    "192.0.3.1",
    "300.1.1.1",
    "192.0.2",
    "192.0.2.7.1",
    "192.0.2.07",
    "192.0.2.+7",
    "192.0.2.",
    "vent",
    "224.0.0.1",
    "127.0.0.1",
    "0.0.0.1",
)
MASKS = ("255.255.255.0", "255.255.254.0", "255.255.255.252", "255.255.255.255", "0.0.0.0", "255.0.255.0", "24", "")


def fits(address: str, netmask: str, gateway: str) -> bool:
    """Say by `ipaddress` whether a unit can have an address, with a gateway that it can reach."""
    try:
        network = IPv4Network(f"{address}/{IPv4Address(netmask)}", strict=False)
        unit, router = IPv4Address(address), IPv4Address(gateway)
    except ValueError:
        return False
    if int(network.netmask) != int(IPv4Address(netmask)) or network.num_addresses < 4 or unit == router:
        return False
    odd = [a.is_multicast or a.is_loopback or int(a) >> 24 in (0, *range(240, 256)) for a in (unit, router)]
    ends = {network.network_address, network.broadcast_address}
    return router in network and not any(odd) and not ends & {unit, router}


def trios() -> Iterator[tuple[str, str, str]]:
    yield from ((address, mask, "192.0.2.1") for address in TEXTS for mask in MASKS)
    yield from (("192.0.2.7", "255.255.255.0", gateway) for gateway in (*TEXTS, ""))


def test_takes_what_a_unit_can_have(run_program: Run) -> None:
    asked = [dict(zip(LABELS, trio, strict=True)) for trio in trios()]
    program = (
        f"import json, addresses\nasked = json.loads({json.dumps(asked)!r})\n"
        f"print(json.dumps([addresses.complaints(values, {LABELS!r}) for values in asked]))"
    )
    answers = run_program(program)
    assert isinstance(answers, list)
    assert {trio: not wrong for trio, wrong in zip(trios(), answers, strict=True)} == {
        trio: fits(*trio) for trio in trios()
    }


@pytest.mark.parametrize(
    ("texts", "says"),
    [
        (("", "", ""), None),
        (("192.0.2.7", "", ""), "Netmask must be four numbers"),
        (("", "", "192.0.2.1"), "Fixed address must be four numbers"),
        (("300.1.1.1", "255.255.255.0", "192.0.2.1"), "Fixed address must be four numbers"),
        (("192.0.2.7", "255.255.255.0", "198.51.100.1"), "Gateway must be in the network"),
        (("192.0.2.7", "255.0.255.0", "192.0.2.1"), "Netmask must be a row of ones"),
    ],
)
def test_says_what_is_wrong(run_program: Run, texts: tuple[str, str, str], says: str | None) -> None:
    values = dict(zip(LABELS, texts, strict=True))
    answer = run_program(f"import json, addresses\nprint(json.dumps(addresses.complaints({values!r}, {LABELS!r})))")
    assert isinstance(answer, list)
    assert (says is None) == (not answer)
    assert says is None or answer[0].startswith(says)


def set_up(board: "Board", **more: str) -> None:
    """Save a network, and more, through the hotspot; the unit is off then."""
    board.power_on()
    board.wait_for_order("host")
    assert board.post("/save", {"network": "Here", "network_key": "kk-canary-1", **more}).status_code == 200
    board.wait_for_order("reset")
    board.power_off()
    board.networks = {"Here": "kk-canary-1"}


def joined(board: "Board", cause: str = "software") -> dict[str, object]:
    """Start the unit and return how it joined."""
    board.cause = cause
    board.power_on()
    order = board.wait_for_order("join")
    board.wait_for_line("stage: connected")
    return order


@pytest.mark.parametrize("cause", ["software", "power", "reset line"])
def test_a_fixed_address_is_used_at_each_start_and_undone_by_clearing(board: "Board", cause: str) -> None:
    set_up(board, **FIXED)
    order = joined(board, cause)
    assert [order["ip"], order["mask"], order["router"]] == list(FIXED.values())
    assert board.status()["Address"] == FIXED["fixed_address"]
    key = ("vent", board.label_key)
    form = board.inputs_of(board.get("/settings", auth=key).text)
    assert {name: form[name] for name in FIXED} == FIXED
    assert board.post("/save", dict.fromkeys(FIXED, ""), auth=key).status_code == 200
    board.wait_for_order("reset")
    board.power_off()
    assert "ip" not in joined(board, cause)
    assert board.status()["Address"] == board.lease_ip


def test_a_wrong_address_is_refused_whole_with_a_message(micropython_board: "Board") -> None:
    set_up(micropython_board)
    joined(micropython_board)
    key = ("vent", micropython_board.label_key)
    refused = micropython_board.post("/save", {**FIXED, "fixed_address": "300.1.1.1", "unit_name": "north"}, auth=key)
    assert refused.status_code == 400
    assert "Fixed address must be four numbers" in refused.text
    assert micropython_board.ordered("erase") == []
    stored = micropython_board.inputs_of(micropython_board.get("/settings", auth=key).text)
    assert {name: stored[name] for name in FIXED} == dict.fromkeys(FIXED, "")
