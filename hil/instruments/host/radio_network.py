"""A network on one radio: hostapd, followed by its control socket."""

import contextlib
import re
import subprocess
import threading
from collections.abc import Callable, Mapping
from pathlib import Path

from hil.core.errors import BenchError, InstrumentGone
from hil.instruments.host.namespace import Namespace, end_program
from hil.instruments.host.wpa_control import WpaControl
from hil.instruments.network_plan import HEX_KEY, KeyManagement, ProtectedFrames, RadioMode

START_S = 20.0  # with a country set the kernel first waits for its rules; seen: 7 s
ON_AIR = "state=ENABLED"
OVER = ("AP-ENABLED", "AP-DISABLED", "CTRL-EVENT-TERMINATING")  # it is on the air, or will not be
REFUSES = re.compile(r"not allowed|not support|not determine|could not|invalid|failed", re.IGNORECASE)
MODES: dict[RadioMode, dict[str, str]] = {
    "b": {"hw_mode": "b"},
    "g": {"hw_mode": "g"},
    "n": {"hw_mode": "g", "ieee80211n": "1", "wmm_enabled": "1"},  # HT asks for WMM (IEEE 802.11-2020, 4.3.14)
}
KEY_MANAGEMENT: dict[KeyManagement, str] = {"wpa2": "WPA-PSK", "wpa2 and wpa3": "WPA-PSK SAE", "wpa3": "SAE"}
PROTECTED: dict[ProtectedFrames, str] = {"off": "0", "optional": "1", "required": "2"}

OnReport = Callable[[str, float], None]


def settings_of(
    name: bytes,
    passphrase: str | None,
    channel: int,
    *,
    hidden: bool = False,
    country: str = "",
    key_management: KeyManagement = "wpa2",
    protected_frames: ProtectedFrames = "off",
    mode: RadioMode = "g",
) -> dict[str, str]:
    """Hostapd's own settings for a network in the 2.4 GHz band, open where there is no passphrase."""
    told = {
        "ssid2": name.hex(),
        **MODES[mode],
        "channel": str(channel),
        "ignore_broadcast_ssid": "1" if hidden else "0",
    }
    if country:
        told |= {"country_code": country, "ieee80211d": "1"}
    if passphrase is not None:
        told |= {"wpa": "2", "wpa_key_mgmt": KEY_MANAGEMENT[key_management], "rsn_pairwise": "CCMP"}
        told |= {"ieee80211w": PROTECTED[protected_frames], "sae_require_mfp": "1"}  # the latter: of who joins by SAE
        told["wpa_psk" if len(passphrase) == HEX_KEY else "wpa_passphrase"] = passphrase
    return told


class RadioNetwork:
    """The network, from now until `silence`."""

    def __init__(
        self,
        namespace: Namespace,
        interface: str,
        settings: Mapping[str, str],
        folder: Path,
        sockets: Path,
        on_report: OnReport,
        source: str,
    ) -> None:
        """Put it on the air.

        Args:
            namespace: Where the radio is.
            interface: The radio's.
            settings: Hostapd's, as of `settings_of`, with more where wanted (such as a bridge).
            folder: Where its settings and log are kept.
            sockets: A folder with a short path, for its control socket.
            on_report: Told each report and when it came (monotonic), in a thread of its own.
            source: Whose it is, in messages.

        Raises:
            InstrumentGone: it does not come on the air.
        """
        self.interface = interface
        self._namespace, self._on_report, self._over = namespace, on_report, threading.Event()
        file, log = folder / f"{interface}.conf", folder / f"{interface}.log"
        told = {"interface": interface, "driver": "nl80211", "ctrl_interface": str(sockets), **settings}
        file.write_text("".join(f"{name}={value}\n" for name, value in told.items()), encoding="utf-8")
        with log.open("ab") as said:
            begun = said.tell()
            self._process: subprocess.Popen[bytes] = namespace.start(["hostapd", str(file)], said)
        try:
            self._control = WpaControl(sockets / interface, f"{source} ({interface})", self._told, START_S)
        except InstrumentGone:
            end_program(self._process)
            raise
        if not self._comes_on_air():
            self.silence()
            words = log.read_bytes()[begun:].decode("utf-8", "backslashreplace").splitlines()
            why = next(
                (f"hostapd says: {line!r}" for line in words if REFUSES.search(line)), f"not within {START_S:g} s"
            )
            problem = f"{interface} does not come on the air on channel {settings['channel']}: {why}."
            raise InstrumentGone(source, problem, f"Name what radio and country allow, or look at {log}.")

    def _comes_on_air(self) -> bool:
        """Wait until it is there, or hostapd has given up."""
        try:
            if ON_AIR in self._control.ask("STATUS"):
                return True
            self._over.wait(START_S)
            return ON_AIR in self._control.ask("STATUS")
        except InstrumentGone:  # it has ended
            return False

    @property
    def answers(self) -> bool:
        """Whether it runs, answers, and has its radio: hostapd runs on without."""
        runs = self._process.poll() is None and self._namespace.has(self.interface)
        return runs and self._control.ask("PING") == "PONG"

    def silence(self) -> None:
        """Take it off the air at once: the interface goes down first, as hostapd would say farewell to its members."""
        with contextlib.suppress(BenchError):  # a radio that is gone is silent
            self._namespace.order("ip", "link", "set", self.interface, "down")
        self.end()

    def end(self) -> None:
        """End it, with a farewell where it is still on the air."""
        self._control.close()
        end_program(self._process)

    def _told(self, report: str, came_s: float) -> None:
        if report.startswith(OVER):
            self._over.set()
        self._on_report(report, came_s)
