"""Keys and handshake, held against the standard's vectors (IEEE 802.11-2016 J.3, J.4.2), scapy and tshark.

tshark derives the same keys from the passphrase and our four messages by itself, checks each MIC, and unwraps the
group key of message 3: it shows the keys and the group key only when all of that came out right.
"""

import csv
import random
from collections.abc import Callable
from pathlib import Path

import pytest
from scapy.layers.dot11 import Dot11
from scapy.layers.eap import EAPOL_KEY

from hil.virtual.air import frames
from hil.virtual.air.frames import Offer
from hil.virtual.air.handshake import Authenticator, Supplicant, mic_holds, pairwise_master_key, prf, read_key_message

VECTORS = Path(__file__).parent.parent / "published" / "psk_vectors.csv"
AP = bytes.fromhex("02a0b0c0d0e1")
STATION = bytes.fromhex("02a0b0c0d0e2")
GROUP_KEY = bytes(range(16))


def psk_vectors() -> list[dict[str, str]]:
    with VECTORS.open(encoding="ascii") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def test_all_three_vectors_are_there() -> None:
    assert [vector["ssid"] for vector in psk_vectors()] == ["IEEE", "ThisIsASSID", "Z" * 32]


@pytest.mark.parametrize("vector", psk_vectors(), ids=lambda vector: vector["ssid"])
def test_master_key_is_the_standards(vector: dict[str, str]) -> None:
    key = pairwise_master_key(vector["passphrase"].encode(), vector["ssid"].encode())
    assert key.hex() == vector["psk_hex"]


def test_64_hex_digits_are_the_key_itself() -> None:
    """IEEE 802.11-2020 J.4.1."""
    digits = psk_vectors()[0]["psk_hex"]
    assert pairwise_master_key(digits.encode(), b"any name").hex() == digits


def test_prf_512_is_the_standards() -> None:
    """IEEE 802.11-2016 J.3, case 1."""
    assert prf(b"\x0b" * 20, b"prefix", b"Hi There", 64).hex() == (
        "bcd4c650b30b9684951829e0d75f9d54b862175ed9f00606e17d8da35402ffee"
        "75df78c3d31e0f889f012120c0862beb67753e7439ae242edb8373698356cf5a"
    )


def shake_hands(ap_key: bytes, station_key: bytes) -> tuple[Authenticator, Supplicant, list[bytes]]:
    """Play the handshake until a side has nothing to say; return the packets in order."""
    authenticator = Authenticator(ap_key, AP, STATION, GROUP_KEY, random.Random(1))
    supplicant = Supplicant(station_key, AP, STATION, random.Random(2))
    packets = []
    while not authenticator.done:
        packets.append(authenticator.next_message())
        answer = supplicant.receive(packets[-1])
        if answer is None:
            break
        packets.append(answer)
        if not authenticator.receive(answer):
            break
    return authenticator, supplicant, packets


def test_same_key_ends_in_the_same_group_key() -> None:
    key = pairwise_master_key(b"password", b"IEEE")
    authenticator, supplicant, packets = shake_hands(key, key)
    assert (authenticator.done, supplicant.done, len(packets)) == (True, True, 4)
    assert supplicant.group_key == GROUP_KEY


def test_another_key_is_doubted_and_gets_no_third_message() -> None:
    authenticator, supplicant, packets = shake_hands(
        pairwise_master_key(b"password", b"IEEE"), pairwise_master_key(b"passwore", b"IEEE")
    )
    assert (authenticator.done, authenticator.doubted, supplicant.done, len(packets)) == (False, True, False, 2)


def test_a_changed_bit_anywhere_in_the_second_message_is_noticed() -> None:
    key = pairwise_master_key(b"password", b"IEEE")
    authenticator = Authenticator(key, AP, STATION, GROUP_KEY, random.Random(1))
    second = Supplicant(key, AP, STATION, random.Random(2)).receive(authenticator.next_message())
    assert second is not None
    for at in range(4, len(second)):
        changed = second[:at] + bytes((second[at] ^ 1,)) + second[at + 1 :]
        assert not authenticator.receive(changed), at
    assert authenticator.receive(second)


def test_an_old_replay_counter_is_dropped() -> None:
    """IEEE 802.11-2020 12.7.2: an answer to an earlier message is not taken."""
    key = pairwise_master_key(b"password", b"IEEE")
    authenticator = Authenticator(key, AP, STATION, GROUP_KEY, random.Random(1))
    old = Supplicant(key, AP, STATION, random.Random(2)).receive(authenticator.next_message())
    authenticator.next_message()
    assert old is not None
    assert not authenticator.receive(old)


def on_air(packets: list[bytes]) -> list[bytes]:
    """Return the packets as frames in turn from the access point and the station."""
    return [
        frames.eapol_data(STATION, AP, AP, number, packet)
        if number % 2 == 0
        else frames.eapol_data(AP, STATION, AP, number, packet)
        for number, packet in enumerate(packets)
    ]


def test_scapy_reads_the_four_messages() -> None:
    """Which flags each message carries: IEEE 802.11-2020 12.7.6.2 to 12.7.6.5."""
    key = pairwise_master_key(b"password", b"IEEE")
    _, _, packets = shake_hands(key, key)
    read = [Dot11(frame)[EAPOL_KEY] for frame in on_air(packets)]
    flags = [(k.key_type, k.key_ack, k.has_key_mic, k.install, k.secure, k.encrypted_key_data) for k in read]
    assert flags == [(1, 1, 0, 0, 0, 0), (1, 0, 1, 0, 0, 0), (1, 1, 1, 1, 1, 1), (1, 0, 1, 0, 1, 0)]
    assert [k.key_replay_counter for k in read] == [1, 1, 2, 2]
    assert [k.guess_key_number() for k in read] == [1, 2, 3, 4]


@pytest.mark.parametrize("vector", psk_vectors(), ids=lambda vector: vector["ssid"])
def test_tshark_derives_the_same_keys(
    vector: dict[str, str], read_by_tshark: Callable[..., list[dict[str, str]]]
) -> None:
    key = bytes.fromhex(vector["psk_hex"])
    _, _, packets = shake_hands(key, key)
    beacon = frames.beacon(
        AP, 1, Offer(vector["ssid"].encode(), 6, rsn=frames.RSN_PSK_CCMP, interval_tu=100, timestamp_us=0)
    )
    captured = [frames.radiotap(6, -48, n) + frame for n, frame in enumerate([beacon, *on_air(packets)])]
    options = [
        "-o", "wlan.enable_decryption:TRUE",
        "-o", f'uat:80211_keys:"wpa-pwd","{vector["passphrase"]}:{vector["ssid"]}"',
    ]  # fmt: skip
    fields = ["wlan_rsna_eapol.keydes.msgnr", "wlan.rsn.ie.gtk_kde.gtk", "wlan.analysis.kck"]
    read = read_by_tshark(captured, fields, options)
    assert [row["wlan_rsna_eapol.keydes.msgnr"] for row in read] == ["", "1", "2", "3", "4"]
    assert read[3]["wlan.rsn.ie.gtk_kde.gtk"].replace(":", "") == GROUP_KEY.hex()
    confirmation = bytes.fromhex(read[3]["wlan.analysis.kck"].replace(":", ""))
    assert [mic_holds(confirmation, packet) for packet in packets] == [False, True, True, True]


def test_tshark_unwraps_nothing_under_another_passphrase(read_by_tshark: Callable[..., list[dict[str, str]]]) -> None:
    """The witness can say no: the check above would fail on wrong keys."""
    key = pairwise_master_key(b"password", b"IEEE")
    _, _, packets = shake_hands(key, key)
    beacon = frames.beacon(AP, 1, Offer(b"IEEE", 6, rsn=frames.RSN_PSK_CCMP, interval_tu=100, timestamp_us=0))
    captured = [frames.radiotap(6, -48, n) + frame for n, frame in enumerate([beacon, *on_air(packets)])]
    options = ["-o", "wlan.enable_decryption:TRUE", "-o", 'uat:80211_keys:"wpa-pwd","passwore:IEEE"']
    read = read_by_tshark(captured, ["wlan.rsn.ie.gtk_kde.gtk", "wlan.analysis.kck"], options)
    assert {text for row in read for text in row.values()} == {""}


def test_a_packet_cut_anywhere_is_read_without_an_error() -> None:
    key = pairwise_master_key(b"password", b"IEEE")
    third = shake_hands(key, key)[2][2]
    for length in range(len(third)):
        assert (read_key_message(third[:length]) is None) == (length < 99)
