"""The air monitor of the virtual bench: hears every frame on the channels it watches, and sends nothing."""

from collections.abc import Callable, Iterable

from hil.virtual.air.air_link import DHCP, FRAME, FRAME_HEAD, STAMP, AirLink
from hil.virtual.air.frames import radiotap

__all__ = ["Monitor", "OnBytes"]

OnBytes = Callable[[bytes, float], None]


class Monitor:
    """A receive-only client of the air."""

    def __init__(
        self, air_port: int, channels: Iterable[int], *, on_frame: OnBytes, on_dhcp: OnBytes | None = None
    ) -> None:
        """Prepare a monitor of those channels.

        on_frame(radiotap header + 802.11 frame, monotonic_s); on_dhcp(DHCP message, monotonic_s). Times are the air's
        own stamps of `time.monotonic()`, as a capture's kernel stamps are; the radiotap TSFT counts the microseconds
        of unit time since the air began. Both are called in the loop and must not block.
        """
        hello = {"hello": "monitor", "channels": sorted(set(channels))}
        self._link = AirLink(air_port, hello, self._take)
        self._on_frame, self._on_dhcp = on_frame, on_dhcp
        self._began_s, self._speed = 0.0, 1.0

    async def open(self) -> None:
        """Start to listen.

        Raises:
            OSError: no air at that port.
            TimeoutError: the air does not answer.
        """
        welcome = await self._link.open()
        self._began_s, self._speed = float(str(welcome["began_s"])), float(str(welcome["speed"]))

    async def close(self) -> None:
        """Stop listening."""
        await self._link.close()

    @property
    def listening(self) -> bool:
        """Say whether the air still holds our connection."""
        return self._link.connected

    def _take(self, mark: int, content: bytes) -> None:
        if mark == FRAME:
            channel, signal_dbm, stamp_s = FRAME_HEAD.unpack_from(content)
            tsft_us = int((stamp_s - self._began_s) * self._speed * 1e6)
            self._on_frame(radiotap(channel, signal_dbm, tsft_us) + content[FRAME_HEAD.size :], stamp_s)
        elif mark == DHCP and self._on_dhcp is not None:
            (stamp_s,) = STAMP.unpack_from(content)
            self._on_dhcp(content[STAMP.size :], stamp_s)
