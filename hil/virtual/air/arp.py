"""ARP announcements as bytes: how a station whose address was set by hand tells its network (RFC 826, RFC 5227).

A message here is the ARP packet alone, 28 octets for IPv4 over a 6-octet hardware address.
"""

import struct
from dataclasses import dataclass
from ipaddress import IPv4Address

_PACKET = struct.Struct(">HHBBH6s4s6s4s")
_ETHERNET, _IPV4, _REQUEST = 1, 0x0800, 1
TRIES, INTERVAL_S = 2, 2.0
"""An announcement is sent twice, two seconds apart (RFC 5227, 1.1: ANNOUNCE_NUM, ANNOUNCE_INTERVAL)."""


@dataclass(frozen=True)
class Announcement:
    """Who holds which address, by its own word."""

    hardware: bytes
    ip: str

    def pack(self) -> bytes:
        """Return the packet: a request in which sender's and target's address are the same (RFC 5227, 2.3)."""
        own = IPv4Address(self.ip).packed
        return _PACKET.pack(_ETHERNET, _IPV4, 6, 4, _REQUEST, self.hardware, own, bytes(6), own)


def read_announcement(packet: bytes) -> Announcement | None:
    """Take a packet apart; None when it is short or no announcement."""
    if len(packet) < _PACKET.size:
        return None
    *head, hardware, sender, _, target = _PACKET.unpack_from(packet)
    if head != [_ETHERNET, _IPV4, 6, 4, _REQUEST] or sender != target:
        return None
    return Announcement(hardware, str(IPv4Address(sender)))
