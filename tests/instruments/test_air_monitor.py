"""The air monitor: frame octets in, moments and a capture out.

Frames are built twice, by the virtual air (itself held against tshark elsewhere) and by scapy from IEEE 802.11-2020; the
capture it writes is read back by scapy and by tshark (Wireshark's dissector), which knows nothing of either. Names of
DHCP messages are those of RFC 2131 table 2; message types those of RFC 2132 9.6.
"""

import json
import os
import random
import shutil
import subprocess
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from scapy.layers.dhcp import BOOTP, DHCP
from scapy.layers.dot11 import (
    AKMSuite,
    Dot11,
    Dot11AssoReq,
    Dot11Auth,
    Dot11Beacon,
    Dot11Deauth,
    Dot11Disas,
    Dot11Elt,
    Dot11EltHTCapabilities,
    Dot11EltRates,
    Dot11EltRSN,
    Dot11FCS,
    Dot11ProbeReq,
    Dot11ProbeResp,
    RadioTap,
    RSNCipherSuite,
)
from scapy.packet import Packet
from scapy.utils import PcapNgReader

from hil.core.clock import Clock
from hil.core.moments import Moment
from hil.core.timeline import Timeline
from hil.instruments.air_monitor import AirMonitor
from hil.virtual.air import frames
from hil.virtual.air.frames import Kind, Offer

AP, STATION = bytes.fromhex("02a0b0c0d0e1"), bytes.fromhex("02a0b0c0d0e2")
AP_TEXT, STATION_TEXT, ALL_TEXT = "02:a0:b0:c0:d0:e1", "02:a0:b0:c0:d0:e2", "ff:ff:ff:ff:ff:ff"
NAME = "mossgate-a731"
TSHARK = shutil.which("tshark")
in_ci = bool(os.environ.get("CI"))
needs_tshark = pytest.mark.skipif(TSHARK is None and not in_ci, reason="tshark is not installed")


class Ear:
    """An air monitor over a clock, with what it told."""

    def __init__(self, folder: Path) -> None:
        self.clock = Clock(2.0)
        self.timeline = Timeline(self.clock)
        self.file = folder / "air.pcapng"
        self.monitor = AirMonitor(self.timeline, self.file, "control-q7")
        self._next_s = 1000.0

    def hear(self, body: bytes | Packet, channel: int = 6, signal_dbm: int = -47) -> tuple[Moment, ...]:
        """Hear one frame, a tenth of a second after the one before; the virtual air's radiotap header ahead of it."""
        mark = self.timeline.mark()
        whole = bytes(body) if isinstance(body, RadioTap) else frames.radiotap(channel, signal_dbm, 1) + bytes(body)
        self._next_s += 0.1
        self.monitor.hear(whole, self._next_s)
        return self.timeline.since(mark)


@pytest.fixture
def ear(tmp_path: Path) -> Iterator[Ear]:
    made = Ear(tmp_path)
    yield made
    made.monitor.close()


def offer(
    name: bytes = NAME.encode(), *, channel: int = 6, rsn: bytes = frames.RSN_PSK_CCMP, stamp_us: int = 123_456
) -> Offer:
    return Offer(name, channel, rsn, 100, stamp_us)


def by_scapy(layer: Packet, receiver: str = ALL_TEXT, sender: str = AP_TEXT, bssid: str = AP_TEXT) -> Packet:
    return Dot11(addr1=receiver, addr2=sender, addr3=bssid) / layer


def ssid(name: bytes) -> Dot11Elt:
    return Dot11Elt(ID=0, info=name)


def scapy_beacon(*suites: int, privacy: bool = True, name: bytes = NAME.encode()) -> Packet:
    capability = "ESS+privacy" if privacy else "ESS"
    layers = Dot11Beacon(cap=capability, timestamp=987_654, beacon_interval=100) / ssid(name)
    layers = layers / Dot11Elt(ID=3, info=b"\x06")
    if suites:
        layers = layers / Dot11EltRSN(
            group_cipher_suite=RSNCipherSuite(cipher=4),
            pairwise_cipher_suites=[RSNCipherSuite(cipher=4)],
            akm_suites=[AKMSuite(suite=suite) for suite in suites],
        )
    return by_scapy(layers)


class TestBeacon:
    """Beacons: who, which name, which security, which channel, and the time stamp."""

    def test_of_the_virtual_air(self, ear: Ear) -> None:
        (seen,) = ear.hear(frames.beacon(AP, 7, offer()))
        assert seen.is_("air", "beacon")
        assert dict(seen.data) == {
            "from": AP_TEXT,
            "to": ALL_TEXT,
            "bssid": AP_TEXT,
            "signal_dbm": -47,
            "name": NAME,
            "name_octets": NAME.encode().hex(),
            "security": "wpa2",
            "protected_frames": "off",
            "channel": 6,
            "mode": "g",
            "tsf": 123_456,
        }

    def test_of_scapy(self, ear: Ear) -> None:
        (seen,) = ear.hear(scapy_beacon(2))
        told = ("name", "security", "channel", "tsf", "from")
        assert [seen.data[key] for key in told] == [NAME, "wpa2", 6, 987_654, AP_TEXT]

    @pytest.mark.parametrize(
        ("packet", "security"),
        [
            (scapy_beacon(2), "wpa2"),  # IEEE 802.11-2020 table 9-151: 2 PSK, 6 PSK with SHA-256
            (scapy_beacon(6), "wpa2"),
            (scapy_beacon(2, 8), "wpa2 and wpa3"),  # 8 SAE
            (scapy_beacon(8), "wpa3"),
            (scapy_beacon(1), "other"),  # IEEE 802.1X
            (scapy_beacon(privacy=False), "open"),
            (scapy_beacon(privacy=True), "wep"),
        ],
    )
    def test_security(self, ear: Ear, packet: Packet, security: str) -> None:
        assert ear.hear(packet)[0].data["security"] == security

    @pytest.mark.parametrize(("capable", "required", "told"), [(0, 0, "off"), (1, 0, "optional"), (1, 1, "required")])
    def test_protected_frames(self, ear: Ear, capable: int, required: int, told: str) -> None:
        packet = scapy_beacon(2)
        packet[Dot11EltRSN].mfp_capable, packet[Dot11EltRSN].mfp_required = capable, required
        assert ear.hear(packet)[0].data["protected_frames"] == told

    @pytest.mark.parametrize(
        ("elements", "mode"),
        [
            (Dot11EltRates(rates=[130, 132, 139, 150]), "b"),
            (Dot11EltRates(rates=[130, 132, 139, 150, 12]), "g"),
            (Dot11EltRates(rates=[130, 132, 139, 150]) / Dot11Elt(ID=50, info=b"\x6c"), "g"),
            (Dot11EltRates(rates=[140]) / Dot11EltHTCapabilities(), "n"),
        ],
    )
    def test_the_newest_that_a_network_speaks(self, ear: Ear, elements: Packet, mode: str) -> None:
        assert ear.hear(scapy_beacon(2) / elements)[0].data["mode"] == mode

    def test_a_network_without_an_rsn_element_of_the_virtual_air(self, ear: Ear) -> None:
        (seen,) = ear.hear(frames.beacon(AP, 1, offer(rsn=b"")))
        assert (seen.data["security"], seen.data["protected_frames"]) == ("open", "off")

    @pytest.mark.parametrize("name", [b"", b"x" * 32, "Gewächshaus".encode(), b"\xff\xfe\x00", b"\x00" * 8])
    def test_any_octets_may_be_a_name(self, ear: Ear, name: bytes) -> None:
        for packet in (frames.beacon(AP, 1, offer(name)), scapy_beacon(2, name=name)):
            (seen,) = ear.hear(packet)
            assert bytes.fromhex(seen.text("name_octets")) == name
            assert isinstance(seen.data["name"], str)
            json.dumps(seen.text("name")).encode()  # can be written down

    def test_each_beacon_is_told_with_its_own_stamp_and_time(self, ear: Ear) -> None:
        """The same frame but for time stamp and sequence number is dissected once, and told each time."""
        seen = [ear.hear(frames.beacon(AP, n, offer(stamp_us=n * 102_400)))[0] for n in range(50)]
        assert [moment.data["tsf"] for moment in seen] == [n * 102_400 for n in range(50)]
        steps = [later.time_s - earlier.time_s for earlier, later in pairwise(seen)]
        assert steps == pytest.approx([0.2] * 49)  # a tenth of a second of the host is 0.2 s at speed 2

    def test_what_differs_by_one_octet_is_another_frame(self, ear: Ear) -> None:
        names = [f"mossgate-{n:04x}".encode() for n in range(20)]
        seen = [ear.hear(frames.beacon(AP, 1, offer(name)))[0].text("name") for name in names for _ in range(2)]
        assert seen == [name.decode() for name in names for _ in range(2)]
        strong, weak = (ear.hear(frames.beacon(AP, 1, offer()), signal_dbm=dbm)[0] for dbm in (-30, -80))
        assert (strong.data["signal_dbm"], weak.data["signal_dbm"]) == (-30, -80)

    def test_a_frame_check_sequence_at_its_end_is_none_of_its_content(self, ear: Ear) -> None:
        """Many monitors hand frames over with their check sequence: radiotap flags bit 0x10."""
        inner = scapy_beacon(2)
        header = RadioTap(present="Flags", Flags="FCS")
        whole = header / Dot11FCS(bytes(Dot11FCS(addr1=ALL_TEXT, addr2=AP_TEXT, addr3=AP_TEXT) / inner.payload))
        (seen,) = ear.hear(whole)
        assert (seen.kind, seen.data["name"], seen.data["security"]) == ("beacon", NAME, "wpa2")


JOINING: list[tuple[str, bytes | Packet, dict[str, object]]] = [
    ("seeks", frames.probe_request(STATION, 3, NAME.encode()), {"from": STATION_TEXT, "to": ALL_TEXT, "name": NAME}),
    ("seeks", frames.probe_request(STATION, 3, b""), {"from": STATION_TEXT, "name": ""}),
    ("seeks", by_scapy(Dot11ProbeReq() / ssid(b"bench-q7"), sender=STATION_TEXT), {"name": "bench-q7"}),
    ("authenticates", frames.authentication(AP, STATION, AP, 4, 1), {"from": STATION_TEXT, "to": AP_TEXT, "status": 0}),
    ("authenticates", by_scapy(Dot11Auth(seqnum=2, status=13), STATION_TEXT), {"to": STATION_TEXT, "status": 13}),
    ("associates", frames.association_request(AP, STATION, 5, NAME.encode(), secured=True), {"name": NAME}),
    ("associates", by_scapy(Dot11AssoReq() / ssid(b"x"), AP_TEXT, STATION_TEXT), {"from": STATION_TEXT, "name": "x"}),
    ("sent away", frames.farewell(Kind.DEAUTHENTICATION, STATION, AP, AP, 6, 3), {"to": STATION_TEXT, "reason": 3}),
    ("sent away", frames.farewell(Kind.DISASSOCIATION, STATION, AP, AP, 6, 8), {"reason": 8}),
    ("sent away", by_scapy(Dot11Deauth(reason=15), STATION_TEXT), {"from": AP_TEXT, "reason": 15}),
    ("sent away", by_scapy(Dot11Disas(reason=4), STATION_TEXT), {"reason": 4}),
]


@pytest.mark.parametrize(
    ("kind", "packet", "details"), JOINING, ids=lambda value: value if isinstance(value, str) else ""
)
def test_joining_and_farewells(ear: Ear, kind: str, packet: bytes | Packet, details: dict[str, object]) -> None:
    (seen,) = ear.hear(packet)
    assert seen.is_("air", kind)
    assert {key: seen.data[key] for key in details} == details


@pytest.mark.parametrize(
    "packet",
    [
        frames.probe_response(AP, STATION, 2, offer()),
        frames.association_response(STATION, AP, 2, 0, 1),
        frames.null_data(AP, STATION, 2),
        frames.eapol_data(STATION, AP, AP, 2, b"\x02\x03\x00\x00"),
        bytes(by_scapy(Dot11ProbeResp() / ssid(NAME.encode()), STATION_TEXT)),
        bytes(Dot11(type="Control", subtype=13, addr1=AP_TEXT)),
    ],
    ids=["probe response", "association response", "null", "EAPOL", "scapy's probe response", "acknowledgement"],
)
def test_all_else_is_recorded_undissected_and_told_of_nothing(
    ear: Ear, packet: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All that a page is sent in, taken apart by scapy, kept beacons waiting for seconds on a slow processor."""
    monkeypatch.delattr("hil.instruments.air_monitor.RadioTap")
    assert ear.hear(packet) == ()
    ear.monitor.close()
    assert len(read_capture(ear.file)) == 1


def test_octets_that_are_no_frames_do_no_harm(ear: Ear) -> None:
    """What an adapter hands over may be anything; seeded, so that a failure can be looked at again."""
    dice = random.Random(5)
    whole = [frames.radiotap(6, -40, 1) + frames.beacon(AP, 1, offer()), bytes(RadioTap() / scapy_beacon(2))]
    rubbish = [b"", b"\x00", b"\x00\x00\xff\xff", b"\xff" * 200, frames.radiotap(6, -40, 1)]
    rubbish += [dice.randbytes(dice.randrange(300)) for _ in range(200)]
    rubbish += [frame[:cut] for frame in whole for cut in range(len(frame))]
    for frame in whole:
        for _ in range(600):
            spoiled = bytearray(frame)
            for _ in range(3):
                spoiled[dice.randrange(len(spoiled))] = dice.randrange(256)
            rubbish.append(bytes(spoiled[: dice.randrange(20, len(spoiled) + 1)]))
    for number, octets in enumerate(rubbish):
        ear.monitor.hear(octets, 2000.0 + number / 10.0)
    assert ear.timeline.trouble is None
    assert all(json.dumps(dict(moment.data)) for moment in ear.timeline.since())
    assert ear.hear(frames.beacon(AP, 1, offer()))[0].text("name") == NAME


class TestCapture:
    """`air.pcapng`: every frame, untouched, with its time."""

    HEARD = (
        frames.beacon(AP, 1, offer()),
        frames.probe_request(STATION, 2, b"bench-q7"),
        frames.authentication(AP, STATION, AP, 3, 1),
        frames.association_request(AP, STATION, 4, NAME.encode(), secured=True),
        frames.null_data(AP, STATION, 5),
        frames.farewell(Kind.DEAUTHENTICATION, STATION, AP, AP, 6, 3),
    )

    @pytest.fixture
    def capture(self, ear: Ear) -> Path:
        for frame in self.HEARD:
            ear.hear(frame)
        return ear.file

    def test_scapy_reads_every_frame_back_octet_for_octet(self, capture: Path) -> None:
        assert read_capture(capture) == [frames.radiotap(6, -47, 1) + frame for frame in self.HEARD]

    def test_a_killed_run_keeps_what_was_heard(self, capture: Path, tmp_path: Path) -> None:
        """Not closed yet: each frame is in the file as soon as it was heard."""
        kept = tmp_path / "kept.pcapng"
        kept.write_bytes(capture.read_bytes())
        assert len(read_capture(kept)) == len(self.HEARD)

    @needs_tshark
    def test_tshark_reads_the_same_frames_with_the_same_fields(self, capture: Path) -> None:
        columns = ("wlan.fc.type_subtype", "wlan.sa", "wlan.bssid", "wlan.ssid", "radiotap.dbm_antsignal")
        rows = tshark(capture, *columns)
        assert len(rows) == len(self.HEARD)
        # IEEE 802.11-2020 table 9-1: beacon 8, probe request 4, authentication 11, association request 0,
        # null data 36 (type 2, subtype 4), deauthentication 12.
        assert [int(row[0], 0) for row in rows] == [8, 4, 11, 0, 36, 12]
        assert [row[1] for row in rows] == [AP_TEXT, STATION_TEXT, STATION_TEXT, STATION_TEXT, STATION_TEXT, AP_TEXT]
        assert [bytes.fromhex(row[3]).decode() for row in rows] == [NAME, "bench-q7", "", NAME, "", ""]
        assert {row[4] for row in rows} == {"-47"}

    @needs_tshark
    def test_tshark_reads_times_a_tenth_of_a_second_apart(self, capture: Path) -> None:
        times = [float(row[0]) for row in tshark(capture, "frame.time_epoch")]
        steps = [later - earlier for earlier, later in pairwise(times)]
        assert steps == pytest.approx([0.1] * (len(self.HEARD) - 1), abs=2e-6)

    def test_a_disk_that_takes_no_more_is_trouble_and_moments_go_on(
        self, ear: Ear, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def full(*_: object, **__: object) -> None:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(ear.monitor._writer, "write_packet", full)
        (seen,) = ear.hear(frames.beacon(AP, 1, offer()))
        assert seen.kind == "beacon"
        assert "No space left on device" in str(ear.timeline.trouble)


def read_capture(file: Path) -> list[bytes]:
    with PcapNgReader(str(file)) as reader:
        return [bytes(packet) for packet in reader]


def tshark(file: Path, *columns: str) -> list[list[str]]:
    """Each frame's fields, as Wireshark reads them."""
    assert TSHARK is not None, "tshark is wanted here: CI has it"
    fields = [part for column in columns for part in ("-e", column)]
    command = [TSHARK, "-n", "-r", str(file), "-T", "fields", "-E", "separator=|", *fields]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True)
    return [line.split("|") for line in done.stdout.splitlines()]


class TestDhcp:
    """DHCP messages seen on a network, by their names."""

    # RFC 2132 9.6 numbers them, RFC 2131 table 2 names them (DHCPDISCOVER and so on).
    NAMES = ("discover", "offer", "request", "decline", "ack", "nak", "release", "inform")

    @pytest.mark.parametrize(("number", "name"), list(enumerate(NAMES, start=1)))
    def test_a_message_built_by_scapy(self, ear: Ear, number: int, name: str) -> None:
        message = bytes(BOOTP(op=1, chaddr=STATION, xid=7) / DHCP(options=[("message-type", number), "end"]))
        ear.monitor.hear_dhcp(message, 1000.5)
        (seen,) = ear.timeline.since()
        assert (seen.kind, seen.data["message"]) == ("dhcp", name)
        assert bytes.fromhex(seen.text("octets")) == message
        assert seen.time_s == pytest.approx(ear.clock.at(1000.5))

    def test_octets_that_are_no_message_do_no_harm(self, ear: Ear) -> None:
        dice = random.Random(6)
        whole = bytes(BOOTP(op=1, chaddr=STATION) / DHCP(options=[("message-type", 3), ("hostname", b"vent"), "end"]))
        rubbish = [b"", b"\x01", dice.randbytes(300), *(whole[:cut] for cut in range(0, len(whole), 3))]
        rubbish += [whole[:-4] + dice.randbytes(4) for _ in range(50)]
        for octets in rubbish:
            mark = ear.timeline.mark()
            ear.monitor.hear_dhcp(octets, 1000.0)
            (seen,) = ear.timeline.since(mark)
            assert bytes.fromhex(seen.text("octets")) == octets


class TestWatch:
    """Waiting for a beacon of a name."""

    def test_it_ends_with_the_name_and_no_other(self, ear: Ear) -> None:
        heard: list[Callable[[], object]] = [
            lambda: ear.hear(frames.beacon(AP, 1, offer(b"mossgate-0000"))),
            lambda: ear.hear(frames.beacon(AP, 2, offer())),
        ]
        ear.timeline.listen(lambda moment: heard.pop(0)() if heard and moment.kind in ("go", "beacon") else None)
        mark = ear.timeline.mark()
        ear.timeline.add("test", "go")
        seen = ear.timeline.wait(lambda m: m.data.get("name") == NAME, limit_s=1.0, awaited="it", since=mark)
        assert isinstance(seen, Moment)
        assert ear.monitor.watch("another", limit_s=0.05).awaited == "a beacon of 'another'"  # type: ignore[union-attr]

    def test_it_expires_and_says_what_it_saw_instead(self, ear: Ear) -> None:
        assert not ear.monitor.watch(NAME, limit_s=0.05)


class TestDoubt:
    """A frame's doubt is the path's own lag, measured by the control network's time stamps."""

    def test_until_enough_came_it_is_an_assumed_one(self, ear: Ear) -> None:
        assert [ear.hear(frames.beacon(AP, 1, offer(name)))[0].doubt_s > 0.0 for name in (b"x", b"control-q7")] == [
            True
        ] * 2

    def test_then_it_holds_the_lags_seen(self, ear: Ear) -> None:
        """Sent every 0.1 s of the host (0.2 s of the unit), and late by 0 to 20 ms of the host."""
        dice = random.Random(7)
        late = [dice.uniform(0.0, 0.020) for _ in range(150)]
        for number, late_s in enumerate(late):
            sent_s = 2000.0 + 0.1 * number
            stamp_us = round(1e6 * 0.2 * number)
            frame = frames.radiotap(6, -47, 1) + frames.beacon(AP, number, offer(b"control-q7", stamp_us=stamp_us))
            ear.monitor.hear(frame, sent_s + late_s)
        (seen,) = ear.hear(frames.beacon(AP, 1, offer()))
        beyond = sum(2.0 * late_s > seen.doubt_s for late_s in late)
        assert beyond <= 0.06 * len(late)
        assert seen.doubt_s <= 2.0 * 0.025  # not padded: the longest lag, and little more
