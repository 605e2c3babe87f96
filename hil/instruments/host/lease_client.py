"""Asks for an address on an interface: busybox's DHCP client, followed by what it tells the script that it calls."""

import re
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from hil.instruments.host.namespace import Namespace

BOUND = re.compile(r"bound (\S+) (\S*) (\S*) (\S*) (\S*) (\d*)")


@dataclass(frozen=True, slots=True)
class Bound:
    """An address that was given, and what came with it; texts, empty where nothing was told."""

    ip: str
    mask: str
    router: str
    name_server: str
    server: str
    lease_s: int


class LeaseClient:
    """The client, on one interface of a namespace, from now until `end`."""

    def __init__(self, namespace: Namespace, interface: str, on_bound: Callable[[Bound, float], None]) -> None:
        """Start it.

        Args:
            namespace: Where it runs.
            interface: Which is to have an address.
            on_bound: Told an address, and when it came (monotonic), in a thread of its own.
        """
        self._on_bound = on_bound
        self._daemon, self._told = namespace.start_lease_client(interface)
        threading.Thread(target=self._follow, name=f"leases {interface}", daemon=True).start()

    def end(self) -> None:
        """End it; the address stays until it is flushed."""
        self._daemon.end()

    def _follow(self) -> None:
        with self._told as said:
            for line in said:
                came_s = time.monotonic()
                bound = BOUND.match(line.decode("ascii", "backslashreplace"))
                if bound:
                    ip, mask, router, name_server, server, lease_s = bound.groups()
                    self._on_bound(Bound(ip, mask, router, name_server, server, int(lease_s or 0)), came_s)
