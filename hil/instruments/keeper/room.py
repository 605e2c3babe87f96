"""A network namespace without a name, with the radios that are used in it: it goes when the keeper goes, and they come back."""

import os
import queue
import socket
import subprocess
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TypeVar

from hil.instruments.keeper.asked import Refused
from hil.instruments.keeper.kernel_calls import DAEMONS, die_with_parent, enter, keep_rights, new_namespace

INTERFACES = Path("/sys/class/net")
PATHS = {"PATH": "/usr/sbin:/usr/bin:/sbin:/bin"}
ORDER_S = 10.0
ANY_PROTOCOL = 0x0003  # ETH_P_ALL
STAMPS = 35  # SO_TIMESTAMPNS of most machines' <asm/socket.h>, which Python does not name
BRIDGE = "hil-br"
UNPRIVILEGED_PORTS = Path("/proc/sys/net/ipv4/ip_unprivileged_port_start")  # of the thread's own namespace
KINDS = {"stream": socket.SOCK_STREAM, "datagram": socket.SOCK_DGRAM}
Made = TypeVar("Made")


class Failed(Exception):
    """What was asked for was refused by the kernel or by a program."""


class Room:
    """One of them. A thread lives in it: it makes the room's sockets, and radios are sent to where it is."""

    def __init__(self) -> None:
        """Make it, empty.

        Raises:
            Failed: this process may not.
        """
        self.interfaces: set[str] = set()
        self._phys: list[str] = []
        self._jobs: queue.Queue[Callable[[], None] | None] = queue.Queue()
        self._thread = threading.Thread(target=self._live, name="room", daemon=True)
        self._thread.start()
        self.file = -1
        try:
            self.file = self._inside(new_namespace)
            self._inside(lambda: UNPRIVILEGED_PORTS.write_text("0", encoding="ascii"))
            self.run("ip", "link", "set", "lo", "up")
        except Failed:
            self.close()
            raise

    def take(self, radio: str) -> None:
        """Take a radio of the host with all its interfaces.

        Raises:
            Refused: there is no such radio.
            Failed: it cannot be moved.
        """
        told = INTERFACES / radio / "phy80211" / "name"
        try:
            phy = told.read_text(encoding="ascii").strip()
        except OSError:
            raise Refused(f"{radio} is no radio of this host") from None
        _run(["iw", "phy", phy, "set", "netns", str(self._thread.native_id)])
        self._phys.append(phy)
        self.interfaces.add(radio)

    def must_have(self, interface: str) -> None:
        """Refuse what names an interface that is not here."""
        if interface not in self.interfaces:
            raise Refused(f"{interface} is not in this room")

    def bridge(self, address: str) -> None:
        """Make the bridge."""
        self.run("ip", "link", "add", BRIDGE, "type", "bridge")
        self.run("ip", "address", "add", address, "dev", BRIDGE)
        self.run("ip", "link", "set", BRIDGE, "up")
        self.interfaces.add(BRIDGE)

    def impair(self, interface: str, delay_ms: int, loss: float) -> None:
        """Have the kernel's netem keep back what an interface sends, and drop a share of it; take it off where it is neither."""
        if delay_ms or loss:
            how = ("delay", f"{delay_ms}ms", "loss", f"{loss:.4%}")
            self.run("tc", "qdisc", "replace", "dev", interface, "root", "netem", *how)
        else:
            self.run("tc", "qdisc", "del", "dev", interface, "root")

    def new_socket(self, kind: str) -> socket.socket:
        """An IPv4 socket of the room."""
        return self._inside(lambda: socket.socket(socket.AF_INET, KINDS[kind]))

    def packets(self, interface: str) -> socket.socket:
        """One that hears all of an interface; it stays in the room."""

        def listening() -> socket.socket:
            end = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)  # hears nothing yet
            end.setsockopt(socket.SOL_SOCKET, STAMPS, 1)
            end.bind((interface, ANY_PROTOCOL))
            return end

        return self._inside(listening)

    def run(self, *words: str) -> None:
        """Run a program here to its end.

        Raises:
            Failed: it failed.
        """
        _run(words, self.entering())

    def entering(self) -> Callable[[], None]:
        """What a program that is to run here does before it begins."""
        file, is_root = self.file, os.getuid() == 0

        def begin() -> None:
            enter(file)
            if not is_root:  # what root starts stays root's
                keep_rights(DAEMONS)
            die_with_parent()

        return begin

    def close(self) -> None:
        """Hand its radios back, and leave it: a connection that still closes would keep it, and them with it."""
        for phy in self._phys:
            with suppress(Failed):  # it was pulled out
                self.run("iw", "phy", phy, "set", "netns", str(os.getpid()))
        self._jobs.put(None)
        self._thread.join()
        file, self.file = self.file, -1
        if file >= 0:
            os.close(file)

    def _live(self) -> None:
        while (job := self._jobs.get()) is not None:
            job()

    def _inside(self, make: Callable[[], Made]) -> Made:
        made: list[Made] = []
        failed: list[OSError] = []
        done = threading.Event()

        def job() -> None:
            try:
                made.append(make())
            except OSError as error:
                failed.append(error)
            done.set()

        self._jobs.put(job)
        done.wait()
        if failed:
            raise Failed(str(failed[0]))
        return made[0]


def _run(words: tuple[str, ...] | list[str], begin: Callable[[], None] | None = None) -> None:
    try:
        done = subprocess.run(
            words, capture_output=True, text=True, timeout=ORDER_S, check=False, env=PATHS, preexec_fn=begin
        )
    except (OSError, subprocess.SubprocessError) as error:
        raise Failed(f"`{' '.join(words)}` failed: {error}") from error
    if done.returncode:
        said = (done.stderr or done.stdout).strip() or f"exit code {done.returncode}"
        raise Failed(f"`{' '.join(words)}` failed: {said}")
