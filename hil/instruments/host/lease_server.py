"""Gives addresses on an interface: dnsmasq as a DHCP server alone; or one of our own that refuses what it offered."""

import contextlib
import socket
import threading
from pathlib import Path

from scapy.layers.dhcp import BOOTP, DHCP

from hil.core.leases import USUAL_S
from hil.instruments.dhcp_messages import read_dhcp
from hil.instruments.host.namespace import Namespace

REPLY = 2  # BOOTREPLY of RFC 951
SERVER_PORT, CLIENT_PORT = 67, 68
LONGEST = 4096


class LeaseServer:
    """The server, on one interface of a namespace, from now until `end`."""

    def __init__(
        self,
        namespace: Namespace,
        interface: str,
        addresses: tuple[str, str, str],
        folder: Path,
        *,
        delay_s: float = 0.0,
        lease_s: float = USUAL_S,
        name_server: str | None = None,
    ) -> None:
        """Start it.

        Args:
            namespace: Where it runs.
            interface: Which has an address of the network.
            addresses: The first and the last that it gives, and the netmask.
            folder: Where its log is kept.
            delay_s: How long it keeps an offer back, whole seconds.
            lease_s: How long an address is given for; dnsmasq gives two minutes at least.
            name_server: Told to clients; empty: none is, None: the server itself.
        """
        first, last, netmask = addresses
        settings: dict[str, object] = {"first": first, "last": last, "netmask": netmask, "name_server": name_server}
        times = {"lease_s": round(lease_s), "delay_s": round(delay_s)}
        with (folder / "leases.log").open("ab") as log:
            self._daemon = namespace.start_lease_server(interface, log, {**settings, **times})

    @property
    def running(self) -> bool:
        """Whether it still runs."""
        return self._daemon.running

    def end(self) -> None:
        """End it."""
        self._daemon.end()


class RefusingServer:
    """Makes an offer to whoever asks, and a NAK of every request for it (RFC 2131, 3.1 step 4)."""

    def __init__(self, namespace: Namespace, interface: str, own: str, offered: str, netmask: str) -> None:
        """Answer on an interface from now on, as `own`, offering always the same address."""
        self._own, self._offered, self._netmask = own, offered, netmask
        self._socket = namespace.new_socket("datagram")
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_BINDTODEVICE, interface.encode() + b"\0")
        self._socket.bind(("", SERVER_PORT))
        self._thread = threading.Thread(target=self._serve, name=f"refused leases {interface}", daemon=True)
        self._thread.start()

    @property
    def running(self) -> bool:
        """Whether it still answers."""
        return self._thread.is_alive()

    def end(self) -> None:
        """Answer no more."""
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)  # which wakes the thread, and says that nobody is connected
        self._thread.join()
        self._socket.close()

    def _serve(self) -> None:
        with contextlib.suppress(OSError):
            while asked := self._socket.recv(LONGEST):
                answer = refusal(asked, self._own, self._offered, self._netmask)
                if answer:
                    self._socket.sendto(answer, ("255.255.255.255", CLIENT_PORT))


def refusal(asked: bytes, own: str, offered: str, netmask: str) -> bytes:
    """What such a server answers to a message: an offer to a discover, a NAK to a request; nothing to all else."""
    message, packet = read_dhcp(asked), BOOTP(asked)
    kind = message.kind if message else ""
    head = {"op": REPLY, "xid": packet.xid, "flags": packet.flags, "chaddr": packet.chaddr, "giaddr": packet.giaddr}
    if kind == "discover":
        given = [("lease_time", round(USUAL_S)), ("subnet_mask", netmask), ("router", own)]
        told = [("message-type", "offer"), ("server_id", own), *given, "end"]
        return bytes(BOOTP(**head, yiaddr=offered, siaddr=own) / DHCP(options=told))
    if kind == "request":
        return bytes(BOOTP(**head) / DHCP(options=[("message-type", "nak"), ("server_id", own), "end"]))
    return b""
