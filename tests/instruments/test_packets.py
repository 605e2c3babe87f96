"""What of a network's packets tells of addresses. The packets are made by scapy, which is the outside check."""

import pytest
from scapy.layers.dhcp import BOOTP, DHCP
from scapy.layers.dns import DNS, DNSQR
from scapy.layers.inet import IP, TCP, UDP
from scapy.layers.l2 import ARP, Ether
from scapy.packet import Packet

from hil.instruments.host.air_capture import akin
from hil.instruments.host.packets import AddressWatch

UNIT, EVERYBODY = "02:4d:56:00:a7:31", "ff:ff:ff:ff:ff:ff"
HELD = "198.51.100.240"
ASKS = BOOTP(op=1, chaddr=bytes.fromhex("024d5600a731")) / DHCP(options=[("message-type", "discover"), "end"])
FROM_UNIT = Ether(src=UNIT, dst=EVERYBODY)


def heard(packet: Packet | bytes) -> list[tuple[object, ...]]:
    told: list[tuple[object, ...]] = []
    watch = AddressWatch(lambda *what: told.append(what), lambda *what: told.append(what))
    watch.hear(bytes(packet), 7.5)
    return told


@pytest.mark.parametrize("options", [[], [b"\x94\x04\x00\x00"]], ids=["plain", "with a router alert"])
def test_a_dhcp_message_is_told_whole(options: list[bytes]) -> None:
    network = IP(src="0.0.0.0", dst="255.255.255.255", options=b"".join(options) or [])
    assert heard(FROM_UNIT / network / UDP(sport=68, dport=67) / ASKS) == [(bytes(ASKS), 7.5)]


def test_an_announced_address_is_told_with_whose_it_is() -> None:
    announcement = ARP(op="who-has", hwsrc=UNIT, psrc=HELD, pdst=HELD)
    assert heard(FROM_UNIT / announcement) == [(UNIT, HELD, 7.5)]


@pytest.mark.parametrize(
    "packet",
    [
        FROM_UNIT / ARP(op="who-has", hwsrc=UNIT, psrc="0.0.0.0", pdst=HELD),
        FROM_UNIT / ARP(op="is-at", hwsrc=UNIT, psrc=HELD, pdst="198.51.100.1"),
        FROM_UNIT / IP() / UDP(sport=5353, dport=53) / DNS(qd=DNSQR(qname="mossgate.example")),
        FROM_UNIT / IP() / TCP(sport=68, dport=67),
        b"",
        bytes(FROM_UNIT / IP())[:20],
        bytes(FROM_UNIT) + b"\xff",
        bytes(FROM_UNIT / ARP())[:30],
    ],
    ids=[
        "a probe for an address",
        "an answer",
        "a name asked",
        "no datagram",
        "nothing",
        "cut short",
        "odd",
        "half an ARP",
    ],
)
def test_nothing_else_is(packet: Packet | bytes) -> None:
    assert heard(packet) == []


def test_a_chip_s_other_addresses_are_akin_and_another_board_s_are_not() -> None:
    hotspot_by_row, hotspot_by_local_bit = "24:0a:c4:12:34:57", "26:0a:c4:12:34:56"
    assert {hotspot_by_row, hotspot_by_local_bit, "24:0a:c4:12:34:56"} <= akin("24:0a:c4:12:34:56")
    assert not {"24:0a:c4:12:34:5a", "24:0a:c4:12:35:56", "25:0a:c4:12:34:56"} & akin("24:0a:c4:12:34:56")
