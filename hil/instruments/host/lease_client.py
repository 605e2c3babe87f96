"""Asks for an address on an interface: busybox's DHCP client, followed by what it tells the script that it calls."""

import re
import shutil
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from hil.instruments.host.namespace import Namespace, end_program

# Called by the client with what it is told in the environment; what it says is read here.
SCRIPT = """#!/bin/sh
case "$1" in
bound) ip address replace "$ip/$mask" dev "$interface"
       echo "bound $ip $subnet ${router%% *} ${dns%% *} $serverid $lease"
       [ -z "$router" ] || ip route replace default via "${router%% *}" dev "$interface" ;;
deconfig) ip address flush dev "$interface" scope global ;;
esac
exit 0
"""
BOUND = re.compile(r"bound (\S+) (\S*) (\S*) (\S*) (\S*) (\d*)")
TRIES, APART_S = 20, 1


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
        self._made = Path(tempfile.mkdtemp(prefix="hil-"))
        script = self._made / "told"
        script.write_text(SCRIPT, encoding="ascii")
        script.chmod(0o700)
        words = ["busybox", "udhcpc", "-f", "-i", interface, "-t", str(TRIES), "-T", str(APART_S), "-s", str(script)]
        self._process = namespace.start(words, subprocess.PIPE)
        threading.Thread(target=self._follow, name=f"leases {interface}", daemon=True).start()

    def end(self) -> None:
        """End it; the address stays until it is flushed."""
        end_program(self._process)
        shutil.rmtree(self._made, ignore_errors=True)

    def _follow(self) -> None:
        assert self._process.stdout is not None
        with self._process.stdout as said:
            for line in said:
                came_s = time.monotonic()
                bound = BOUND.match(line.decode("ascii", "backslashreplace"))
                if bound:
                    ip, mask, router, name_server, server, lease_s = bound.groups()
                    self._on_bound(Bound(ip, mask, router, name_server, server, int(lease_s or 0)), came_s)
