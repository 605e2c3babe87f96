"""Frames of the virtual air, held against scapy's and tshark's reading of IEEE 802.11 and radiotap.

Reason and status numbers are IEEE 802.11-2020 Tables 9-49 and 9-50; channel centres its 15.4.4.3.
"""

import random
from collections.abc import Callable
from dataclasses import replace

import pytest
from scapy.layers.dot11 import (
    Dot11,
    Dot11AssoReq,
    Dot11AssoResp,
    Dot11Auth,
    Dot11Beacon,
    Dot11Deauth,
    Dot11Disas,
    Dot11Elt,
    Dot11EltRSN,
    Dot11ProbeReq,
    Dot11ProbeResp,
    RadioTap,
)
from scapy.layers.eap import EAPOL, EAPOL_KEY

from hil.virtual.air import frames
from hil.virtual.air.frames import Kind, Offer
from hil.virtual.air.handshake import Authenticator

AP = bytes.fromhex("02a0b0c0d0e1")
STATION = bytes.fromhex("02a0b0c0d0e2")
AP_TEXT, STATION_TEXT, ALL_TEXT = "02:a0:b0:c0:d0:e1", "02:a0:b0:c0:d0:e2", "ff:ff:ff:ff:ff:ff"
OFFER = Offer(ssid=b"Mossgate vent", channel=6, rsn=frames.RSN_PSK_CCMP, interval_tu=100, timestamp_us=123_456_789)


def ssid_by_scapy(packet: Dot11) -> bytes:
    return next(bytes(layer.info) for layer in iterate_elements(packet) if layer.ID == 0)


def iterate_elements(packet: Dot11) -> list[Dot11Elt]:
    found = []
    layer = packet.getlayer(Dot11Elt)
    while isinstance(layer, Dot11Elt):
        found.append(layer)
        layer = layer.payload
    return found


@pytest.mark.parametrize("security", ["wpa2", "wpa2 and wpa3", "wpa3"])
def test_the_security_of_a_network_is_read_back_and_what_is_cut_short_has_none(security: str) -> None:
    content = frames.rsn(security, "required")
    assert (frames.security_of(content), frames.read_rsn(content)[1]) == (security, True)
    assert frames.security_of(b"") == "open"
    assert [frames.security_of(content[:octets]) for octets in range(1, 15)] == ["other"] * 14


def test_scapy_reads_a_beacon() -> None:
    packet = Dot11(frames.beacon(AP, 4095, OFFER))
    body = packet[Dot11Beacon]
    assert (packet.addr1, packet.addr2, packet.addr3, packet.SC >> 4) == (ALL_TEXT, AP_TEXT, AP_TEXT, 4095)
    assert (body.timestamp, body.beacon_interval) == (123_456_789, 100)
    assert ssid_by_scapy(packet) == b"Mossgate vent"
    stats = body.network_stats()
    assert (stats["channel"], stats["crypto"]) == (6, {"WPA2/PSK"})


def test_scapy_reads_the_security_of_a_network() -> None:
    secured = Dot11(frames.probe_response(AP, STATION, 7, OFFER))
    security = secured[Dot11EltRSN]
    assert secured.haslayer(Dot11ProbeResp)
    assert secured.addr1 == STATION_TEXT
    # Suite numbers: IEEE 802.11-2020 Tables 9-149 (cipher 4: CCMP-128) and 9-151 (key management 2: PSK).
    assert security.group_cipher_suite.cipher == 4
    assert [suite.cipher for suite in security.pairwise_cipher_suites] == [4]
    assert [suite.suite for suite in security.akm_suites] == [2]
    # Capabilities: bit 6 frames protection required, bit 7 capable (9.4.2.24.4).
    for protected_frames, capable, required in (("off", 0, 0), ("optional", 1, 0), ("required", 1, 1)):
        mixed = replace(OFFER, rsn=frames.rsn("wpa2 and wpa3", protected_frames))
        security = Dot11(frames.beacon(AP, 1, mixed))[Dot11EltRSN]
        assert [suite.suite for suite in security.akm_suites] == [2, 8]  # 8: SAE
        assert (security.mfp_capable, security.mfp_required) == (capable, required)
    open_offer = Offer(b"open", 1, rsn=b"", interval_tu=100, timestamp_us=0)
    open_network = Dot11(frames.beacon(AP, 1, open_offer))
    assert not open_network.haslayer(Dot11EltRSN)
    assert open_network[Dot11Beacon].network_stats()["crypto"] == {"OPN"}


@pytest.mark.parametrize("octets", range(33))
def test_scapy_reads_back_ssids_of_0_to_32_octets(octets: int) -> None:
    """0 to 32 octets of any value: IEEE 802.11-2020 9.4.2.2."""
    ssid = random.Random(octets).randbytes(octets)
    offer = Offer(ssid, 13, rsn=b"", interval_tu=100, timestamp_us=5)
    assert ssid_by_scapy(Dot11(frames.beacon(AP, 1, offer))) == ssid
    assert ssid_by_scapy(Dot11(frames.probe_request(STATION, 2, ssid))) == ssid
    parsed = frames.parse(frames.beacon(AP, 1, offer))
    assert parsed is not None
    assert frames.read_offer(parsed.body) == offer


def test_scapy_reads_a_join() -> None:
    probe = Dot11(frames.probe_request(STATION, 1, b""))
    assert probe.haslayer(Dot11ProbeReq)
    assert (probe.addr1, probe.addr2, probe.addr3) == (ALL_TEXT, STATION_TEXT, ALL_TEXT)
    ask = Dot11(frames.authentication(AP, STATION, AP, 2, 1))[Dot11Auth]
    assert (ask.algo, ask.seqnum, ask.status) == (0, 1, 0)
    answer = Dot11(frames.authentication(STATION, AP, AP, 2, 2, 13))[Dot11Auth]
    assert (answer.algo, answer.seqnum, answer.status) == (0, 2, 13)
    request = Dot11(frames.association_request(AP, STATION, 3, b"Mossgate vent", secured=True))
    assert request.haslayer(Dot11AssoReq)
    assert request.haslayer(Dot11EltRSN)
    assert ssid_by_scapy(request) == b"Mossgate vent"
    response = Dot11(frames.association_response(STATION, AP, 4, 40, 1))[Dot11AssoResp]
    # The two top bits of the identifier are set on the air: IEEE 802.11-2020 9.4.1.8.
    assert (response.status, response.AID & 0x3FFF) == (40, 1)


@pytest.mark.parametrize(("kind", "layer"), [(Kind.DEAUTHENTICATION, Dot11Deauth), (Kind.DISASSOCIATION, Dot11Disas)])
def test_scapy_reads_a_farewell(kind: Kind, layer: type) -> None:
    packet = Dot11(frames.farewell(kind, STATION, AP, AP, 9, 15))
    assert packet[layer].reason == 15
    assert (packet.addr1, packet.addr2, packet.addr3) == (STATION_TEXT, AP_TEXT, AP_TEXT)


def test_scapy_reads_the_first_handshake_message_both_ways() -> None:
    message = Authenticator(bytes(32), AP, STATION, bytes(16), random.Random(1)).next_message()
    down = Dot11(frames.eapol_data(STATION, AP, AP, 1, message))
    assert (down.addr1, down.addr2, down.addr3) == (STATION_TEXT, AP_TEXT, AP_TEXT)
    assert (down.FCfield.from_DS, down.FCfield.to_DS) == (True, False)
    assert down[EAPOL].len == len(message) - 4
    key = down[EAPOL_KEY]
    assert (key.key_descriptor_type, key.key_descriptor_type_version, key.key_replay_counter) == (2, 2, 1)
    assert (key.key_ack, key.has_key_mic, key.secure, key.install) == (1, 0, 0, 0)
    up = Dot11(frames.eapol_data(AP, STATION, AP, 1, message))
    assert (up.addr1, up.addr2, up.addr3) == (AP_TEXT, STATION_TEXT, AP_TEXT)
    assert (up.FCfield.from_DS, up.FCfield.to_DS) == (False, True)


@pytest.mark.parametrize(("channel", "mhz"), [(1, 2412), (6, 2437), (11, 2462), (13, 2472)])
def test_scapy_reads_the_radiotap_header(channel: int, mhz: int) -> None:
    packet = RadioTap(frames.radiotap(channel, -61, 2**40 + 7) + frames.beacon(AP, 1, OFFER))
    assert (packet.mac_timestamp, packet.ChannelFrequency, packet.dBm_AntSignal) == (2**40 + 7, mhz, -61)
    assert packet.Rate == 1.0
    assert ssid_by_scapy(packet[Dot11]) == b"Mossgate vent"


def test_tshark_reads_every_kind_of_frame(read_by_tshark: Callable[..., list[dict[str, str]]]) -> None:
    message = Authenticator(bytes(32), AP, STATION, bytes(16), random.Random(1)).next_message()
    built = [
        frames.beacon(AP, 1, OFFER),
        frames.probe_request(STATION, 1, b"Mossgate vent"),
        frames.probe_response(AP, STATION, 2, OFFER),
        frames.authentication(AP, STATION, AP, 2, 1),
        frames.association_request(AP, STATION, 3, b"Mossgate vent", secured=True),
        frames.association_response(STATION, AP, 3, 0, 1),
        frames.farewell(Kind.DEAUTHENTICATION, STATION, AP, AP, 4, 15),
        frames.farewell(Kind.DISASSOCIATION, AP, STATION, AP, 5, 8),
        frames.null_data(AP, STATION, 6),
        frames.eapol_data(STATION, AP, AP, 7, message),
    ]
    fields = [
        "wlan.fc.type_subtype", "radiotap.mactime", "radiotap.channel.freq", "radiotap.dbm_antsignal",
        "wlan.ssid", "wlan.rsn.akms.type", "wlan.fixed.reason_code", "wlan.fixed.timestamp", "_ws.malformed",
        "wlan.bssid", "wlan_rsna_eapol.keydes.msgnr",
    ]  # fmt: skip
    read = read_by_tshark([frames.radiotap(6, -48, 1000 + n) + frame for n, frame in enumerate(built)], fields)
    # Type and subtype as in IEEE 802.11-2020 Table 9-1: type in the high four bits as tshark writes it.
    subtypes = [int(row["wlan.fc.type_subtype"], 16) for row in read]
    assert subtypes == [0x08, 0x04, 0x05, 0x0B, 0x00, 0x01, 0x0C, 0x0A, 0x24, 0x20]
    assert [row["radiotap.mactime"] for row in read] == [str(1000 + n) for n in range(10)]
    assert {row["radiotap.channel.freq"] for row in read} == {"2437"}
    assert {row["radiotap.dbm_antsignal"] for row in read} == {"-48"}
    assert {row["_ws.malformed"] for row in read} == {""}
    assert {row["wlan.bssid"] for row in read} == {AP_TEXT, ALL_TEXT}
    named = {row["wlan.ssid"].replace(":", "") for row in read} - {""}
    assert named <= {"Mossgate vent", b"Mossgate vent".hex()}
    assert [bool(row["wlan.ssid"]) for row in read] == [True, True, True, False, True] + [False] * 5
    assert [row["wlan.rsn.akms.type"] for row in read] == ["2", "", "2", "", "2"] + [""] * 5
    assert [int(row["wlan.fixed.reason_code"] or "0", 0) for row in read][6:8] == [15, 8]
    assert int(read[0]["wlan.fixed.timestamp"], 0) == 123_456_789
    assert read[9]["wlan_rsna_eapol.keydes.msgnr"] == "1"


def test_a_frame_cut_anywhere_is_read_without_an_error() -> None:
    whole = frames.beacon(AP, 1, OFFER)
    for length in range(len(whole)):
        parsed = frames.parse(whole[:length])
        assert (parsed is None) == (length < 24)
        if parsed is not None:
            assert (frames.read_offer(parsed.body) is None) == (length < 36)
