"""A station on one radio: wpa_supplicant, told what to join and followed by its control socket."""

import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from hil.core.errors import InstrumentGone
from hil.instruments.host.namespace import Namespace, end_program
from hil.instruments.host.wpa_control import WpaControl

START_S = 20.0
HEX_KEY = 64  # digits; IEEE 802.11-2020 J.4.1: 8 to 63 characters else

OnReport = Callable[[str, float], None]


class RadioStation:
    """The station, silent until it is told to join."""

    def __init__(self, namespace: Namespace, interface: str, log: Path, on_report: OnReport, source: str) -> None:
        """Start its daemon.

        Args:
            namespace: Where the radio is.
            interface: The radio's.
            log: What the daemon says goes there.
            on_report: Told each report and when it came (monotonic), in a thread of its own.
            source: Whose it is, in messages.

        Raises:
            InstrumentGone: the daemon does not start.
        """
        self._namespace, self._interface = namespace, interface
        # Paths of sockets must be short, and on a file system that has some: not in the run folder.
        self._sockets = Path(tempfile.mkdtemp(prefix="hil-"))
        settings = self._sockets / "supplicant.conf"
        settings.write_text(f"ctrl_interface={self._sockets}\n", encoding="ascii")
        with log.open("ab") as said:
            words = ["wpa_supplicant", "-i", interface, "-D", "nl80211", "-c", str(settings)]
            self._daemon = namespace.start(words, said)
        try:
            self._control = WpaControl(self._sockets / interface, source, on_report, START_S)
        except InstrumentGone:
            end_program(self._daemon)
            raise

    def select(self, name: bytes, passphrase: str | None, bssid: str = "") -> None:
        """Begin to join a network, in place of any other: by name, and by one access point's address where it is given."""
        self.forget()
        number = self._control.ask("ADD_NETWORK")
        secret = "key_mgmt NONE"
        if passphrase is not None:
            secret = f"psk {passphrase}" if len(passphrase) == HEX_KEY else f'psk "{passphrase}"'
        for told in (f"ssid {name.hex()}", "scan_ssid 1", secret, *([f"bssid {bssid}"] if bssid else [])):
            self._control.order(f"SET_NETWORK {number} {told}")
        self._control.order(f"SELECT_NETWORK {number}")

    def forget(self) -> None:
        """Leave the network with a farewell, or drop the attempt."""
        self._control.ask("REMOVE_NETWORK all")

    def ask(self, order: str) -> str:
        """Give the daemon an order of its own, and return the answer."""
        return self._control.ask(order)

    @property
    def answers(self) -> bool:
        """Whether the daemon runs, answers, and has its radio: it runs on without."""
        runs = self._daemon.poll() is None and self._namespace.has(self._interface)
        return runs and self._control.ask("PING") == "PONG"

    def close(self) -> None:
        """End the daemon."""
        self._control.close()
        end_program(self._daemon)
        shutil.rmtree(self._sockets, ignore_errors=True)
