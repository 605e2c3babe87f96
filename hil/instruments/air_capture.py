"""Frames from a radio in monitor mode, with the kernel's own time stamps, for an `AirMonitor` to read.

Only frames from or to a station that the run is about are handed on: those of strangers are never kept.
"""

import socket
import struct
import threading
import time
from collections.abc import Callable, Iterable

from hil.core.errors import BenchError
from hil.instruments.namespace import Namespace

OnFrame = Callable[[bytes, float], None]

ANY_PROTOCOL = 0x0003  # ETH_P_ALL
STAMPS = 35  # SO_TIMESTAMPNS of most machines' <asm/socket.h>, which Python does not name
STAMP = struct.Struct("@qq")  # struct timespec
LONGEST = 65536
SECOND_NS = 1e-9
WAKE_S = 0.2
RECEIVER, TRANSMITTER = (
    slice(4, 10),
    slice(10, 16),
)  # IEEE 802.11-2020 9.2.3: in every frame, and in all but acknowledgements


class AirCapture:
    """One radio, on one channel."""

    def __init__(
        self, interface: str, channel: int, on_frame: OnFrame, about: Iterable[str] = (), *, name: str = "hil-air-1"
    ) -> None:
        """Take a radio over and listen.

        Args:
            interface: The radio's.
            channel: In the 2.4 GHz band.
            on_frame: Told each frame with its radiotap header, and when it came (monotonic), in a thread of its own.
            about: Addresses of the stations that this is about; more by `add`.
            name: Of the namespace.

        Raises:
            InputError: there is no such radio.
            BenchError: it cannot listen.
        """
        self._on_frame = on_frame
        self._about = {_octets(address) for address in about}
        self._namespace = Namespace(name, [interface])
        for order in (
            ("iw", "dev", interface, "set", "type", "monitor"),
            ("ip", "link", "set", interface, "up"),
            ("iw", "dev", interface, "set", "channel", str(channel)),
        ):
            self._namespace.order(*order)

        def listening() -> socket.socket:
            end = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(ANY_PROTOCOL))
            end.setsockopt(socket.SOL_SOCKET, STAMPS, 1)
            end.bind((interface, 0))
            return end

        self._socket, self._closing = self._namespace.socket_here(listening), threading.Event()
        self._socket.settimeout(WAKE_S)
        self._thread = threading.Thread(target=self._listen, name=f"air {interface}", daemon=True)
        self._thread.start()

    def add(self, address: str) -> None:
        """Hand on the frames of this station too, from now on."""
        self._about.add(_octets(address))

    def close(self) -> None:
        """Stop listening and give the radio back."""
        self._closing.set()
        self._thread.join(10.0 * WAKE_S)
        self._socket.close()  # while it is open the namespace stays, and the radio in it
        self._namespace.close()

    def _listen(self) -> None:
        while not self._closing.is_set():
            try:
                frame, told, _flags, _where = self._socket.recvmsg(LONGEST, 256)
            except TimeoutError:
                continue
            except OSError:  # the radio is gone: that no control beacon comes any more tells it
                return
            now_s, wall_s = time.monotonic(), time.time()
            if self._is_about(frame):
                self._on_frame(frame, now_s - max(wall_s - _stamp_s(told, wall_s), 0.0))

    def _is_about(self, frame: bytes) -> bool:
        if len(frame) < 4:
            return False
        body = frame[struct.unpack_from("<H", frame, 2)[0] :]
        return body[RECEIVER] in self._about or body[TRANSMITTER] in self._about


def _stamp_s(told: Iterable[tuple[int, int, bytes]], otherwise_s: float) -> float:
    for level, kind, octets in told:
        if level == socket.SOL_SOCKET and kind == STAMPS and len(octets) >= STAMP.size:
            seconds, nanoseconds = STAMP.unpack(octets[: STAMP.size])
            return float(seconds + nanoseconds * SECOND_NS)
    return otherwise_s


def _octets(address: str) -> bytes:
    try:
        octets = bytes.fromhex(address.replace(":", ""))
    except ValueError:
        octets = b""
    if len(octets) != 6:
        raise BenchError("air monitor", f"{address!r} is no address of a station.")
    return octets
