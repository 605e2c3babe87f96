"""The views a leg's evidence is read through, behind a gate: one that a check did not name refuses to be read."""

from dataclasses import dataclass, field
from functools import cached_property

from hil.core.errors import OurBug
from hil.core.readings import Occurrence
from hil.evidence.air import AirView
from hil.evidence.console import ConsoleView
from hil.evidence.flash import FlashView
from hil.evidence.lamp import LampView
from hil.evidence.lamp_by_eye import lamp_of
from hil.evidence.pages import PagesView
from hil.evidence.power import PowerView
from hil.evidence.quiet_starts import signs_of_starts
from hil.evidence.resets import ResetsView
from hil.evidence.stations import AccessPointView, ProbeView
from hil.evidence.window import Window, occurrence

WITNESSES = {
    "air": "air monitor",
    "access_point": "access point",
    "probe": "probe",
    "pages": "pages",
    "lamp": "camera",
    "power": "power",
    "console": "console",
    "resets": "console",
    "flash": "flasher",
}


@dataclass
class Gate:
    """Which views the running check named; None while no check runs."""

    named: frozenset[str] | None = None
    read: set[str] = field(default_factory=set)

    def begin(self, named: frozenset[str]) -> None:
        """Let a check read the views it named, and nothing else."""
        self.named, self.read = named, set()

    def open_for(self, view: str) -> None:
        """Note that a view is read.

        Raises:
            OurBug: the check did not name it.
        """
        if self.named is not None and view not in self.named:
            raise OurBug(f"The check reads {view!r}, which its @needs does not name.")
        self.read.add(view)


class Views:
    """One drive of a leg: each view is opened through the gate; the underscored ones are for this package alone."""

    def __init__(self, window: Window, gate: Gate) -> None:
        """Read a window, through a gate."""
        self._window = window
        self._gate = gate

    @property
    def begin_s(self) -> float:
        """When the leg began."""
        return self._window.begin_s

    @property
    def end_s(self) -> float:
        """When it ended."""
        return self._window.end_s

    def asked_at(self, asked_by: str) -> Occurrence:
        """When the bench did what asks the unit for a start, or to join: booked by itself, just before."""
        booked = (m for m in self._window.of("ledger", "asked") if m.text("asked_by") == asked_by)
        nothing = Occurrence.not_before(self.begin_s, f"ledger: nothing was asked for by the {asked_by}")
        return next(map(occurrence, booked), nothing)

    @cached_property
    def _air(self) -> AirView:
        return AirView(self._window)

    @cached_property
    def _access_point(self) -> AccessPointView:
        return AccessPointView(self._window)

    @cached_property
    def _probe(self) -> ProbeView:
        return ProbeView(self._window)

    @cached_property
    def _pages(self) -> PagesView:
        return PagesView(self._window)

    @cached_property
    def _lamp(self) -> LampView:
        return lamp_of(self._window)

    @cached_property
    def _power(self) -> PowerView:
        return PowerView(self._window)

    @cached_property
    def _console(self) -> ConsoleView:
        return ConsoleView(self._window)

    @cached_property
    def _flash(self) -> FlashView:
        return FlashView(self._window)

    @cached_property
    def _resets(self) -> ResetsView:
        return ResetsView(self._window, signs_of_starts(self._window, self._console))

    @property
    def air(self) -> AirView:
        """Frames the air monitor heard."""
        self._gate.open_for("air")
        return self._air

    @property
    def access_point(self) -> AccessPointView:
        """The access point's clients and leases."""
        self._gate.open_for("access_point")
        return self._access_point

    @property
    def probe(self) -> ProbeView:
        """The bench's own station on the unit's hotspot."""
        self._gate.open_for("probe")
        return self._probe

    @property
    def pages(self) -> PagesView:
        """Pages fetched."""
        self._gate.open_for("pages")
        return self._pages

    @property
    def lamp(self) -> LampView:
        """What the camera saw of the lamp."""
        self._gate.open_for("lamp")
        return self._lamp

    @property
    def power(self) -> PowerView:
        """The supply."""
        self._gate.open_for("power")
        return self._power

    @property
    def console(self) -> ConsoleView:
        """What the unit said."""
        self._gate.open_for("console")
        return self._console

    @property
    def flash(self) -> FlashView:
        """What the flasher read back."""
        self._gate.open_for("flash")
        return self._flash

    @property
    def resets(self) -> ResetsView:
        """The ledger of resets."""
        self._gate.open_for("resets")
        return self._resets
