"""Frames from a radio in monitor mode, with the kernel's own time stamps, for an `AirMonitor` to read.

Only frames from or to a station that the run is about are handed on: those of strangers are never kept.
"""

import struct
from collections.abc import Iterable

from hil.core.errors import BenchError
from hil.instruments.host.namespace import Namespace
from hil.instruments.host.packets import OnPacket, PacketEar

LOCAL_BIT = 0x02  # IEEE 802-2014, 8.2: of an address that no maker was given
NUMBERED = 4  # addresses in a row that a chip takes from the one it was made with
RECEIVER, TRANSMITTER = (
    slice(4, 10),
    slice(10, 16),
)  # IEEE 802.11-2020 9.2.3: in every frame, and in all but acknowledgements


def akin(address: str) -> set[str]:
    """The addresses that a chip of this address may have on the air: its own, its hotspot's and so on.

    Either the next in a row, or one with the local bit set and any other of the bits above it. Source: the chip vendor's
    documents on how station, hotspot and others get their addresses from the first (from memory).
    """
    own = _octets(address)
    in_a_row = [own[:5] + bytes([(own[5] + more) & 0xFF]) for more in range(NUMBERED)]
    local = [bytes([(own[0] | LOCAL_BIT) ^ (more << 2)]) + own[1:] for more in range(1 << 6)]
    return {octets.hex(":") for octets in (*in_a_row, *local)}


class AirCapture:
    """One radio, on one channel."""

    def __init__(self, interface: str, channel: int, on_frame: OnPacket, about: Iterable[str] = ()) -> None:
        """Take a radio over and listen.

        Args:
            interface: The radio's.
            channel: In the 2.4 GHz band.
            on_frame: Told each frame with its radiotap header, and when it came (monotonic), in a thread of its own.
            about: Addresses of the stations that this is about; more by `add`.

        Raises:
            InputError: there is no such radio.
            BenchError: it cannot listen.
        """
        self._on_frame = on_frame
        self._about = {_octets(address) for address in about}
        self._namespace = Namespace([interface])
        with self._namespace.kept():
            self._namespace.monitor(interface, channel)
            self._ear = PacketEar(self._namespace, interface, self._hear)

    def add(self, address: str) -> None:
        """Hand on the frames of this station too, from now on."""
        self._about.add(_octets(address))

    def close(self) -> None:
        """Stop listening and give the radio back."""
        self._ear.close()
        self._namespace.close()

    def _hear(self, frame: bytes, came_s: float) -> None:
        if self._is_about(frame):
            self._on_frame(frame, came_s)

    def _is_about(self, frame: bytes) -> bool:
        if len(frame) < 4:
            return False
        body = frame[struct.unpack_from("<H", frame, 2)[0] :]
        return body[RECEIVER] in self._about or body[TRANSMITTER] in self._about


def _octets(address: str) -> bytes:
    try:
        octets = bytes.fromhex(address.replace(":", ""))
    except ValueError:
        octets = b""
    if len(octets) != 6:
        raise BenchError("air monitor", f"{address!r} is no address of a station.")
    return octets
