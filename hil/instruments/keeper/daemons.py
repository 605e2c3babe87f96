"""The daemons that the keeper starts, with settings of its own making that nobody can change any more (sealed, in memory)."""

import fcntl
import os
import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path

from hil.instruments.keeper.asked import HEX_KEY, LeaseClient, LeaseServer, Network, Station
from hil.instruments.keeper.room import BRIDGE, PATHS, Failed, Room
from hil.instruments.network_words import KeyManagement, ProtectedFrames, RadioMode

ADD_SEALS, ALL_SEALS = 1033, 0xF  # F_ADD_SEALS, and F_SEAL_SEAL to F_SEAL_WRITE, of linux/fcntl.h
END_S = 3.0
TRIES, APART_S = 20, 1
MODES: dict[RadioMode, dict[str, str]] = {
    "b": {"hw_mode": "b"},
    "g": {"hw_mode": "g"},
    "n": {"hw_mode": "g", "ieee80211n": "1", "wmm_enabled": "1"},  # HT asks for WMM (IEEE 802.11-2020, 4.3.14)
}
KEY_MANAGEMENT: dict[KeyManagement, str] = {"wpa2": "WPA-PSK", "wpa2 and wpa3": "WPA-PSK SAE", "wpa3": "SAE"}
PROTECTED: dict[ProtectedFrames, str] = {"off": "0", "optional": "1", "required": "2"}
# Called by the DHCP client with what it is told in the environment; what it says is read by the run.
SCRIPT = """#!/bin/sh
case "$1" in
bound) ip address replace "$ip/$mask" dev "$interface"
       echo "bound $ip $subnet ${router%% *} ${dns%% *} $serverid $lease"
       [ -z "$router" ] || ip route replace default via "${router%% *}" dev "$interface" ;;
deconfig) ip address flush dev "$interface" scope global ;;
esac
exit 0
"""


class Daemon:
    """A program that runs on, until `end` or the end of the keeper; `folder` is where its sockets and leases are."""

    def __init__(self, room: Room, words: Sequence[str], output: int, folder: Path, sealed: int | None = None) -> None:
        """Start it; what it says goes to `output`.

        Raises:
            Failed: it does not start.
        """
        self.room, self.folder = room, folder
        try:
            self._process = subprocess.Popen(
                words,
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT,
                env=PATHS,
                preexec_fn=room.entering(),  # noqa: PLW1509  # its other threads only wait
                pass_fds=() if sealed is None else (sealed,),
            )
        except (OSError, subprocess.SubprocessError) as error:
            shutil.rmtree(folder, ignore_errors=True)
            raise Failed(f"{words[0]} does not start: {error}") from error
        finally:
            if sealed is not None:
                os.close(sealed)

    def watched(self) -> int:
        """A file that can be read once it has ended (pidfd_open(2))."""
        return os.pidfd_open(self._process.pid)

    def end(self) -> None:
        """End it: by asking, then by force."""
        self._process.terminate()
        try:
            self._process.wait(END_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(END_S)
        shutil.rmtree(self.folder, ignore_errors=True)


def start_network(room: Room, asked: Network, log: int) -> Daemon:
    """hostapd on a radio."""
    folder = _folder()
    told = _sealed("".join(f"{name}={value}\n" for name, value in network_settings(asked, folder).items()))
    return Daemon(room, ["hostapd", f"/proc/self/fd/{told}"], log, folder, told)


def network_settings(asked: Network, sockets: Path) -> dict[str, str]:
    """hostapd's own settings for a network, with its control socket in a folder."""
    settings = {
        "interface": asked.interface,
        "driver": "nl80211",
        "ctrl_interface": str(sockets),
        "ssid2": asked.name.hex(),
        **MODES[asked.mode],
        "channel": str(asked.channel),
        "ignore_broadcast_ssid": "1" if asked.hidden else "0",
    }
    if asked.country:
        settings |= {"country_code": asked.country, "ieee80211d": "1"}
    if asked.key is not None:
        settings |= {"wpa": "2", "wpa_key_mgmt": KEY_MANAGEMENT[asked.key_management], "rsn_pairwise": "CCMP"}
        settings |= {
            "ieee80211w": PROTECTED[asked.protected_frames],
            "sae_require_mfp": "1",
        }  # the latter: of who joins by SAE
        settings["wpa_psk" if HEX_KEY.fullmatch(asked.key) else "wpa_passphrase"] = asked.key
    if asked.bridged:
        settings["bridge"] = BRIDGE
    return settings


def start_station(room: Room, asked: Station, log: int) -> Daemon:
    """wpa_supplicant on a radio; what it joins it is told by its control socket."""
    folder = _folder()
    told = _sealed(f"ctrl_interface={folder}\n")
    words = ["wpa_supplicant", "-i", asked.interface, "-D", "nl80211", "-c", f"/proc/self/fd/{told}"]
    return Daemon(room, words, log, folder, told)


def start_lease_server(room: Room, asked: LeaseServer, log: int) -> Daemon:
    """dnsmasq on an interface, as a DHCP server alone."""
    folder = _folder()
    addresses = f"{asked.first},{asked.last},{asked.netmask},{asked.lease_s}"
    words = [
        *("dnsmasq", "--keep-in-foreground", "--conf-file=/dev/null", "--no-resolv", "--no-hosts", "--port=0"),
        *(f"--interface={asked.interface}", "--bind-interfaces", "--dhcp-authoritative", "--no-ping", "--log-dhcp"),
        *("--log-facility=-", f"--dhcp-leasefile={folder / 'leases'}", "--pid-file", f"--dhcp-range={addresses}"),
        *(["--user=root"] if os.getuid() == 0 else []),
        *([f"--dhcp-reply-delay={asked.delay_s}"] if asked.delay_s else []),
        *([] if asked.name_server is None else [f"--dhcp-option=6,{asked.name_server}".rstrip(",")]),
    ]
    return Daemon(room, words, log, folder)


def start_lease_client(room: Room, asked: LeaseClient) -> tuple[Daemon, int]:
    """busybox's DHCP client on an interface, and a pipe's end at which it says what it was given."""
    script = _sealed(SCRIPT)
    os.fchmod(script, 0o500)
    told, says = os.pipe()
    words = ["busybox", "udhcpc", "-f", "-i", asked.interface, "-t", str(TRIES), "-T", str(APART_S)]
    try:
        return Daemon(room, [*words, "-s", f"/proc/self/fd/{script}"], says, _folder(), script), told
    except Failed:
        os.close(told)
        raise
    finally:
        os.close(says)


def _folder() -> Path:
    # Paths of sockets must be short, and on a file system that has some.
    return Path(tempfile.mkdtemp(prefix="hil-"))


def _sealed(text: str) -> int:
    """A file in memory that nobody can change."""
    file = os.memfd_create("settings", os.MFD_ALLOW_SEALING | os.MFD_CLOEXEC)
    os.write(file, text.encode())
    fcntl.fcntl(file, ADD_SEALS, ALL_SEALS)
    os.lseek(file, 0, os.SEEK_SET)
    return file
