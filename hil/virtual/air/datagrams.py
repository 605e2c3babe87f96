"""Datagrams as bytes: UDP over IPv4, both headers and all (RFC 768, RFC 791).

Packets here have no options and are never cut into fragments.
"""

import struct
from dataclasses import dataclass
from ipaddress import IPv4Address

_IP = struct.Struct(">BBHHHBBH4s4s")
_UDP = struct.Struct(">HHHH")
_VERSION_AND_LENGTH, _TIME_TO_LIVE, _UDP_NUMBER = 0x45, 64, 17
_NEVER_CUT = 0x4000
LONGEST_PAYLOAD_OCTETS = 1472
"""What one frame of a usual network holds: 1500 octets less both headers."""


@dataclass(frozen=True)
class Datagram:
    """One datagram, from an address and port to another.

    Raises:
        ValueError: an address that is none, a port beyond 16 bits, or more octets than one frame holds.
    """

    source: str
    source_port: int
    target: str
    target_port: int
    payload: bytes

    def __post_init__(self) -> None:
        """Refuse what nobody can send."""
        for address in (self.source, self.target):
            IPv4Address(address)
        if not all(0 < port < 1 << 16 for port in (self.source_port, self.target_port)):
            raise ValueError(f"ports {self.source_port} and {self.target_port}: each is from 1 to 65535.")
        if len(self.payload) > LONGEST_PAYLOAD_OCTETS:
            raise ValueError(f"{len(self.payload)} octets: at most {LONGEST_PAYLOAD_OCTETS} are carried.")

    def pack(self) -> bytes:
        """Return the packet."""
        ends = IPv4Address(self.source).packed, IPv4Address(self.target).packed
        length = _UDP.size + len(self.payload)
        body = _UDP.pack(self.source_port, self.target_port, length, 0) + self.payload
        sum_ = _checksum(b"".join(ends) + struct.pack(">HH", _UDP_NUMBER, length) + body)
        body = body[:6] + struct.pack(">H", sum_ or 0xFFFF) + body[8:]  # RFC 768: all zero would mean "no checksum"
        fields = (_VERSION_AND_LENGTH, 0, _IP.size + length, 0, _NEVER_CUT, _TIME_TO_LIVE, _UDP_NUMBER)
        head = _IP.pack(*fields, 0, *ends)
        return _IP.pack(*fields, _checksum(head), *ends) + body


def parse(packet: bytes) -> Datagram | None:
    """Take a packet apart; None when it is cut short, damaged, or no UDP."""
    if len(packet) < _IP.size + _UDP.size:
        return None
    version, _, length, _, _, _, number, _, source, target = _IP.unpack_from(packet)
    source_port, target_port, udp_length, udp_sum = _UDP.unpack_from(packet, _IP.size)
    whole = length == len(packet) == _IP.size + udp_length
    if version != _VERSION_AND_LENGTH or number != _UDP_NUMBER or not whole or _checksum(packet[: _IP.size]):
        return None
    pseudo_head = source + target + struct.pack(">HH", number, udp_length)
    if udp_sum and _checksum(pseudo_head + packet[_IP.size :]):
        return None
    ends = str(IPv4Address(source)), source_port, str(IPv4Address(target)), target_port
    try:
        return Datagram(*ends, packet[_IP.size + _UDP.size :])
    except ValueError:
        return None


def _checksum(octets: bytes) -> int:
    """Return the one's complement of the one's complement sum of 16-bit words (RFC 1071); 0 over what bears a right one."""
    padded = octets + b"\0" * (len(octets) % 2)
    total = sum(int.from_bytes(padded[at : at + 2], "big") for at in range(0, len(padded), 2))
    while total >> 16:
        total = (total & 0xFFFF) + (total >> 16)
    return ~total & 0xFFFF
