"""802.11 frames as bytes: built and read by struct, without the frame check sequence.

Layouts follow IEEE 802.11-2020 clause 9 (management frames 9.3.3, elements 9.4.2) and the radiotap field list
(radiotap.org). Numbers inside frames are little-endian.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from enum import IntEnum

BROADCAST = b"\xff" * 6
TU_US = 1024
"""A time unit in microseconds (IEEE 802.11-2020 clause 3)."""

SSID_ELEMENT, RATES_ELEMENT, CHANNEL_ELEMENT, TIM_ELEMENT = 0, 1, 3, 5
RSN_ELEMENT, MORE_RATES_ELEMENT = 48, 50
HT_CAPABILITIES_ELEMENT, HT_OPERATION_ELEMENT = 45, 61

HEADER_OCTETS = 24
SEQUENCE_AT, TIMESTAMP_AT = 22, 24
"""Where the sequence control, and in beacons and probe responses the timestamp, begin."""

_ESS, _PRIVACY, _SHORT_PREAMBLE, _SHORT_SLOT = 0x0001, 0x0010, 0x0020, 0x0400
_TO_AP, _FROM_AP = 0x01, 0x02
# Basic rates 1, 2, 5.5 and 11 Mb/s, then 18, 24, 36, 54; in 500 kb/s, top bit: basic. Common practice, no source.
_RATES = bytes.fromhex("82848b962430486c")
_MORE_RATES = bytes.fromhex("0c121860")
_OLD_RATES = _RATES[:4]
# A set of what 20 MHz of one stream can: MCS 0 to 7 (IEEE 802.11-2020 9.4.2.55); the first octet of HT operation: the channel.
_HT_CAPABILITIES = bytes.fromhex("0c00" + "03" + "ff" + 22 * "00")
_HT_OPERATION_REST = bytes(21)
# Version 1; group and pairwise cipher CCMP (IEEE 802.11-2020 9.4.2.24).
_RSN_CCMP = bytes.fromhex("0100000fac040100000fac04")
PSK_SUITE, SAE_SUITE = bytes.fromhex("000fac02"), bytes.fromhex("000fac08")
"""Key management (table 9-151)."""
_SUITES = {"wpa2": (PSK_SUITE,), "wpa2 and wpa3": (PSK_SUITE, SAE_SUITE), "wpa3": (SAE_SUITE,)}
_FRAMES_REQUIRED, _FRAMES_PROTECTED = 0x40, 0x80
_PROTECTED = {"off": 0, "optional": _FRAMES_PROTECTED, "required": _FRAMES_PROTECTED | _FRAMES_REQUIRED}
_SNAP_EAPOL = bytes.fromhex("aaaa03000000888e")


class Kind(IntEnum):
    """The first octet of a frame: type and subtype."""

    ASSOCIATION_REQUEST = 0x00
    ASSOCIATION_RESPONSE = 0x10
    PROBE_REQUEST = 0x40
    PROBE_RESPONSE = 0x50
    BEACON = 0x80
    DISASSOCIATION = 0xA0
    AUTHENTICATION = 0xB0
    DEAUTHENTICATION = 0xC0
    DATA = 0x08
    NULL_DATA = 0x48


_KINDS = frozenset(int(kind) for kind in Kind)


class Reason(IntEnum):
    """Reason codes used here (IEEE 802.11-2020 Table 9-49)."""

    LEAVING = 3
    INACTIVITY = 4
    NOT_ASSOCIATED = 7
    HANDSHAKE_TIMEOUT = 15


class Status(IntEnum):
    """Status codes used here (IEEE 802.11-2020 Table 9-50)."""

    SUCCESS = 0
    UNSPECIFIED = 1
    ALGORITHM_NOT_SUPPORTED = 13
    FRAMES_NOT_PROTECTED = 31
    INVALID_ELEMENT = 40
    INVALID_KEY_MANAGEMENT = 43


@dataclass(frozen=True)
class Frame:
    """A frame taken apart. `body` is what follows the 24-octet header."""

    kind: Kind
    receiver: bytes
    sender: bytes
    bssid: bytes
    sequence: int
    body: bytes


@dataclass(frozen=True)
class Offer:
    """What a beacon or probe response says of its network. `channel` is 0 when it does not say, `rsn` empty when open."""

    ssid: bytes
    channel: int
    rsn: bytes
    interval_tu: int
    timestamp_us: int
    mode: str = "g"
    """The newest that the network speaks, of b, g and n; not read back."""


def parse(frame: bytes) -> Frame | None:
    """Take a frame apart; None for one that is too short or of a kind not used here."""
    if len(frame) < HEADER_OCTETS or frame[0] not in _KINDS:
        return None
    kind = Kind(frame[0])
    first, second, third = frame[4:10], frame[10:16], frame[16:22]
    sequence = struct.unpack_from("<H", frame, SEQUENCE_AT)[0] >> 4
    receiver, sender, bssid = first, second, third
    if kind in (Kind.DATA, Kind.NULL_DATA):
        # IEEE 802.11-2020 Table 9-30: to the access point, address 1 is the BSSID; from it, address 2 is.
        from_ap = bool(frame[1] & _FROM_AP)
        receiver, sender, bssid = (first, third, second) if from_ap else (third, second, first)
    return Frame(kind, receiver, sender, bssid, sequence, frame[HEADER_OCTETS:])


def _header(kind: Kind, receiver: bytes, sender: bytes, third: bytes, sequence: int, flags: int = 0) -> bytes:
    return struct.pack("<BBH6s6s6sH", kind, flags, 0, receiver, sender, third, (sequence & 0xFFF) << 4)


def element(number: int, content: bytes) -> bytes:
    """Build one information element."""
    return bytes((number, len(content))) + content


def elements(body: bytes) -> Iterator[tuple[int, bytes]]:
    """Yield (number, content) of each information element; stops at one that runs over the end."""
    at = 0
    while at + 2 <= len(body) and at + 2 + body[at + 1] <= len(body):
        yield body[at], body[at + 2 : at + 2 + body[at + 1]]
        at += 2 + body[at + 1]


def find_element(body: bytes, number: int) -> bytes | None:
    """Return the first element of that number, None when there is none."""
    return next((content for found, content in elements(body) if found == number), None)


def rsn(security: str, protected_frames: str = "off") -> bytes:
    """Build the RSN element's content of a network that is so secured: "wpa2", "wpa2 and wpa3" or "wpa3"."""
    suites = _SUITES[security]
    count, capabilities = struct.pack("<H", len(suites)), struct.pack("<H", _PROTECTED[protected_frames])
    return _RSN_CCMP + count + b"".join(suites) + capabilities


RSN_PSK_CCMP = rsn("wpa2")
"""What a station says that knows WPA2 alone, and no protected frames."""


def read_rsn(content: bytes) -> tuple[list[bytes], bool]:
    """Return the key management suites of an RSN element, and whether it demands protected frames."""
    rest, suites = content[6:], list[bytes]()  # after version and group cipher
    for _ in range(2):  # pairwise ciphers, then key management
        count = int.from_bytes(rest[:2], "little")
        suites = [rest[at : at + 4] for at in range(2, min(2 + 4 * count, len(rest)), 4)]
        rest = rest[2 + 4 * count :]
    return suites, bool(rest[:1] and rest[0] & _FRAMES_REQUIRED)


def security_of(content: bytes) -> str:
    """What a network of that RSN element's content is called: "open" without one, "other" with neither PSK nor SAE."""
    suites, _ = read_rsn(content)
    named = next((name for name, ours in _SUITES.items() if set(ours) == {PSK_SUITE, SAE_SUITE} & set(suites)), "other")
    return named if content else "open"


def _offer_body(offer: Offer, *, tim: bool) -> bytes:
    capability = _ESS | _SHORT_PREAMBLE | _SHORT_SLOT | (_PRIVACY if offer.rsn else 0)
    return b"".join(
        (
            struct.pack("<QHH", offer.timestamp_us, offer.interval_tu, capability),
            element(SSID_ELEMENT, offer.ssid),
            element(RATES_ELEMENT, _OLD_RATES if offer.mode == "b" else _RATES),
            element(CHANNEL_ELEMENT, bytes((offer.channel,))),
            element(TIM_ELEMENT, bytes((0, 1, 0, 0))) if tim else b"",
            element(MORE_RATES_ELEMENT, _MORE_RATES) if offer.mode != "b" else b"",
            element(RSN_ELEMENT, offer.rsn) if offer.rsn else b"",
            element(HT_CAPABILITIES_ELEMENT, _HT_CAPABILITIES) if offer.mode == "n" else b"",
            element(HT_OPERATION_ELEMENT, bytes((offer.channel,)) + _HT_OPERATION_REST) if offer.mode == "n" else b"",
        )
    )


def beacon(bssid: bytes, sequence: int, offer: Offer) -> bytes:
    """Build a beacon; a hidden network gives an empty SSID in its offer."""
    body = _offer_body(offer, tim=True)
    return _header(Kind.BEACON, BROADCAST, bssid, bssid, sequence) + body


def probe_response(bssid: bytes, receiver: bytes, sequence: int, offer: Offer) -> bytes:
    """Build the answer to a probe request."""
    body = _offer_body(offer, tim=False)
    return _header(Kind.PROBE_RESPONSE, receiver, bssid, bssid, sequence) + body


def read_offer(body: bytes) -> Offer | None:
    """Read the body of a beacon or probe response; None when it is cut short."""
    if len(body) < 12:
        return None
    timestamp_us, interval_tu, _ = struct.unpack_from("<QHH", body)
    found = dict(reversed(list(elements(body[12:]))))
    channel = found.get(CHANNEL_ELEMENT, b"")
    return Offer(
        ssid=found.get(SSID_ELEMENT, b""),
        channel=channel[0] if channel else 0,
        rsn=found.get(RSN_ELEMENT, b""),
        interval_tu=interval_tu,
        timestamp_us=timestamp_us,
    )


def probe_request(sender: bytes, sequence: int, ssid: bytes) -> bytes:
    """Build a probe request; an empty SSID asks every network (the wildcard)."""
    body = element(SSID_ELEMENT, ssid) + element(RATES_ELEMENT, _RATES) + element(MORE_RATES_ELEMENT, _MORE_RATES)
    return _header(Kind.PROBE_REQUEST, BROADCAST, sender, BROADCAST, sequence) + body


def authentication(receiver: bytes, sender: bytes, bssid: bytes, sequence: int, step: int, status: int = 0) -> bytes:
    """Build an open-system authentication frame; step 1 asks, step 2 answers."""
    return _header(Kind.AUTHENTICATION, receiver, sender, bssid, sequence) + struct.pack("<HHH", 0, step, status)


def read_authentication(body: bytes) -> tuple[int, int, int] | None:
    """Return (algorithm, step, status)."""
    if len(body) < 6:
        return None
    algorithm, step, status = struct.unpack_from("<HHH", body)
    return algorithm, step, status


def association_request(bssid: bytes, sender: bytes, sequence: int, ssid: bytes, *, secured: bool) -> bytes:
    """Build an association request; a secured one carries the RSN element."""
    capability = _ESS | _SHORT_PREAMBLE | _SHORT_SLOT | (_PRIVACY if secured else 0)
    body = struct.pack("<HH", capability, 10) + element(SSID_ELEMENT, ssid) + element(RATES_ELEMENT, _RATES)
    body += element(MORE_RATES_ELEMENT, _MORE_RATES)
    body += element(RSN_ELEMENT, RSN_PSK_CCMP) if secured else b""
    return _header(Kind.ASSOCIATION_REQUEST, bssid, sender, bssid, sequence) + body


def association_response(receiver: bytes, bssid: bytes, sequence: int, status: int, number: int) -> bytes:
    """Build an association response; `number` is the association identifier, 1 to 2007."""
    capability = _ESS | _SHORT_PREAMBLE | _SHORT_SLOT
    body = struct.pack("<HHH", capability, status, 0xC000 | number) + element(RATES_ELEMENT, _RATES)
    body += element(MORE_RATES_ELEMENT, _MORE_RATES)
    return _header(Kind.ASSOCIATION_RESPONSE, receiver, bssid, bssid, sequence) + body


def read_association_status(body: bytes) -> int | None:
    """Return the status code of an association response."""
    return int(struct.unpack_from("<H", body, 2)[0]) if len(body) >= 6 else None


def farewell(kind: Kind, receiver: bytes, sender: bytes, bssid: bytes, sequence: int, reason: int) -> bytes:
    """Build a deauthentication or disassociation."""
    return _header(kind, receiver, sender, bssid, sequence) + struct.pack("<H", reason)


def read_reason(body: bytes) -> int | None:
    """Return the reason code of a deauthentication or disassociation."""
    return int(struct.unpack_from("<H", body)[0]) if len(body) >= 2 else None


def null_data(bssid: bytes, sender: bytes, sequence: int) -> bytes:
    """Build the empty data frame by which a station says it is still there."""
    return _header(Kind.NULL_DATA, bssid, sender, bssid, sequence, _TO_AP)


def eapol_data(receiver: bytes, sender: bytes, bssid: bytes, sequence: int, payload: bytes) -> bytes:
    """Build the data frame that carries an EAPOL packet, to the access point or from it."""
    if sender == bssid:
        header = _header(Kind.DATA, receiver, bssid, sender, sequence, _FROM_AP)
    else:
        header = _header(Kind.DATA, bssid, sender, receiver, sequence, _TO_AP)
    return header + _SNAP_EAPOL + payload


def read_eapol(body: bytes) -> bytes | None:
    """Return the EAPOL packet in a data frame's body, None when it carries something else."""
    return body[len(_SNAP_EAPOL) :] if body.startswith(_SNAP_EAPOL) else None


def channel_mhz(channel: int) -> int:
    """Return the centre frequency of a 2.4 GHz channel, 1 to 13 (IEEE 802.11-2020 15.4.4.3)."""
    return 2407 + 5 * channel


def radiotap(channel: int, signal_dbm: int, tsft_us: int) -> bytes:
    """Build a radiotap header: TSFT, flags (no frame check sequence), rate 1 Mb/s, channel, antenna signal."""
    present = 1 << 0 | 1 << 1 | 1 << 2 | 1 << 3 | 1 << 5
    ghz2_cck = 0x00A0
    return struct.pack("<BBHIQBBHHb", 0, 0, 23, present, tsft_us, 0, 2, channel_mhz(channel), ghz2_cck, signal_dbm)
