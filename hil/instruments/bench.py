"""The bench around one unit: its instruments, and what a run types into the unit."""

from collections.abc import Callable
from dataclasses import dataclass

from hil.core.bench_file import Label
from hil.core.build import Build
from hil.core.clock import Clock
from hil.core.errors import InputError
from hil.core.product import Product
from hil.core.run_folder import RunFolder
from hil.core.timeline import Timeline
from hil.core.trial import Trial
from hil.instruments.air_monitor import AirMonitor
from hil.instruments.bench_lamp import BenchLamp
from hil.instruments.console import Console
from hil.instruments.exposure import Exposure
from hil.instruments.flasher import Flasher
from hil.instruments.lamp_by_eye import LampByEye
from hil.instruments.lamp_camera import LampCamera
from hil.instruments.network_plan import NetworkPlan
from hil.instruments.power import Power
from hil.instruments.stations import AccessPoint, Probe
from hil.instruments.visits import Visits


@dataclass(frozen=True)
class Previous:
    """An earlier build of the product, and where it comes from, in words."""

    build: Build
    origin: str


@dataclass(frozen=True)
class Bench:
    """What a leg drives.

    `label` is what the unit's label says; `build`, `previous` and `trial` are the run's own; `channels` are those that the
    air monitor watches; `exposure` is there where somebody here can set the camera's. Camera and bench lamp are there, or a
    person's `eye`.
    """

    timeline: Timeline
    label: Label
    build: Build
    trial: Trial
    network: NetworkPlan
    power: Power
    console: Console
    flasher: Flasher
    access_point: AccessPoint
    probe: Probe
    visits: Visits
    air: AirMonitor
    camera: LampCamera | None
    bench_lamp: BenchLamp | None
    eye: LampByEye | None = None
    previous: Previous | None = None
    exposure: Exposure | None = None
    channels: tuple[int, ...] = ()

    @property
    def clock(self) -> Clock:
        """The run's clock."""
        return self.timeline.clock

    @property
    def its_camera(self) -> LampCamera:
        """The camera, for what no person's eye can do.

        Raises:
            InputError: there is none.
        """
        if self.camera is None:
            raise InputError("bench file: lamp_camera", "there is no camera, and this wants one.", "Name its source.")
        return self.camera


@dataclass(frozen=True)
class Purpose:
    """What a bench is opened for: a product's unit, what is typed into it, and the folder that all of it is recorded in.

    Where no `build` is given the unit is one to look at, with whatever is on it; `previous` is what it is updated from. A bench
    that is opened to be aimed leaves its own lamp alone, and may lack the lamps' places.
    """

    product: Product
    trial: Trial
    folder: RunFolder
    build: Build | None = None
    previous: Build | None = None
    aims: bool = False


@dataclass(frozen=True)
class OpenBench:
    """A bench that is ready, what it says of itself for the sheet, and how it is closed."""

    bench: Bench
    facts: dict[str, str]
    close: Callable[[], None]
