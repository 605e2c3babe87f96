"""A network namespace of the bench's own: radios moved into it are nobody else's, and its addresses disturb nothing here.

It is a room of the keeper's (`hil.instruments.keeper`), the one process that may make it. What is started in it dies with this
process, however that ends, and its radios go back to the host.
"""

import errno
import fcntl
import os
import select
import socket
import struct
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from hil.core.errors import BenchError, InputError
from hil.instruments.host.kernel import INTERFACES
from hil.instruments.keeper.client import KEEPER
from hil.instruments.keeper.wire import close_all

BACK_S, POLL_S = 5.0, 0.05
# SIOCGIFFLAGS and SIOCGIFHWADDR of linux/sockios.h, struct ifreq of linux/if.h
ASK_FLAGS, ASK_ADDRESS, REQUEST, ADDRESS_AT = 0x8913, 0x8927, "16sh22x", slice(18, 24)


class Daemon:
    """A program that the keeper runs in a namespace; `folder` is where its control sockets are."""

    def __init__(self, number: int, folder: Path, ended: int) -> None:
        """Know it by its number; `ended` is a file that can be read once it has ended."""
        self._number, self.folder, self._ended = number, folder, ended

    @property
    def running(self) -> bool:
        """Whether it still runs: known here, as the answers of a witness may not wait for the keeper."""
        return self._ended >= 0 and not select.select([self._ended], [], [], 0.0)[0]

    def end(self) -> None:
        """End it."""
        close_all([self._ended])
        self._ended = -1
        with suppress(BenchError):  # the keeper is gone, and it with that
            KEEPER.ask("EndDaemon", daemon=self._number)


class Namespace:
    """One of them, with the radios that are used in it; `path` is how those who may enter it name it."""

    def __init__(self, radios: Sequence[str]) -> None:
        """Make it and move radios here.

        Args:
            radios: By their interfaces.

        Raises:
            InputError: there is no such interface, or it is no radio's.
            BenchError: this process may not, or a radio cannot be moved.
        """
        self._radios = [INTERFACES / radio / "phy80211" / "name" for radio in radios]
        for radio, told in zip(radios, self._radios, strict=True):
            if not _there(told, BACK_S):  # one that a dead run had is back a little later
                known = ", ".join(sorted(path.name for path in INTERFACES.glob("*") if (path / "phy80211").exists()))
                raise InputError(f"radio {radio}", "there is no such radio.", f"There are: {known or 'none'}.")
        KEEPER.want()
        try:
            answer, _ = KEEPER.ask("OpenRoom", radios=list(radios))
            self._room, self.path = answer["room"], Path(str(answer["path"]))
            self._asks = self.new_socket("datagram")
        except (BenchError, InputError):
            KEEPER.spare()
            raise

    @contextmanager
    def kept(self) -> Iterator[None]:
        """Give it up where what is done within fails: nobody else would."""
        try:
            yield
        except (BenchError, InputError):
            self.close()
            raise

    def has(self, interface: str) -> bool:
        """Whether an interface is here, asked without a program: a radio that is pulled out is not.

        Raises:
            BenchError: the namespace is gone.
        """
        try:
            self._told(ASK_FLAGS, interface)
        except OSError as error:
            if error.errno == errno.ENODEV:
                return False
            raise BenchError("namespace", f"cannot be asked for {interface}: {error}.") from error
        return True

    def address_of(self, interface: str) -> str:
        """The hardware address of a radio that is here.

        Raises:
            BenchError: it is not.
        """
        try:
            return self._told(ASK_ADDRESS, interface)[ADDRESS_AT].hex(":")
        except OSError as error:
            raise BenchError(f"radio {interface}", f"tells no address: {error}.") from error

    def _told(self, what: int, interface: str) -> bytes:
        return fcntl.ioctl(self._asks, what, struct.pack(REQUEST, interface.encode(), 0))

    def set_link(self, interface: str, *, up: bool) -> None:
        """Set an interface up or down.

        Raises:
            BenchError: it is gone.
        """
        KEEPER.ask("SetLink", room=self._room, interface=interface, up=up)

    def flush(self, interface: str) -> None:
        """Take all addresses off an interface.

        Raises:
            BenchError: it is gone.
        """
        KEEPER.ask("Flush", room=self._room, interface=interface)

    def make_bridge(self, address: str) -> None:
        """Make the bridge (`BRIDGE` of `hil.instruments.keeper.room`) with an address and its prefix."""
        KEEPER.ask("MakeBridge", room=self._room, address=address)

    def monitor(self, interface: str, channel: int) -> None:
        """Have a radio hear all of a channel."""
        KEEPER.ask("Monitor", room=self._room, interface=interface, channel=channel)

    def impair(self, interface: str, delay_s: float, loss: float) -> None:
        """Have what an interface sends come late, and a share of it, from 0 to 1, never; with neither as ever again.

        Raises:
            BenchError: tc or the kernel's netem is missing.
        """
        delay_ms = round(delay_s * 1000.0)
        KEEPER.ask("Impair", room=self._room, interface=interface, delay_ms=delay_ms, loss=loss)

    def start_network(self, interface: str, log: IO[bytes], settings: dict[str, object]) -> Daemon:
        """Start hostapd on a radio: see `hil.instruments.keeper.asked.Network` for its settings."""
        return self._start("Network", interface, log, settings)

    def start_station(self, interface: str, log: IO[bytes]) -> Daemon:
        """Start wpa_supplicant on a radio."""
        return self._start("Station", interface, log, {})

    def start_lease_server(self, interface: str, log: IO[bytes], settings: dict[str, object]) -> Daemon:
        """Start dnsmasq on an interface: see `hil.instruments.keeper.asked.LeaseServer` for its settings."""
        return self._start("LeaseServer", interface, log, settings)

    def _start(self, what: str, interface: str, log: IO[bytes], settings: dict[str, object]) -> Daemon:
        asked = {"room": self._room, "interface": interface, **settings}
        answer, (ended,) = KEEPER.ask(what, [log.fileno()], **asked)
        return _daemon(answer, ended)

    def start_lease_client(self, interface: str) -> tuple[Daemon, IO[bytes]]:
        """Start busybox's DHCP client on an interface; what it says comes out of the file."""
        answer, (ended, told) = KEEPER.ask("LeaseClient", room=self._room, interface=interface)
        return _daemon(answer, ended), os.fdopen(told, "rb")

    def new_socket(self, kind: str) -> socket.socket:
        """An IPv4 socket of this namespace, `stream` or `datagram`, bound to nothing."""
        return _socket(KEEPER.ask("MakeSocket", room=self._room, kind=kind)[1])

    def packets(self, interface: str) -> socket.socket:
        """A socket that hears all packets of an interface, with the kernel's time stamps."""
        return _socket(KEEPER.ask("HearPackets", room=self._room, interface=interface)[1])

    def dial(self, host: str, port: int, limit_s: float) -> socket.socket:
        """Connect from here; see `hil.instruments.endpoint.Dial`."""
        end = self.new_socket("stream")
        end.settimeout(limit_s)
        try:
            end.connect((host, port))
        except OSError:
            end.close()
            raise
        return end

    def listen(self, address: str, port: int) -> socket.socket:
        """A listening socket here.

        Raises:
            BenchError: the address or the port cannot be had.
        """
        end = self.new_socket("stream")
        try:
            end.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            end.bind((address, port))
            end.listen()
        except OSError as error:
            end.close()
            raise BenchError("namespace", f"nobody can listen at {address}:{port}: {error}.") from error
        return end

    def close(self) -> None:
        """Remove it, and wait until its radios are back. What is still open of it, or on its way, keeps it but not them."""
        self._asks.close()
        with suppress(BenchError):
            KEEPER.ask("CloseRoom", room=self._room)
        KEEPER.spare()
        for radio in self._radios:
            _there(radio, BACK_S)


def _daemon(answer: dict[str, object], ended: int) -> Daemon:
    number = answer["daemon"]
    assert isinstance(number, int)
    return Daemon(number, Path(str(answer["folder"])), ended)


def _socket(files: list[int]) -> socket.socket:
    if len(files) != 1:
        close_all(files)
        raise BenchError("keeper", f"handed {len(files)} sockets over instead of one.")
    return socket.socket(fileno=files[0])


def _there(path: Path, limit_s: float) -> bool:
    """Whether a path of the kernel's is there within a limit: no event tells that a radio came back."""
    until_s = time.monotonic() + limit_s
    while not path.exists():
        if time.monotonic() > until_s:
            return False
        time.sleep(POLL_S)
    return True
