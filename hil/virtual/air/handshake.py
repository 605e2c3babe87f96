"""WPA2-PSK: the keys, and both sides of the 4-way handshake, without any radio.

Theory of operation (IEEE 802.11-2020 12.7.6): both sides know the pairwise master key (PMK, from passphrase and SSID).
Message 1 brings the access point's nonce; the station derives the pairwise transient key (PTK) and proves it by the
check value (MIC) of message 2; message 3 proves the access point's and brings the group key, wrapped; message 4
confirms. A wrong MIC is dropped without a word: a wrong passphrase shows only by the access point's patience ending.
"""

import hashlib
import hmac
import random
import struct
from dataclasses import dataclass
from enum import IntFlag
from functools import lru_cache

from cryptography.hazmat.primitives.keywrap import InvalidUnwrap, aes_key_unwrap, aes_key_wrap

from hil.virtual.air.frames import RSN_ELEMENT, RSN_PSK_CCMP, element

_KEY_PACKET = 3
_RSN_DESCRIPTOR = 2
_MIC_AT, _MIC_OCTETS = 81, 16
_FIXED_OCTETS = 99
_HEX_DIGITS = b"0123456789abcdefABCDEF"
_RSN = element(RSN_ELEMENT, RSN_PSK_CCMP)


class KeyInfo(IntFlag):
    """Key information of an EAPOL-Key packet (IEEE 802.11-2020 12.7.2)."""

    HMAC_SHA1_AES = 2
    PAIRWISE = 1 << 3
    INSTALL = 1 << 6
    ACK = 1 << 7
    MIC = 1 << 8
    SECURE = 1 << 9
    ENCRYPTED = 1 << 12


@lru_cache(maxsize=64)
def pairwise_master_key(passphrase: bytes, ssid: bytes) -> bytes:
    """Derive the 32-octet PMK; 64 hex digits are taken as the key itself (IEEE 802.11-2020 J.4.1)."""
    if len(passphrase) == 64 and all(octet in _HEX_DIGITS for octet in passphrase):
        return bytes.fromhex(passphrase.decode("ascii"))
    return hashlib.pbkdf2_hmac("sha1", passphrase, ssid, 4096, 32)


def prf(key: bytes, label: bytes, data: bytes, octets: int) -> bytes:
    """Stretch a key: the PRF of IEEE 802.11-2020 12.7.1.2, by HMAC-SHA1."""
    out = b""
    for counter in range((octets + 19) // 20):
        out += hmac.digest(key, label + b"\0" + data + bytes((counter,)), "sha1")
    return out[:octets]


@dataclass(frozen=True)
class TransientKey:
    """The PTK's parts, 16 octets each: confirmation, encryption of key data, and the data's own key."""

    confirmation: bytes
    encryption: bytes
    temporal: bytes


def pairwise_transient_key(pmk: bytes, ap: bytes, station: bytes, ap_nonce: bytes, nonce: bytes) -> TransientKey:
    """Derive the PTK of CCMP, 384 bits (IEEE 802.11-2020 12.7.1.3)."""
    data = min(ap, station) + max(ap, station) + min(ap_nonce, nonce) + max(ap_nonce, nonce)
    key = prf(pmk, b"Pairwise key expansion", data, 48)
    return TransientKey(key[:16], key[16:32], key[32:])


@dataclass(frozen=True)
class KeyMessage:
    """An EAPOL-Key packet taken apart."""

    info: KeyInfo
    replay: int
    nonce: bytes
    data: bytes

    def pack(self, confirmation: bytes | None = None) -> bytes:
        """Return the packet as bytes, with its MIC when a confirmation key is given."""
        key_octets = 16 if KeyInfo.PAIRWISE in self.info and KeyInfo.ACK in self.info else 0
        fixed = struct.pack(">BHHQ32s", _RSN_DESCRIPTOR, self.info, key_octets, self.replay, self.nonce)
        tail = struct.pack(">16s8s8s16sH", b"", b"", b"", b"", len(self.data)) + self.data
        packet = struct.pack(">BBH", 2, _KEY_PACKET, len(fixed) + len(tail)) + fixed + tail
        if confirmation is None:
            return packet
        return packet[:_MIC_AT] + _mic(confirmation, packet) + packet[_MIC_AT + _MIC_OCTETS :]


def _mic(confirmation: bytes, packet: bytes) -> bytes:
    zeroed = packet[:_MIC_AT] + bytes(_MIC_OCTETS) + packet[_MIC_AT + _MIC_OCTETS :]
    return hmac.digest(confirmation, zeroed, "sha1")[:_MIC_OCTETS]


def mic_holds(confirmation: bytes, packet: bytes) -> bool:
    """Say whether a packet's MIC is that key's."""
    return hmac.compare_digest(_mic(confirmation, packet), packet[_MIC_AT : _MIC_AT + _MIC_OCTETS])


def read_key_message(packet: bytes) -> KeyMessage | None:
    """Take an EAPOL-Key packet apart; None for another packet or a short one."""
    if len(packet) < _FIXED_OCTETS or packet[1] != _KEY_PACKET or packet[4] != _RSN_DESCRIPTOR:
        return None
    info, _, replay, nonce = struct.unpack_from(">HHQ32s", packet, 5)
    length = struct.unpack_from(">H", packet, _FIXED_OCTETS - 2)[0]
    return KeyMessage(KeyInfo(info), replay, nonce, packet[_FIXED_OCTETS : _FIXED_OCTETS + length])


def _pad_for_wrap(data: bytes) -> bytes:
    """Pad key data to a multiple of 8 octets: 0xdd, then zeros (IEEE 802.11-2020 12.7.2)."""
    return data if len(data) % 8 == 0 else data + b"\xdd" + bytes(-(len(data) + 1) % 8)


class Authenticator:
    """The access point's side for one station. `done` after message 4, `doubted` after a message 2 of a wrong key."""

    def __init__(
        self,
        pmk: bytes,
        ap: bytes,
        station: bytes,
        group_key: bytes,
        rng: random.Random,
        rsn: bytes = RSN_PSK_CCMP,
    ) -> None:
        """Begin; nonces come from `rng`, and `rsn` is what the network's beacon announces."""
        self._rsn = element(RSN_ELEMENT, rsn)
        self._pmk, self._ap, self._station, self._group_key = pmk, ap, station, group_key
        self._nonce = rng.randbytes(32)
        self._replay = 0
        self._key: TransientKey | None = None
        self.done = self.doubted = False

    def next_message(self) -> bytes:
        """Return message 1, or 3 once message 2 has come; each call counts the replay counter on."""
        self._replay += 1
        info = KeyInfo.HMAC_SHA1_AES | KeyInfo.PAIRWISE | KeyInfo.ACK
        if self._key is None:
            return KeyMessage(info, self._replay, self._nonce, b"").pack()
        info |= KeyInfo.INSTALL | KeyInfo.MIC | KeyInfo.SECURE | KeyInfo.ENCRYPTED
        group = element(0xDD, bytes.fromhex("000fac010100") + self._group_key)
        data = aes_key_wrap(self._key.encryption, _pad_for_wrap(self._rsn + group))
        return KeyMessage(info, self._replay, self._nonce, data).pack(self._key.confirmation)

    def receive(self, packet: bytes) -> bool:
        """Take message 2 or 4; True when the handshake went a step on."""
        message = read_key_message(packet)
        if self.done or message is None or message.replay != self._replay or KeyInfo.MIC not in message.info:
            return False
        if self._key is None:
            return self._take_second(packet, message)
        self.done = KeyInfo.SECURE in message.info and mic_holds(self._key.confirmation, packet)
        return self.done

    def _take_second(self, packet: bytes, message: KeyMessage) -> bool:
        key = pairwise_transient_key(self._pmk, self._ap, self._station, self._nonce, message.nonce)
        if not mic_holds(key.confirmation, packet):
            self.doubted = True
            return False
        self._key = key
        return True


class Supplicant:
    """The station's side. `done` once message 3 has proved the access point."""

    def __init__(
        self, pmk: bytes, ap: bytes, station: bytes, rng: random.Random, announced: bytes = RSN_PSK_CCMP
    ) -> None:
        """Begin; the nonce comes from `rng`, and `announced` is the RSN element of the network's beacon."""
        self._announced = element(RSN_ELEMENT, announced)
        self._pmk, self._ap, self._station = pmk, ap, station
        self._nonce = rng.randbytes(32)
        self._key: TransientKey | None = None
        self.group_key = b""
        self.done = False

    def receive(self, packet: bytes) -> bytes | None:
        """Take message 1 or 3 and return message 2 or 4; None when there is nothing to say to it."""
        message = read_key_message(packet)
        if message is None or KeyInfo.ACK not in message.info:
            return None
        if KeyInfo.MIC not in message.info:
            return self._second(message)
        return self._fourth(packet, message)

    def _second(self, message: KeyMessage) -> bytes:
        self._key = pairwise_transient_key(self._pmk, self._ap, self._station, message.nonce, self._nonce)
        info = KeyInfo.HMAC_SHA1_AES | KeyInfo.PAIRWISE | KeyInfo.MIC
        return KeyMessage(info, message.replay, self._nonce, _RSN).pack(self._key.confirmation)

    def _fourth(self, packet: bytes, message: KeyMessage) -> bytes | None:
        if self._key is None or not mic_holds(self._key.confirmation, packet):
            return None
        try:
            data = aes_key_unwrap(self._key.encryption, message.data)
        except InvalidUnwrap:
            return None
        if not data.startswith(self._announced):
            return None  # the network promised other security in its beacon: a downgrade (12.7.6.4)
        self.group_key = data[len(self._announced) + 8 :][:16]
        self.done = True
        info = KeyInfo.HMAC_SHA1_AES | KeyInfo.PAIRWISE | KeyInfo.MIC | KeyInfo.SECURE
        return KeyMessage(info, message.replay, bytes(32), b"").pack(self._key.confirmation)
