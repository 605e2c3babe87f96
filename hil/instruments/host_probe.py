"""The probe on a radio of the host: wpa_supplicant to join with, busybox's DHCP client for an address, in a namespace of its own.

What happens is told by wpa_supplicant's control socket and by the script that the DHCP client calls; each with the time it
came here. Pages go through the endpoint, which leads into that namespace only: hotspots of one and the same address may be
open at once, and the host's own network never changes.
"""

import contextlib
import re
import shutil
import socket
import subprocess
import tempfile
import threading
import time
from pathlib import Path

from hil.core.errors import InstrumentGone
from hil.core.moments import Json, Moment
from hil.core.timeline import Expired, Timeline
from hil.instruments.endpoint import ProxyEndpoint
from hil.instruments.namespace import Namespace, end_program
from hil.instruments.stations import Details, Exchanged, Lease, Probe
from hil.instruments.wpa_control import WpaControl

START_S = 15.0
DIAL_S = 5.0
LONGEST = 65536
# Called by the DHCP client with what it is told in the environment; what it says is read here.
SCRIPT = """#!/bin/sh
case "$1" in
bound) ip address replace "$ip/$mask" dev "$interface"
       for first in $router; do ip route replace default via "$first" dev "$interface"; break; done
       echo "bound $ip $subnet ${router%% *} ${dns%% *} $serverid $lease" ;;
deconfig) ip address flush dev "$interface" scope global ;;
esac
exit 0
"""
BOUND = re.compile(r"bound (\S+) (\S*) (\S*) (\S*) (\S*) (\d*)")
# Why an attempt failed, by wpa_supplicant's own reports.
WRONG_KEY, NOT_FOUND = "reason=WRONG_KEY", "CTRL-EVENT-NETWORK-NOT-FOUND"


class HostProbe(Probe):
    """The probe of one slot."""

    def __init__(self, timeline: Timeline, interface: str, folder: Path, *, name: str = "hil-probe-1") -> None:
        """Take a radio over; it is silent until it joins.

        Raises:
            InputError: there is no such radio.
            BenchError: this process may not, or a program is missing.
        """
        super().__init__(timeline)
        self._interface, self._folder = interface, folder
        folder.mkdir(parents=True, exist_ok=True)
        self._namespace = Namespace(name, [interface])
        self._made = Path(tempfile.mkdtemp(prefix="hil-"))
        script, settings = self._made / "told", self._made / "supplicant.conf"
        script.write_text(SCRIPT, encoding="ascii")
        script.chmod(0o700)
        settings.write_text(f"ctrl_interface={self._made}\n", encoding="ascii")
        self._log = (folder / "supplicant.log").open("ab")
        words = ["wpa_supplicant", "-i", interface, "-D", "nl80211", "-c", str(settings)]
        self._daemon = self._namespace.start(words, self._log)
        self._control = WpaControl(self._made / interface, self.source, self._told, START_S)
        self._client: subprocess.Popen[bytes] | None = None
        self._endpoint = ProxyEndpoint(self._dial, self.source, on_reached=self._reached)

    def join(self, name: str, passphrase: str | None, limit_s: float) -> Lease | None:
        """Try until the limit."""
        clock, mark = self._timeline.clock, self._timeline.mark()
        until_s, why = clock.now_s() + limit_s, "no answer in time"
        self._select(name, passphrase)
        while (left_s := until_s - clock.now_s()) > 0.0:
            seen = self._timeline.wait(_tells, limit_s=left_s, awaited=f"the probe's lease on {name!r}", since=mark)
            if isinstance(seen, Expired):
                break
            if seen.kind == "leased":
                return Lease(name, seen.text("ip"), seen.text("router") or seen.text("server"), self._endpoint.url)
            why, mark = seen.text("why"), self._timeline.mark()
        self._ask()  # a failure counts only while the probe is there
        self._rest()
        self._timeline.add(self.source, "join failed", name=name, why=why)
        return None

    def leave(self) -> None:
        """Leave the network and fall silent."""
        self._rest()
        self._timeline.add(self.source, "left")

    def _select(self, name: str, passphrase: str | None) -> None:
        self._control.order("REMOVE_NETWORK all")
        number = self._control.ask("ADD_NETWORK")
        secret = "key_mgmt NONE"
        if passphrase is not None:
            secret = f"psk {passphrase}" if len(passphrase) == 64 else f'psk "{passphrase}"'
        for told in (f"ssid {name.encode().hex()}", "scan_ssid 1", secret):
            self._control.order(f"SET_NETWORK {number} {told}")
        self._control.order(f"SELECT_NETWORK {number}")

    def _rest(self) -> None:
        self._control.ask("REMOVE_NETWORK all")
        self._end_client()
        self._namespace.order("ip", "address", "flush", "dev", self._interface)

    def _told(self, report: str, came_s: float) -> None:
        if report.startswith("CTRL-EVENT-CONNECTED"):
            self._report("joined", came_s, {"bssid": _word_after(report, "to")})
            self._ask_for_address()
        elif WRONG_KEY in report:
            self._report("attempt failed", came_s, {"why": "wrong key"})
        elif report.startswith(NOT_FOUND):
            self._report("attempt failed", came_s, {"why": "not found"})

    def _ask_for_address(self) -> None:
        self._end_client()
        tries = ("-t", "20", "-T", "1")
        words = ["busybox", "udhcpc", "-f", "-i", self._interface, *tries, "-s", str(self._made / "told")]
        self._client = self._namespace.start(words, subprocess.PIPE)
        threading.Thread(target=self._follow_client, args=(self._client,), name="probe leases", daemon=True).start()

    def _follow_client(self, client: "subprocess.Popen[bytes]") -> None:
        assert client.stdout is not None
        with client.stdout:
            for line in client.stdout:
                came_s = time.monotonic()
                bound = BOUND.match(line.decode("ascii", "backslashreplace"))
                if bound:
                    ip, mask, router, name_server, server, lease_s = bound.groups()
                    details: dict[str, Json] = {"ip": ip, "mask": mask, "router": router, "name_server": name_server}
                    self._report("leased", came_s, {**details, "server": server, "lease_s": int(lease_s or 0)})

    def _end_client(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            end_program(client)

    def _ask(self) -> Details:
        if self._daemon.poll() is not None or self._control.ask("PING") != "PONG":
            raise InstrumentGone(self.source, "its daemon is gone.", f"Look at {self._log.name}.")
        return {}

    def _dial(self, host: str, port: int) -> socket.socket:
        return self._namespace.dial(host, port, DIAL_S)

    def _exchange(self, host: str, port: int, octets: bytes, limit_s: float) -> Exchanged:
        """Ask from a port of our own, on which nothing but the answer from there is taken."""
        end = self._namespace.socket_here(lambda: socket.socket(socket.AF_INET, socket.SOCK_DGRAM))
        with end:
            sent_s, until_s = time.monotonic(), time.monotonic() + self._timeline.clock.real_s(limit_s)
            with contextlib.suppress(OSError):  # no way there, or refused: nothing comes back
                end.connect((host, port))
                end.send(octets)
                if limit_s > 0.0:
                    end.settimeout(max(until_s - time.monotonic(), 0.001))
                    return Exchanged(sent_s, end.recv(LONGEST), time.monotonic())
        if limit_s > 0.0:
            self._ask()  # silence counts only while the probe is there
        return Exchanged(sent_s, None, time.monotonic())

    def close(self) -> None:
        """Give the radio back."""
        self._endpoint.close()
        self._end_client()
        self._control.close()
        end_program(self._daemon)
        self._log.close()
        self._namespace.close()
        shutil.rmtree(self._made, ignore_errors=True)


def _tells(moment: Moment) -> bool:
    return moment.source == "probe" and moment.kind in ("leased", "attempt failed")


def _word_after(text: str, word: str) -> str:
    words = text.split(" ")
    return words[words.index(word) + 1] if word in words[:-1] else ""
