"""A bench that costs no time: a timeline of its own, a supply that obeys at once, and moments that a leg puts there.

Legs of tests say what the witnesses see with `show`; nothing runs, nothing is waited for. What a test does not use is
not there at all: a leg that reached for it would end with an AttributeError, not with evidence.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import cast

from hil.core.bench_file import Label
from hil.core.build import Build
from hil.core.clock import Clock
from hil.core.errors import BenchError
from hil.core.product import load_product
from hil.core.run_folder import RunFolder, RunInfo
from hil.core.timeline import Timeline
from hil.core.trial import Trial
from hil.drive.live import LiveDriver
from hil.instruments.air_monitor import AirMonitor
from hil.instruments.bench import Bench
from hil.instruments.bench_lamp import BenchLamp
from hil.instruments.console import Console
from hil.instruments.flasher import Flasher
from hil.instruments.lamp_camera import LampCamera
from hil.instruments.network_plan import NetworkPlan
from hil.instruments.power import Power, SupplyState
from hil.instruments.stations import AccessPoint, Probe
from hil.instruments.visits import Visits
from hil.legs.leg import LegCall
from hil.virtual import DEMO_PRODUCT
from support.records import CONTROL, FACTS, HOTSPOT, NETWORK, SECRETS, TYPED, UNIT, beacon


class ObedientPower(Power):
    """A supply that does as it is told, until it is `gone`."""

    def __init__(self, timeline: Timeline) -> None:
        super().__init__(timeline)
        self.is_on = False
        self.gone = False

    def _switch(self, on: bool) -> None:
        if self.gone:
            raise BenchError("power", "the switch does not answer.", "Check its cable.")
        self.is_on = on

    def _read(self) -> SupplyState:
        return SupplyState(self.is_on, None, None)


class IdleCamera:
    """A camera nobody waits for."""

    def wait_past(self, time_s: float, limit_s: float) -> bool:
        """Say that the frame has come."""
        return True


def fake_bench(folder: Path) -> Bench:
    """Make a bench that writes its timeline into a folder."""
    timeline = Timeline(Clock(), folder / "timeline.jsonl")
    nothing = object()
    return Bench(
        timeline=timeline,
        label=Label(serial_number="MV2-0418-00731", address=UNIT, hotspot_key="label-key"),
        build=cast("Build", nothing),
        trial=Trial(NETWORK, SECRETS["network_key"], CONTROL, TYPED, tuple(SECRETS)),
        network=NetworkPlan(NETWORK, SECRETS["network_key"], 1),
        power=ObedientPower(timeline),
        console=cast("Console", nothing),
        flasher=cast("Flasher", nothing),
        access_point=cast("AccessPoint", nothing),
        probe=cast("Probe", nothing),
        visits=cast("Visits", nothing),
        air=cast("AirMonitor", nothing),
        camera=cast("LampCamera", IdleCamera()),
        bench_lamp=cast("BenchLamp", nothing),
    )


def fake_driver(folder: Path, calls: Sequence[LegCall], wanted: Sequence[str] = ()) -> LiveDriver:
    """Make a driver over a bench of this kind, and a run folder with its record."""
    run = RunFolder(folder).make()
    info = RunInfo("fake-1", "2026-03-14T09:12:31+01:00", "0.1.0", list(wanted), False)
    info.facts = {section: dict(facts) for section, facts in FACTS.items()} | {"instruments": {}}
    product = load_product(DEMO_PRODUCT)
    run.product_file.write_bytes(DEMO_PRODUCT.read_bytes())
    run.write_info(info)
    bench = fake_bench(folder)
    return LiveDriver(bench, product, run, info, calls, bench.timeline.close)


def show(bench: Bench, stage: str) -> None:
    """Let the witnesses see a unit come to a stage, now."""
    if stage == "off":
        bench.power.off(asked_by="leg")
        return
    on_s = bench.power.on(asked_by="leg").time_s
    if stage == "setup":
        seen = beacon(on_s + 1e-6, HOTSPOT)
        bench.timeline.add("air", "beacon", details=dict(seen.data))
    elif stage == "connected":
        bench.timeline.add("access point", "leased", address=UNIT, ip="198.51.100.2")
