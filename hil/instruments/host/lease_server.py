"""Gives addresses on an interface: dnsmasq as a DHCP server alone, followed by what it logs."""

import re
import subprocess
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from hil.instruments.host.namespace import Namespace, end_program

# What it logs of DHCP: `DHCPACK(hil-br) 198.51.100.10 02:00:00:00:05:00 name`.
LOGGED = re.compile(r"(DHCP[A-Z]+)\(\S+\) (?:(\d+\.\d+\.\d+\.\d+) )?([0-9a-f]{2}(?::[0-9a-f]{2}){5})")


@dataclass(frozen=True, slots=True)
class LeaseMessage:
    """One message as it was logged: its kind after RFC 2131 without "DHCP", in small letters; the station; an address or ""."""

    kind: str
    address: str
    ip: str


class LeaseServer:
    """The server, on one interface of a namespace, from now until `end`."""

    def __init__(
        self,
        namespace: Namespace,
        interface: str,
        addresses: tuple[str, str, str],
        folder: Path,
        on_message: Callable[[LeaseMessage, float], None] = lambda *_: None,
        *,
        delay_s: float = 0.0,
        options: tuple[str, ...] = (),
    ) -> None:
        """Start it.

        Args:
            namespace: Where it runs.
            interface: Which has an address of the network.
            addresses: The first and the last that it gives, and the netmask.
            folder: Where its log and its leases are kept.
            on_message: Told each message, and when it came (monotonic), in a thread of its own.
            delay_s: How long it keeps an offer back, whole seconds.
            options: More of its own, such as `--dhcp-option=6`.
        """
        self._folder, self._on_message = folder, on_message
        words = [
            *("dnsmasq", "--keep-in-foreground", "--conf-file=/dev/null", "--no-resolv", "--no-hosts", "--port=0"),
            *(f"--interface={interface}", "--bind-interfaces", "--dhcp-authoritative", "--no-ping", "--log-dhcp"),
            *("--log-facility=-", f"--dhcp-leasefile={folder / 'leases'}", "--user=root"),
            f"--dhcp-range={','.join(addresses)},1h",
            *([f"--dhcp-reply-delay={round(delay_s)}"] if delay_s else []),
            *options,
        ]
        self._process = namespace.start(words, subprocess.PIPE)
        threading.Thread(target=self._follow, name=f"leases {interface}", daemon=True).start()

    @property
    def running(self) -> bool:
        """Whether it still runs."""
        return self._process.poll() is None

    def end(self) -> None:
        """End it."""
        end_program(self._process)

    def _follow(self) -> None:
        assert self._process.stdout is not None
        with self._process.stdout as said, (self._folder / "leases.log").open("ab") as log:
            for line in said:
                came_s = time.monotonic()
                log.write(line)
                found = LOGGED.search(line.decode("utf-8", "backslashreplace"))
                if found:
                    kind = found[1].removeprefix("DHCP").lower()
                    self._on_message(LeaseMessage(kind, found[3], found[2] or ""), came_s)
