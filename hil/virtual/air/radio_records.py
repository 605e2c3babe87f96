"""What radios of the virtual air tell their users: plans, events, networks seen, and how a dial ends badly."""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from ipaddress import IPv4Address

__all__ = [
    "EventData",
    "FixedAddress",
    "HotspotPlan",
    "OnEvent",
    "RadioEvent",
    "Refused",
    "SeenNetwork",
    "Silent",
    "check_ssid",
]

MAX_SSID_OCTETS = 32
"""IEEE 802.11-2020 9.4.2.2: 0 to 32 octets."""

Value = str | int | float | bytes | None
EventData = Mapping[str, Value]


class Refused(ConnectionRefusedError):
    """A member of the network is at that address, and no service listens on that port."""


class Silent(TimeoutError):
    """Nobody answered within the limit: nobody is there, or we are in no network."""


def check_ssid(ssid: bytes) -> None:
    """Raise ValueError unless an SSID has 0 to 32 octets."""
    if len(ssid) > MAX_SSID_OCTETS:
        raise ValueError(f"SSID {ssid!r} has {len(ssid)} octets: at most {MAX_SSID_OCTETS} are allowed.")


@dataclass(frozen=True)
class HotspotPlan:
    """What an access point shall offer.

    Raises:
        ValueError: SSID over 32 octets, passphrase not of 8 to 63 octets (or 64 hex digits), channel not 1 to 13,
            or an IP address that is none.
    """

    ssid: bytes
    passphrase: bytes | None
    channel: int
    ip: str
    hidden: bool = False
    beacon_interval_tu: int = 100
    lease_s: int = 3600
    lease_delay_s: float | None = 0.0
    """Unit seconds from a discover to its offer; None: the server stays silent."""
    refuses_leases: bool = False
    """The server makes offers, and a nak of every request."""
    weaker_by_db: float = 0.0
    """How much less strongly than usual it sends."""
    tells_name_server: bool = True
    """The server tells itself as name server (option 6 of RFC 2132)."""
    key_management: str = "wpa2"
    """With a passphrase; also "wpa2 and wpa3" or "wpa3", whose SAE is announced only: no station of this air knows it."""
    protected_frames: str = "off"
    """Also "optional" or "required", which keeps stations out, as none of this air protects any."""
    mode: str = "g"
    """Also "b" or "n": what is announced; the air carries all alike."""
    delay_s: float = 0.0
    """Unit seconds by which what it sends by IP comes late."""
    loss: float = 0.0
    """The share of that which is lost."""

    def __post_init__(self) -> None:
        """Refuse what no access point can offer."""
        check_ssid(self.ssid)
        IPv4Address(self.ip)
        if not 1 <= self.channel <= 13:
            raise ValueError(f"channel {self.channel} is not one of 1 to 13.")
        # IEEE 802.11-2020 J.4.1: 8 to 63 characters, or the key itself as 64 hex digits.
        if self.passphrase is not None and not 8 <= len(self.passphrase) <= 64:
            raise ValueError(f"a passphrase of {len(self.passphrase)} octets: 8 to 63 are allowed.")


@dataclass(frozen=True)
class FixedAddress:
    """An address that a station holds without being given it, with the netmask and router of its network.

    Raises:
        ValueError: one of the three is no IPv4 address.
    """

    ip: str
    mask: str
    router: str

    def __post_init__(self) -> None:
        """Refuse what is no address."""
        for text in (self.ip, self.mask, self.router):
            IPv4Address(text)


@dataclass(frozen=True)
class SeenNetwork:
    """A network found by a scan. `security` is "open", "wpa2", "wpa2 and wpa3", "wpa3" or "other", by its RSN element."""

    ssid: bytes
    bssid: bytes
    channel: int
    signal_dbm: int
    security: str
    rsn: bytes = b""


@dataclass(frozen=True)
class RadioEvent:
    """Something that happened to a radio, at a time of `time.monotonic()`.

    Station role: "joined" {ssid, bssid, channel, signal_dbm}, "leased" {ip, mask, router, name_server, lease_s, server},
    "addressed" {ip, mask, router} (its own fixed address),
    "join failed" {reason, why: "not found" | "wrong key" | "refused" | "no lease"}, "left" {reason}.
    Access point role: "station joined" {address}, "station left" {address, reason}, "wrong key" {address, reason},
    "leased" {address, ip}, "lease asked" {address, message}, "announced" {address, ip}.
    """

    kind: str
    monotonic_s: float = field(default_factory=time.monotonic)
    data: EventData = field(default_factory=dict)


OnEvent = Callable[[RadioEvent], None]
