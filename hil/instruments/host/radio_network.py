"""A network on one radio: hostapd, followed by its control socket."""

import contextlib
import re
import threading
from collections.abc import Callable, Mapping
from pathlib import Path

from hil.core.errors import BenchError, InputError, InstrumentGone
from hil.instruments.host.namespace import Namespace
from hil.instruments.host.wpa_control import WpaControl
from hil.instruments.network_plan import KeyManagement, ProtectedFrames, RadioMode

START_S = 20.0  # with a country set the kernel first waits for its rules; seen: 7 s
ON_AIR = "state=ENABLED"
OVER = ("AP-ENABLED", "AP-DISABLED", "CTRL-EVENT-TERMINATING")  # it is on the air, or will not be
REFUSES = re.compile(r"not allowed|not support|not determine|could not|invalid|failed", re.IGNORECASE)

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
) -> dict[str, object]:
    """What a network in the 2.4 GHz band is, open where there is no passphrase; bridged to no other."""
    told = {
        "name": name.hex(),
        "key": passphrase,
        "key_management": key_management,
        "protected_frames": protected_frames,
    }
    return {**told, "channel": channel, "mode": mode, "hidden": hidden, "country": country, "bridged": False}


class RadioNetwork:
    """The network, from now until `silence`."""

    def __init__(
        self,
        namespace: Namespace,
        interface: str,
        settings: Mapping[str, object],
        folder: Path,
        on_report: OnReport,
        source: str,
    ) -> None:
        """Put it on the air.

        Args:
            namespace: Where the radio is.
            interface: The radio's.
            settings: As of `settings_of`.
            folder: Where its log is kept.
            on_report: Told each report and when it came (monotonic), in a thread of its own.
            source: Whose it is, in messages.

        Raises:
            InstrumentGone: it does not come on the air.
        """
        self.interface = interface
        self._namespace, self._on_report, self._over = namespace, on_report, threading.Event()
        log = folder / f"{interface}.log"
        with log.open("ab") as said:
            begun = said.tell()
            self._daemon = namespace.start_network(interface, said, dict(settings))
        try:
            self._control = WpaControl(self._daemon.folder / interface, f"{source} ({interface})", self._told, START_S)
        except InstrumentGone:
            self._daemon.end()
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
        runs = self._daemon.running and self._namespace.has(self.interface)
        return runs and self._control.ask("PING") == "PONG"

    def silence(self) -> None:
        """Take it off the air at once: the interface goes down first, as hostapd would say farewell to its members."""
        with contextlib.suppress(BenchError, InputError):  # a radio that is gone is silent
            self._namespace.set_link(self.interface, up=False)
        self.end()

    def end(self) -> None:
        """End it, with a farewell where it is still on the air."""
        self._control.close()
        self._daemon.end()

    def _told(self, report: str, came_s: float) -> None:
        if report.startswith(OVER):
            self._over.set()
        self._on_report(report, came_s)
