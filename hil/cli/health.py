"""Each witness's health as a run goes on, from its last control on the timeline."""

from collections import deque

from hil.core.clock import Clock
from hil.core.moments import Moment

PATIENCE_S = {"camera": 1.5, "air monitor": 0.8, "access point": 2.0, "power": 1.5}
CONTROL_OF = {
    ("air", "beacon"): "air monitor",
    ("access point", "answering"): "access point",
    ("power", "state"): "power",
}


class Health:
    """Listens to a timeline; `words` says how each witness is."""

    def __init__(self, clock: Clock, control_network: str, *, by_eye: bool = False) -> None:
        """Watch by the run's clock; the control network's beacons prove the air monitor awake. `by_eye`: there is no camera."""
        self._watched = {name: patience_s for name, patience_s in PATIENCE_S.items() if name != "camera" or not by_eye}
        self.clock = clock
        self._control_network = control_network
        self._last_s: dict[str, float] = {}
        self._console = "no line yet"
        self._probe = "idle"
        self.look = "no key yet"
        self.recent: deque[Moment] = deque(maxlen=1)

    def see(self, moment: Moment) -> None:
        """Take a moment."""
        witness = CONTROL_OF.get((moment.source, moment.kind))
        if witness and (witness != "air monitor" or moment.data.get("name") == self._control_network):
            self._last_s[witness] = moment.time_s
        if moment.is_("lamp by eye", "shows"):
            self.look = moment.text("look")
        if moment.is_("console", "listening") or (moment.source == "probe" and moment.kind == "answering"):
            return  # controls: nothing that the unit did
        if moment.source == "console":
            self._console = {"line": "speaking", "closed": "closed for the flasher", "lost": "lost"}.get(
                moment.kind, self._console
            )
        if moment.source == "probe":
            self._probe = {"joined": "joined", "leased": "on the hotspot", "left": "idle"}.get(moment.kind, self._probe)
        if moment.source not in ("air", "bench lamp", "power", "access point") or moment.kind in ("joined", "leased"):
            self.recent.append(moment)

    def see_frame(self) -> None:
        """A camera frame arrived."""
        self._last_s["camera"] = self.clock.now_s()

    def words(self) -> dict[str, str]:
        """Witness → a word or two."""
        now_s = self.clock.now_s()
        words = {}
        for witness, patience_s in self._watched.items():
            last_s = self._last_s.get(witness)
            if last_s is None:
                words[witness] = "not heard yet"
            else:
                words[witness] = "awake" if now_s - last_s < patience_s else f"silent for {now_s - last_s:.0f} s"
        return words | {"console": self._console, "probe": self._probe}
