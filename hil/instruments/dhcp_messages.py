"""DHCP messages, as far as an access point tells of them, read by scapy."""

from dataclasses import dataclass

from scapy.layers.dhcp import BOOTP, DHCP, DHCPTypes

OCTETS = 240  # the least of one: RFC 951, and the magic cookie of RFC 1497


@dataclass(frozen=True, slots=True)
class DhcpMessage:
    """One of them: its kind as RFC 2131 calls it, in small letters, without "DHCP"; the station, and what it is given."""

    kind: str
    address: str
    ip: str


def read_dhcp(octets: bytes) -> DhcpMessage | None:
    """Read one; None where it is none, or of no known kind."""
    packet = BOOTP(octets) if len(octets) >= OCTETS else None
    if packet is None or DHCP not in packet:
        return None
    for option in packet[DHCP].options:
        if isinstance(option, tuple) and len(option) == 2 and option[0] == "message-type" and option[1] in DHCPTypes:
            return DhcpMessage(str(DHCPTypes[option[1]]), bytes(packet.chaddr[:6]).hex(":"), str(packet.yiaddr))
    return None
