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
LONGEST_LAG_S = 2.0

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
        self._on_packet = on_packet
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
            try:
                packet, told, _flags, _where = self._socket.recvmsg(LONGEST, 256)
            except TimeoutError:
                continue
            except OSError:  # the interface is gone: that no control comes by it any more tells it
                return
            now_s, wall_s = time.monotonic(), time.time()
            lag_s = wall_s - _stamp_s(told, wall_s)
            # The stamp is by the host's wall clock: where that was set meanwhile, it tells nothing.
            self._on_packet(packet, now_s - (lag_s if 0.0 <= lag_s <= LONGEST_LAG_S else 0.0))


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


def _stamp_s(told: Iterable[tuple[int, int, bytes]], otherwise_s: float) -> float:
    for level, kind, octets in told:
        if level == socket.SOL_SOCKET and kind == STAMPS and len(octets) >= STAMP.size:
            seconds, nanoseconds = STAMP.unpack(octets[: STAMP.size])
            return float(seconds + nanoseconds * SECOND_NS)
    return otherwise_s
