"""DHCP as bytes, and the two sides of a lease without any network (RFC 2131; options of RFC 2132).

A message here is the UDP payload alone: no IP or UDP header. The four messages of a lease are discover, offer, request
and ack; a server answers a request it cannot keep with nak.
"""

import random
import struct
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum
from ipaddress import IPv4Address, IPv4Network

_COOKIE = bytes.fromhex("63825363")
_FIXED = ">BBBBIHHIIII16s64s128s"
_FIXED_OCTETS = 236
_SHORTEST_OCTETS = 300
"""A BOOTP message has at least 300 octets (RFC 1542 2.1): padded, for relays that insist on it."""
_PAD, _MASK, _ROUTER, _NAME_SERVER, _ASKED_IP, _LEASE_S = 0, 1, 3, 6, 50, 51
_TYPE, SERVER_OPTION, _WANTED, _CLIENT, _END = 53, 54, 55, 61, 255
_FIRST_HOST, _LAST_HOST = 2, 199
"""Those above are left for addresses set by hand, as is usual."""


class Type(IntEnum):
    """Message types (RFC 2132 9.6)."""

    DISCOVER = 1
    OFFER = 2
    REQUEST = 3
    DECLINE = 4
    ACK = 5
    NAK = 6
    RELEASE = 7
    INFORM = 8


@dataclass(frozen=True)
class Message:
    """A DHCP message taken apart. `yours` is the address given to the client, `client_ip` the one it has already."""

    type: Type
    transaction: int
    hardware: bytes
    client_ip: str = "0.0.0.0"
    yours: str = "0.0.0.0"
    seconds: int = 0
    options: Mapping[int, bytes] = field(default_factory=dict)

    def pack(self) -> bytes:
        """Return the message as bytes, padded to 300 octets."""
        asks = self.type in (Type.DISCOVER, Type.REQUEST, Type.DECLINE, Type.RELEASE, Type.INFORM)
        fixed = struct.pack(
            _FIXED,
            1 if asks else 2,
            1,
            6,
            0,
            self.transaction,
            self.seconds,
            0,
            int(IPv4Address(self.client_ip)),
            int(IPv4Address(self.yours)),
            0,
            0,
            self.hardware,
            b"",
            b"",
        )
        options = {_TYPE: bytes((self.type,)), **self.options}
        tail = b"".join(bytes((number, len(value))) + value for number, value in options.items())
        return (fixed + _COOKIE + tail + bytes((_END,))).ljust(_SHORTEST_OCTETS, b"\0")

    def ip_option(self, number: int) -> str | None:
        """Return an option that is one IP address, None when it is absent or odd."""
        value = self.options.get(number, b"")
        return str(IPv4Address(value)) if len(value) == 4 else None

    def first_ip(self, number: int) -> str:
        """Return the first address of an option that lists some (RFC 2132 3.5, 3.8), empty when there is none."""
        value = self.options.get(number, b"")
        return str(IPv4Address(value[:4])) if value and len(value) % 4 == 0 else ""


def parse(payload: bytes) -> Message | None:
    """Take a message apart; None when it is short, has no magic cookie or no known type."""
    if len(payload) < _FIXED_OCTETS + 4 or payload[_FIXED_OCTETS : _FIXED_OCTETS + 4] != _COOKIE:
        return None
    values = struct.unpack_from(_FIXED, payload)
    options = _read_options(payload[_FIXED_OCTETS + 4 :])
    kind = options.pop(_TYPE, b"\0")[:1] or b"\0"
    if kind[0] not in set(Type):
        return None
    return Message(
        type=Type(kind[0]),
        transaction=values[4],
        hardware=values[11][:6],
        client_ip=str(IPv4Address(values[7])),
        yours=str(IPv4Address(values[8])),
        seconds=values[5],
        options=options,
    )


def _read_options(tail: bytes) -> dict[int, bytes]:
    options: dict[int, bytes] = {}
    at = 0
    while at < len(tail) and tail[at] != _END:
        if tail[at] == _PAD:
            at += 1
            continue
        if at + 1 >= len(tail):
            break
        options[tail[at]] = tail[at + 2 : at + 2 + tail[at + 1]]
        at += 2 + tail[at + 1]
    return options


@dataclass(frozen=True)
class Lease:
    """What a client was given. `router` and `name_server` are the first ones told; empty where none was."""

    ip: str
    mask: str
    router: str
    name_server: str
    server: str
    lease_s: int


class LeaseServer:
    """Gives the addresses of a /24 around its own; a hardware address gets the same one again."""

    def __init__(self, ip: str, lease_s: int, *, refuses: bool = False, tells_name_server: bool = True) -> None:
        """Serve from `ip`, which is also the router and name server told; one that `refuses` keeps no offer it made."""
        self.ip = ip
        self._tells_name_server = tells_name_server
        self._lease_s, self._refuses = lease_s, refuses
        self._network = IPv4Network(f"{ip}/24", strict=False)
        self._given: dict[bytes, str] = {}

    def is_free_for(self, hardware: bytes, ip: str) -> bool:
        """Say whether an address set by hand is one of this network, and nobody else's."""
        others = {self.ip, *(given for holder, given in self._given.items() if holder != hardware)}
        return IPv4Address(ip) in self._network and ip not in others

    def answer(self, message: Message) -> Message | None:
        """Return offer, ack or nak; None when nothing is to be said (another server was chosen, pool empty...)."""
        if message.type is Type.DISCOVER:
            ip = self._address_for(message.hardware, message.ip_option(_ASKED_IP))
            return self._reply(Type.OFFER, message, ip) if ip else None
        if message.type is Type.REQUEST:
            return self._answer_request(message)
        if message.type in (Type.RELEASE, Type.DECLINE):
            self._given.pop(message.hardware, None)
        return None

    def _answer_request(self, message: Message) -> Message | None:
        if message.ip_option(SERVER_OPTION) not in (None, self.ip):
            return None
        # RFC 2131 4.3.2: the wanted address is an option when selecting or after a restart, else the client's own.
        wanted = message.ip_option(_ASKED_IP) or message.client_ip
        if self._refuses or self._address_for(message.hardware, wanted) != wanted:
            return Message(
                Type.NAK, message.transaction, message.hardware, options={SERVER_OPTION: _ip_octets(self.ip)}
            )
        return self._reply(Type.ACK, message, wanted)

    def _address_for(self, hardware: bytes, wanted: str | None) -> str | None:
        if hardware in self._given:
            return self._given[hardware]
        taken = {self.ip, *self._given.values()}
        pool = [str(self._network[host]) for host in range(_FIRST_HOST, _LAST_HOST + 1)]
        free = [ip for ip in pool if ip not in taken]
        if not free:
            return None
        self._given[hardware] = wanted if wanted in free else free[0]
        return self._given[hardware]

    def _reply(self, kind: Type, message: Message, ip: str) -> Message:
        options = {
            SERVER_OPTION: _ip_octets(self.ip),
            _LEASE_S: struct.pack(">I", self._lease_s),
            _MASK: self._network.netmask.packed,
            _ROUTER: _ip_octets(self.ip),
        }
        if self._tells_name_server:
            options[_NAME_SERVER] = _ip_octets(self.ip)
        return Message(kind, message.transaction, message.hardware, message.client_ip, ip, options=options)


class LeaseClient:
    """Asks for an address: feed it what arrives, send what it returns."""

    def __init__(self, hardware: bytes, rng: random.Random) -> None:
        """Begin a transaction with a number from `rng`."""
        self._hardware = hardware
        self._transaction = rng.getrandbits(32)
        self._offer: Message | None = None

    def ask(self, elapsed_s: float) -> bytes:
        """Return a discover, or the request again once an offer has come; `elapsed_s` since the first try."""
        if self._offer is not None:
            return self._request(self._offer, elapsed_s)
        wanted = bytes((_MASK, _ROUTER, _NAME_SERVER))
        return self._message(Type.DISCOVER, elapsed_s, {_WANTED: wanted}).pack()

    def renew(self, lease: Lease) -> bytes:
        """Return the request that asks to keep a lease (RFC 2131 4.3.2, renewing)."""
        return self._message(Type.REQUEST, 0.0, {}, client_ip=lease.ip).pack()

    def receive(self, payload: bytes) -> bytes | Lease | None:
        """Return the request for an offer, the lease of an ack; None for what is not ours, and after a nak."""
        message = parse(payload)
        if message is None or message.transaction != self._transaction or message.hardware != self._hardware:
            return None
        if message.type is Type.OFFER and self._offer is None:
            self._offer = message
            return self._request(message, 0.0)
        if message.type is Type.ACK:
            return _read_lease(message)
        if message.type is Type.NAK:
            self._offer = None
        return None

    def _request(self, offer: Message, elapsed_s: float) -> bytes:
        server = offer.options.get(SERVER_OPTION, bytes(4))
        return self._message(
            Type.REQUEST, elapsed_s, {_ASKED_IP: _ip_octets(offer.yours), SERVER_OPTION: server}
        ).pack()

    def _message(
        self, kind: Type, elapsed_s: float, options: Mapping[int, bytes], client_ip: str = "0.0.0.0"
    ) -> Message:
        own = {_CLIENT: b"\x01" + self._hardware}
        seconds = min(int(elapsed_s), 0xFFFF)
        return Message(kind, self._transaction, self._hardware, client_ip, seconds=seconds, options={**own, **options})


def _read_lease(ack: Message) -> Lease:
    server = ack.ip_option(SERVER_OPTION) or "0.0.0.0"
    lease = ack.options.get(_LEASE_S, b"")
    return Lease(
        ip=ack.yours,
        mask=ack.ip_option(_MASK) or "255.255.255.0",
        router=ack.first_ip(_ROUTER),
        name_server=ack.first_ip(_NAME_SERVER),
        server=server,
        lease_s=struct.unpack(">I", lease)[0] if len(lease) == 4 else 3600,
    )


def _ip_octets(ip: str) -> bytes:
    return IPv4Address(ip).packed
