"""What the keeper can be asked for: a fixed list, every argument checked here and nowhere else. Pure.

No argument is handed on as text that some program reads as it likes: interfaces are names of a strict pattern, addresses are
parsed, numbers have bounds, words are of a fixed few, and a network's name goes on as hexadecimal digits. A key is the only text
of a person's; it has no control characters, so that it cannot end its line of a settings file.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, fields
from ipaddress import IPv4Address, IPv4Interface
from typing import Literal, TypeVar, get_args

from hil.instruments.network_words import KeyManagement, ProtectedFrames, RadioMode

INTERFACE = re.compile(r"[a-z][a-z0-9_-]{0,14}")  # of linux/if.h: 15 octets; radios have no other signs in their names
HEX_KEY = re.compile(r"[0-9a-fA-F]{64}")
KEY_OCTETS = range(8, 64)  # IEEE 802.11-2020 J.4.1
CHANNELS = range(1, 15)  # 2.4 GHz
COUNTRY = re.compile(r"[A-Z]{2}")  # ISO 3166-1
NAME_OCTETS = range(1, 33)  # IEEE 802.11-2020 9.4.2.2
LONGEST_LEASE_S, LONGEST_DELAY_S, MOST_RADIOS, MOST_NUMBER = 86_400, 600, 4, 1 << 31
LONGEST_DELAY_MS = 60_000  # ample: waits for an answer grow up to that (RFC 6298, 2.5)
SocketKind = Literal["stream", "datagram"]
Word = TypeVar("Word")


class Refused(Exception):
    """A request that is none of the list, or has an argument that cannot be."""


@dataclass(frozen=True)
class OpenRoom:
    """Make a network namespace with these radios of the host in it."""

    radios: tuple[str, ...]


@dataclass(frozen=True)
class CloseRoom:
    """End what runs in a room, and give it up; its radios go back to the host."""

    room: int


@dataclass(frozen=True)
class MakeSocket:
    """Hand over an IPv4 socket of a room, bound to nothing."""

    room: int
    kind: SocketKind


@dataclass(frozen=True)
class HearPackets:
    """Hand over a socket that hears all packets of an interface, with the kernel's time stamps."""

    room: int
    interface: str


@dataclass(frozen=True)
class SetLink:
    """Set an interface up or down."""

    room: int
    interface: str
    up: bool


@dataclass(frozen=True)
class Flush:
    """Take all addresses off an interface."""

    room: int
    interface: str


@dataclass(frozen=True)
class MakeBridge:
    """Make the room's bridge, with this address, and set it up."""

    room: int
    address: IPv4Interface


@dataclass(frozen=True)
class Monitor:
    """Have a radio hear all of a channel."""

    room: int
    interface: str
    channel: int


@dataclass(frozen=True)
class Impair:
    """Have what an interface sends come late, and a share of it, from 0 to 1, never; with neither as ever again."""

    room: int
    interface: str
    delay_ms: int
    loss: float


@dataclass(frozen=True)
class Network:
    """Run hostapd on a radio, open where there is no key; what it says goes to a file that comes along."""

    room: int
    interface: str
    name: bytes
    key: str | None
    key_management: KeyManagement
    protected_frames: ProtectedFrames
    channel: int
    mode: RadioMode
    hidden: bool
    country: str
    bridged: bool


@dataclass(frozen=True)
class Station:
    """Run wpa_supplicant on a radio; what it says goes to a file that comes along."""

    room: int
    interface: str


@dataclass(frozen=True)
class LeaseServer:
    """Run dnsmasq as a DHCP server alone; what it says goes to a file that comes along.

    `name_server` is told to clients; none is where it is empty; None: the server itself.
    """

    room: int
    interface: str
    first: IPv4Address
    last: IPv4Address
    netmask: IPv4Address
    lease_s: int
    delay_s: int
    name_server: IPv4Address | Literal[""] | None


@dataclass(frozen=True)
class LeaseClient:
    """Run busybox's DHCP client, and hand over where it says what it was given."""

    room: int
    interface: str


@dataclass(frozen=True)
class EndDaemon:
    """End one that was started."""

    daemon: int


Asked = (
    OpenRoom
    | CloseRoom
    | MakeSocket
    | HearPackets
    | SetLink
    | Flush
    | MakeBridge
    | Monitor
    | Impair
    | Network
    | Station
    | LeaseServer
    | LeaseClient
    | EndDaemon
)
KINDS = {kind.__name__: kind for kind in get_args(Asked)}
WITH_LOG = (Network, Station, LeaseServer)


def read(message: dict[str, object]) -> Asked:
    """The request that a message is.

    Raises:
        Refused: it is none.
    """
    asked = message.get("asked")
    kind = KINDS.get(asked) if isinstance(asked, str) else None
    if kind is None:
        raise Refused(f"{asked!r} cannot be asked for")
    wanted = {field.name for field in fields(kind)}
    given = {key: value for key, value in message.items() if key != "asked"}
    if set(given) != wanted:
        raise Refused(f"{kind.__name__} takes {sorted(wanted)}, not {sorted(given)}")
    made: Asked = kind(**{key: CHECKS[key](key, value) for key, value in given.items()})
    return made


def _radios(key: str, value: object) -> tuple[str, ...]:
    if not isinstance(value, list) or not 1 <= len(value) <= MOST_RADIOS:
        raise Refused(f"{key}: one to {MOST_RADIOS} are wanted")
    named = tuple(_interface(key, each) for each in value)
    if len(set(named)) != len(named):
        raise Refused(f"{key}: one is named twice")
    return named


def _interface(key: str, value: object) -> str:
    if not isinstance(value, str) or not INTERFACE.fullmatch(value):
        raise Refused(f"{key}: {value!r} is no name of an interface")
    return value


def _flag(key: str, value: object) -> bool:
    if not isinstance(value, bool):
        raise Refused(f"{key}: {value!r} is neither true nor false")
    return value


def _number(key: str, value: object, least: int, most: int) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= most:
        raise Refused(f"{key}: {value!r} is no whole number from {least} to {most}")
    return value


def _identity(key: str, value: object) -> int:
    return _number(key, value, 1, MOST_NUMBER)


def _channel(key: str, value: object) -> int:
    return _number(key, value, CHANNELS[0], CHANNELS[-1])


def _lease(key: str, value: object) -> int:
    return _number(key, value, 1, LONGEST_LEASE_S)


def _delay(key: str, value: object) -> int:
    return _number(key, value, 0, LONGEST_DELAY_S)


def _delay_ms(key: str, value: object) -> int:
    return _number(key, value, 0, LONGEST_DELAY_MS)


def _loss(key: str, value: object) -> float:
    if not isinstance(value, int | float) or isinstance(value, bool) or not 0.0 <= value < 1.0:
        raise Refused(f"{key}: {value!r} is no share from 0 to less than 1")
    return float(value)


def _word_of(words: tuple[Word, ...]) -> Callable[[str, object], Word]:
    """A check that takes these alone."""

    def check(key: str, value: object) -> Word:
        for word in words:
            if isinstance(value, str) and value == word:
                return word
        raise Refused(f"{key}: {value!r} is none of {', '.join(map(repr, words))}")

    return check


def _address(key: str, value: object) -> IPv4Address:
    try:
        if isinstance(value, str):
            return IPv4Address(value)
    except ValueError:
        pass
    raise Refused(f"{key}: {value!r} is no IPv4 address")


def _name_server(key: str, value: object) -> IPv4Address | Literal[""] | None:
    if value is None:
        return None
    return "" if value == "" else _address(key, value)


def _with_prefix(key: str, value: object) -> IPv4Interface:
    try:
        if isinstance(value, str) and "/" in value:
            return IPv4Interface(value)
    except ValueError:
        pass
    raise Refused(f"{key}: {value!r} is no IPv4 address with its prefix")


def _name(key: str, value: object) -> bytes:
    try:
        name = bytes.fromhex(value) if isinstance(value, str) else b""
    except ValueError:
        name = b""
    if len(name) not in NAME_OCTETS:
        raise Refused(f"{key}: {value!r} is no network's name in hexadecimal digits")
    return name


def _key(key: str, value: object) -> str | None:
    if value is None:
        return None
    if isinstance(value, str) and HEX_KEY.fullmatch(value):
        return value
    if not isinstance(value, str) or not _is_passphrase(value):
        raise Refused(f"{key}: no key of {KEY_OCTETS[0]} to {KEY_OCTETS[-1]} octets without control characters")
    return value


def _is_passphrase(text: str) -> bool:
    try:
        octets = text.encode()
    except UnicodeEncodeError:  # half of a pair
        return False
    return len(octets) in KEY_OCTETS and not any(octet < 0x20 or octet == 0x7F for octet in octets)


def _country(key: str, value: object) -> str:
    if value != "" and not (isinstance(value, str) and COUNTRY.fullmatch(value)):
        raise Refused(f"{key}: {value!r} is no country code")
    return str(value)


CHECKS = {
    "room": _identity,
    "daemon": _identity,
    "radios": _radios,
    "interface": _interface,
    "up": _flag,
    "hidden": _flag,
    "bridged": _flag,
    "kind": _word_of(get_args(SocketKind)),
    "key_management": _word_of(get_args(KeyManagement)),
    "protected_frames": _word_of(get_args(ProtectedFrames)),
    "mode": _word_of(get_args(RadioMode)),
    "address": _with_prefix,
    "channel": _channel,
    "name": _name,
    "key": _key,
    "country": _country,
    "first": _address,
    "last": _address,
    "netmask": _address,
    "lease_s": _lease,
    "delay_s": _delay,
    "delay_ms": _delay_ms,
    "loss": _loss,
    "name_server": _name_server,
}
