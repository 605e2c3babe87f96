"""Packets of an interface as they come, with the kernel's own time stamps; and what of them tells of addresses."""

import socket
import struct
import threading
import time
from collections.abc import Callable, Iterable

from hil.instruments.host.namespace import Namespace

OnPacket = Callable[[bytes, float], None]
OnAddress = Callable[[str, str, float], None]

STAMPS = 35  # SO_TIMESTAMPNS of most machines' <asm/socket.h>, which Python does not name
STAMP = struct.Struct("@qq")  # struct timespec
LONGEST = 65536
SECOND_NS = 1e-9
WAKE_S = 0.2
LEAST_STEP_S = 0.01  # between two packets a wall clock drifts by less, and whoever sets it sets it by more; no source

IPV4, ARP = b"\x08\x00", b"\x08\x06"  # IEEE 802 numbers of IANA: EtherTypes
UDP = 17
DHCP_PORTS = {67, 68}  # RFC 2131, 4.1
ARP_REQUEST = 1
ETHERNET_OCTETS, UDP_OCTETS, ARP_OCTETS = 14, 8, 28


class PacketEar:
    """Hears one interface of a namespace, from now until `close`."""

    def __init__(self, namespace: Namespace, interface: str, on_packet: OnPacket) -> None:
        """Listen; `on_packet` is told each packet and when it came (monotonic), in a thread of its own.

        Raises:
            BenchError: this process may not.
        """
        self._on_packet, self._clock = on_packet, StampClock(time.monotonic(), time.time())
        self._socket, self._closing = namespace.packets(interface), threading.Event()
        self._socket.settimeout(WAKE_S)
        self._thread = threading.Thread(target=self._listen, name=f"packets {interface}", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop listening; while the socket is open the namespace stays."""
        self._closing.set()
        self._thread.join(10.0 * WAKE_S)
        self._socket.close()

    def _listen(self) -> None:
        while not self._closing.is_set():
            packet = b""
            told: list[tuple[int, int, bytes]] = []
            try:
                packet, told, _flags, _where = self._socket.recvmsg(LONGEST, 256)
            except TimeoutError:
                pass
            except OSError:  # the interface is gone: that no control comes by it any more tells it
                return
            begun_s, wall_s, now_s = time.monotonic(), time.time(), time.monotonic()
            self._clock.look(begun_s, wall_s, now_s)
            if packet:
                self._on_packet(packet, self._clock.came_s(_stamp_s(told), now_s))


class StampClock:
    """Turns the kernel's stamps, which are by the host's wall clock, into times of its monotonic one.

    A stamp from before the wall clock was last set tells nothing: such a packet came, at the latest, when it was read.
    """

    def __init__(self, now_s: float, wall_s: float) -> None:
        """Begin at a time of the monotonic clock and the same of the wall clock (s)."""
        self._offset_s, self._steady_since_s = wall_s - now_s, now_s

    def look(self, before_s: float, wall_s: float, after_s: float) -> None:
        """Compare the clocks: the wall clock was read between two readings of the other. The oftener, the less a setting costs.

        Where this process was held up between them, they lie too far apart to tell a small setting.
        """
        offset_s, doubt_s = wall_s - (before_s + after_s) / 2.0, (after_s - before_s) / 2.0
        was_set = abs(offset_s - self._offset_s) > LEAST_STEP_S + doubt_s
        if was_set:
            self._steady_since_s = after_s
        if was_set or doubt_s < LEAST_STEP_S / 2.0:
            self._offset_s = offset_s

    def came_s(self, stamp_s: float | None, now_s: float) -> float:
        """When a packet came that is read now, just after a look (monotonic, s)."""
        came_s = now_s if stamp_s is None else stamp_s - self._offset_s
        return came_s if self._steady_since_s <= came_s <= now_s else now_s


class AddressWatch:
    """Of the packets of a network: its DHCP messages, and the addresses that stations announce as theirs."""

    def __init__(self, on_dhcp: OnPacket = lambda *_: None, on_announced: OnAddress = lambda *_: None) -> None:
        """Tell `on_dhcp` each message and when; `on_announced` a station, its address and when (RFC 5227, 2.3)."""
        self._on_dhcp, self._on_announced = on_dhcp, on_announced

    def hear(self, packet: bytes, came_s: float) -> None:
        """Take a packet with its Ethernet header."""
        kind, content = packet[12:14], packet[ETHERNET_OCTETS:]
        if kind == IPV4:
            message = _dhcp_in(content)
            if message:
                self._on_dhcp(message, came_s)
        elif kind == ARP and len(content) >= ARP_OCTETS:
            operation, sender = struct.unpack_from("!H6s", content, 6)
            own, wanted = content[14:18], content[24:28]
            if operation == ARP_REQUEST and own == wanted:
                self._on_announced(sender.hex(":"), socket.inet_ntoa(own), came_s)


def _dhcp_in(content: bytes) -> bytes:
    """The DHCP message in an IPv4 packet; nothing where it holds none (RFC 791, 3.1; RFC 768)."""
    head = (content[0] & 0x0F) * 4 if content else 0
    if len(content) < head + UDP_OCTETS or content[9] != UDP:
        return b""
    ports = set(struct.unpack_from("!HH", content, head))
    return content[head + UDP_OCTETS :] if ports <= DHCP_PORTS else b""


def _stamp_s(told: Iterable[tuple[int, int, bytes]]) -> float | None:
    for level, kind, octets in told:
        if level == socket.SOL_SOCKET and kind == STAMPS and len(octets) >= STAMP.size:
            seconds, nanoseconds = STAMP.unpack(octets[: STAMP.size])
            return float(seconds + nanoseconds * SECOND_NS)
    return None
