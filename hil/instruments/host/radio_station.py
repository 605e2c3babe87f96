"""A station on one radio: wpa_supplicant, told what to join and followed by its control socket."""

import re
from collections.abc import Callable
from pathlib import Path

from hil.core.errors import InstrumentGone
from hil.instruments.host.namespace import Namespace
from hil.instruments.host.wpa_control import WpaControl
from hil.instruments.keeper.daemons import KEY_MANAGEMENT
from hil.instruments.network_plan import HEX_KEY, KeyManagement, security_by

START_S = 20.0
FLAGS = re.compile(r"\[(?:WPA2|RSN)-([^]]+)]")  # of a scan: one such word for an RSN element

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
        with log.open("ab") as said:
            self._daemon = namespace.start_station(interface, said)
        try:
            self._control = WpaControl(self._daemon.folder / interface, source, on_report, START_S)
        except InstrumentGone:
            self._daemon.end()
            raise

    def select(
        self, name: bytes, passphrase: str | None, bssid: str = "", *, knows: KeyManagement = "wpa2 and wpa3"
    ) -> None:
        """Begin to join a network, in place of any other: by name, and by one access point's address where it is given.

        `knows` is how it can prove its key. One that knows WPA3 protects management frames wherever the network does; one
        that knows WPA2 alone never does.
        """
        self.forget()
        number = self._control.ask("ADD_NETWORK")
        secret, place = _secret(passphrase, knows), [f"bssid {bssid}"] if bssid else []
        for told in (f"ssid {name.hex()}", "scan_ssid 1", *secret, *place):
            self._control.order(f"SET_NETWORK {number} {told}")
        self._control.order(f"SELECT_NETWORK {number}")

    def security_at(self, bssid: str) -> str:
        """How the network of an access point is secured, as it was last heard by a scan; empty where it was not.

        Raises:
            InstrumentGone: the daemon does not answer.
        """
        told = re.search(r"^flags=(.*)$", self._control.ask(f"BSS {bssid}"), re.MULTILINE)
        return security_told(told[1]) if told else ""

    def forget(self) -> None:
        """Leave the network with a farewell, or drop the attempt."""
        self._control.ask("REMOVE_NETWORK all")

    def ask(self, order: str) -> str:
        """Give the daemon an order of its own, and return the answer."""
        return self._control.ask(order)

    @property
    def answers(self) -> bool:
        """Whether the daemon runs, answers, and has its radio: it runs on without."""
        runs = self._daemon.running and self._namespace.has(self._interface)
        return runs and self._control.ask("PING") == "PONG"

    def close(self) -> None:
        """End the daemon."""
        self._control.close()
        self._daemon.end()


def security_told(flags: str) -> str:
    """How a network is secured, by the flags of a scan, such as `[WPA2-PSK+SAE-CCMP][ESS]`; WPA alone is "other"."""
    told = FLAGS.search(flags)
    if told is None:
        return "wep" if "[WEP]" in flags else "other" if "[WPA-" in flags else "open"
    ways = set(re.split(r"[+-]", told[1]))
    return security_by(psk="PSK" in ways, sae="SAE" in ways)


def _secret(passphrase: str | None, knows: KeyManagement) -> list[str]:
    """Settings of a network of the daemon's: how it proves the key, and the key."""
    if passphrase is None:
        return ["key_mgmt NONE"]
    protects = [] if knows == "wpa2" else ["ieee80211w 1"]
    if len(passphrase) == HEX_KEY:  # which SAE cannot prove
        return [f"psk {passphrase}", "key_mgmt WPA-PSK", *protects]
    return [f'psk "{passphrase}"', f"key_mgmt {KEY_MANAGEMENT[knows]}", *protects]
