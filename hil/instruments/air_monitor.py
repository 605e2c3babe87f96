"""The air monitor: frame bytes in; beacons, join attempts and farewells out, read by scapy.

Its control is the bench's second network, which the unit knows nothing of: while its beacons are heard, with a time
stamp that advances, the monitor was awake. Every frame goes to `air.pcapng`.
"""

import struct
import time
from collections import deque
from contextlib import suppress
from pathlib import Path

from scapy.layers.dot11 import (
    Dot11,
    Dot11AssoReq,
    Dot11Auth,
    Dot11Beacon,
    Dot11Deauth,
    Dot11Disas,
    Dot11Elt,
    Dot11EltRSN,
    Dot11ProbeReq,
    RadioTap,
)
from scapy.packet import Packet
from scapy.utils import RawPcapNgWriter

from hil.core.lag import RECENT, Lag
from hil.core.moments import Json, Moment
from hil.core.timeline import Expired, Timeline
from hil.instruments.dhcp_messages import read_dhcp
from hil.instruments.network_plan import RadioMode, security_by

LINKTYPE_RADIOTAP = 127  # draft-ietf-opsawg-pcaplinktype: 802.11 with a radiotap header
PSK_SUITES, SAE_SUITES = {2, 6}, {8}  # IEEE 802.11-2020 table 9-151: PSK, PSK with SHA-256; SAE
OUI = 0x000FAC  # of the standard's own suites
RATES_ELEMENTS, HT_ELEMENT = (1, 50), 45  # IEEE 802.11-2020 table 9-92
OFDM_RATES = {12, 18, 24, 36, 48, 72, 96, 108}  # in 500 kb/s: 6 to 54 Mb/s (IEEE 802.11-2020 table 17-4)
LAG_AT_FIRST_REAL_S = 0.003  # doubt of a frame's time of arrival, until enough control beacons came; no source
LEAST_LAG_REAL_S = 0.001  # the quickest frame is late too, by what no time stamp tells; common practice, no source
CACHED = 512
TOLD = {0x00, 0x40, 0x80, 0xA0, 0xB0, 0xC0}  # first octets of the frames dissected below (IEEE 802.11-2020 table 9-1)
TSF_S = 1e-6  # IEEE 802.11-2020 11.1.3: the timing synchronization function counts microseconds

Details = dict[str, Json]


class AirMonitor:
    """Turns frames into moments. Whoever captures calls `hear`, from one thread."""

    def __init__(self, timeline: Timeline, capture_file: Path, control_network: str) -> None:
        """Write frames to `capture_file`; beacons of the control network tell how late frames come."""
        self._timeline = timeline
        self._control_network = control_network
        self._lag = Lag(timeline.clock.unit_s(LAG_AT_FIRST_REAL_S))
        self._control_offsets_s: dict[str, deque[float]] = {}
        self._known: dict[bytes, tuple[str, Details]] = {}
        self._monotonic_to_epoch_s = time.time() - time.monotonic()
        self._writer = RawPcapNgWriter(str(capture_file))
        self._writer.linktype = LINKTYPE_RADIOTAP
        self._writer.sync = True
        self._writer.write_header(None)

    def hear(self, frame: bytes, monotonic_s: float) -> None:
        """Take a frame with its radiotap header, captured at a time of the host's monotonic clock."""
        if self._timeline.trouble is None:
            try:
                self._writer.write_packet(frame, sec=monotonic_s + self._monotonic_to_epoch_s, usec=0)
            except OSError as error:
                self._timeline.trouble = f"the run folder takes no more: {error}"
        body = frame[struct.unpack_from("<H", frame, 2)[0] :] if len(frame) > 4 else b""
        if len(body) < 24:
            return
        kind, details = self._read(frame, body)
        if not kind:
            return
        if kind == "beacon" and len(body) >= 32:
            details = details | {"tsf": struct.unpack_from("<Q", body, 24)[0]}
        time_s = self._timeline.clock.at(monotonic_s)
        if kind == "beacon" and details["name"] == self._control_network:
            self._time_control(str(details["from"]), time_s, details)
        self._timeline.add("air", kind, time_s=time_s, doubt_s=self._doubt_s, details=details)

    @property
    def _doubt_s(self) -> float:
        """How late a frame heard now may be."""
        return self._lag.bound_s + self._timeline.clock.unit_s(LEAST_LAG_REAL_S)

    def _time_control(self, sender: str, time_s: float, details: Details) -> None:
        """Measure how late a beacon of the control network came.

        Its time stamp says when it was sent, on a clock with a zero of its own: the lag is how much later it came than
        the quickest of the last ones.
        """
        offsets_s = self._control_offsets_s.setdefault(sender, deque(maxlen=RECENT))
        offset_s = time_s - TSF_S * float(str(details.get("tsf", "nan")))
        offsets_s.append(offset_s)
        self._lag.measured(offset_s - min(offsets_s))

    def hear_dhcp(self, message: bytes, monotonic_s: float) -> None:
        """Take a DHCP message seen on a network."""
        read = read_dhcp(message)
        told: Details = {"message": read.kind if read else "unknown", "octets": message.hex()}
        time_s, doubt_s = self._timeline.clock.at(monotonic_s), self._doubt_s
        self._timeline.add("air", "dhcp", time_s=time_s, doubt_s=doubt_s, details=told)

    def watch(self, name: str, limit_s: float) -> Moment | Expired:
        """Wait for a beacon of a network of that name, from now on."""
        return self._timeline.wait(
            lambda m: m.is_("air", "beacon") and m.data.get("name") == name,
            limit_s=limit_s,
            awaited=f"a beacon of {name!r}",
        )

    def close(self) -> None:
        """Close the capture."""
        with suppress(OSError):  # what a full disk did not take is told by `trouble`
            self._writer.close()

    def _read(self, frame: bytes, body: bytes) -> tuple[str, Details]:
        """Dissect a frame; the same frame but for time stamps and sequence number is dissected once.

        What nothing is told of is not dissected: all that a page is sent in would keep the next beacons waiting.
        """
        if body[0] not in TOLD:
            return "", {}
        has_stamp = body[0] in (0x80, 0x50)  # beacons and probe responses
        key = _without_stamp(frame[: len(frame) - len(body)]) + body[:22] + body[32:] if has_stamp else b""
        if key and key in self._known:
            return self._known[key]
        try:
            result = _dissect(RadioTap(frame))
        except struct.error:  # a frame cut short or spoiled: kept in the capture, told of nothing
            result = "", {}
        if key:
            if len(self._known) >= CACHED:
                self._known.clear()
            self._known[key] = result
        return result


def _without_stamp(header: bytes) -> bytes:
    """A radiotap header less its time stamp: the first field where bit 0 of the one word of flags is set (radiotap.org)."""
    stamped = len(header) >= 16 and header[4] & 1 and not header[7] & 0x80
    return header[:8] + header[16:] if stamped else header


def _dissect(packet: Packet) -> tuple[str, Details]:
    """What kind of frame it is, in our words, with what matters of it; an empty kind for all else."""
    if Dot11 not in packet:
        return "", {}
    head = packet[Dot11]
    details: Details = {"from": head.addr2, "to": head.addr1, "bssid": head.addr3}
    signal = getattr(packet[RadioTap], "dBm_AntSignal", None)
    if signal is not None:
        details["signal_dbm"] = int(signal)
    if Dot11Beacon in packet:
        told: Details = {"channel": _channel(packet), "mode": _mode(packet)}
        return "beacon", details | _name_of(packet) | _secured(packet) | told
    if Dot11ProbeReq in packet:
        return "seeks", details | _name_of(packet)
    if Dot11AssoReq in packet:
        return "associates", details | _name_of(packet)
    if Dot11Auth in packet:
        return "authenticates", details | {"status": int(packet[Dot11Auth].status)}
    for layer in (Dot11Deauth, Dot11Disas):
        if layer in packet:
            return "sent away", details | {"reason": int(packet[layer].reason)}
    return "", {}


def _elements(packet: Packet) -> dict[int, bytes]:
    found: dict[int, bytes] = {}
    element = packet.getlayer(Dot11Elt)
    while element is not None:
        raw = bytes(element)
        if len(raw) >= 2:
            found.setdefault(raw[0], raw[2 : 2 + raw[1]])
        element = element.payload.getlayer(Dot11Elt)
    return found


def _name_of(packet: Packet) -> Details:
    octets = _elements(packet).get(0, b"")
    return {"name": octets.decode("utf-8", errors="backslashreplace"), "name_octets": octets.hex()}


def _channel(packet: Packet) -> int | None:
    octets = _elements(packet).get(3, b"")
    return octets[0] if octets else None


def _mode(packet: Packet) -> RadioMode:
    """The newest that a network speaks: HT by its element, OFDM by a rate of it, DSSS else."""
    found = _elements(packet)
    if HT_ELEMENT in found:
        return "n"
    rates = {rate & 0x7F for element in RATES_ELEMENTS for rate in found.get(element, b"")}  # the top bit: basic
    return "g" if rates & OFDM_RATES else "b"


def _secured(packet: Packet) -> Details:
    """How the network is secured, by its RSN element, and whether its management frames are protected."""
    rsn = packet.getlayer(Dot11EltRSN)
    if rsn is None:
        return {"security": "wep" if packet[Dot11Beacon].cap.privacy else "open", "protected_frames": "off"}
    suites = {int(suite.suite) for suite in rsn.akm_suites if suite.oui == OUI}
    return {
        "security": security_by(psk=bool(suites & PSK_SUITES), sae=bool(suites & SAE_SUITES)),
        "protected_frames": ("required" if rsn.mfp_required else "optional") if rsn.mfp_capable else "off",
    }
