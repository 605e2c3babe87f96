"""DHCP messages read, and the answers of a server that refuses: against scapy's own making and reading of them (RFC 2131)."""

import pytest
from scapy.layers.dhcp import BOOTP, DHCP

from hil.instruments.dhcp_messages import DhcpMessage, read_dhcp
from hil.instruments.host.lease_server import refusal

UNIT = "02:4d:56:00:a7:31"
OWN, OFFERED, MASK = "198.51.100.1", "198.51.100.10", "255.255.255.0"


def asked(kind: str, number: int = 0x1234) -> bytes:
    head = BOOTP(op=1, xid=number, chaddr=bytes.fromhex(UNIT.replace(":", "")), flags=0x8000)
    return bytes(head / DHCP(options=[("message-type", kind), ("hostname", "mossgate"), "end"]))


@pytest.mark.parametrize("kind", ["discover", "offer", "request", "ack", "nak", "release"])
def test_a_message_is_read_with_its_station(kind: str) -> None:
    given = BOOTP(op=2, yiaddr=OFFERED, chaddr=bytes.fromhex(UNIT.replace(":", "")))
    octets = bytes(given / DHCP(options=[("message-type", kind), "end"]))
    assert read_dhcp(octets) == DhcpMessage(kind, UNIT, OFFERED)


@pytest.mark.parametrize(
    "octets", [b"", b"x" * 100, b"\0" * 300, asked("discover")[:239], asked("discover")[:236] + b"\0" * 64]
)
def test_what_is_none_is_none(octets: bytes) -> None:
    assert read_dhcp(octets) is None
    assert refusal(octets, OWN, OFFERED, MASK) == b""


def test_a_discover_gets_an_offer_and_a_request_a_nak() -> None:
    offer, nak = (BOOTP(refusal(asked(kind), OWN, OFFERED, MASK)) for kind in ("discover", "request"))
    for answer, kind in ((offer, "offer"), (nak, "nak")):
        assert (answer.op, answer.xid, answer.flags) == (2, 0x1234, 0x8000)
        assert bytes(answer.chaddr[:6]).hex(":") == UNIT
        assert read_dhcp(bytes(answer)) == DhcpMessage(kind, UNIT, OFFERED if kind == "offer" else "0.0.0.0")
        assert ("server_id", OWN) in answer[DHCP].options
    assert ("subnet_mask", MASK) in offer[DHCP].options
    assert refusal(asked("release"), OWN, OFFERED, MASK) == b""
