"""A pytest plug-in that breaks the bench of a live run at a moment of its timeline.

Loaded into `hil accept` by PYTEST_PLUGINS; the variable HIL_TEST_FAULT says `FAULT@SOURCE KIND NAME`, with a name of
`FAULTS`: the fault comes when such a moment is first booked (`NAME` stands in its data, say the leg that begins).
"""

import os
import resource
import socket
import threading
from collections.abc import Callable, Mapping
from pathlib import Path

import hil.virtual.bench
from hil.core.build import load_build
from hil.core.moments import Moment
from hil.drive.driver import Driver
from hil.drive.live import LiveDriver
from hil.instruments.bench import Bench
from hil.virtual.air.monitor import Monitor
from hil.virtual.bench_stations import VirtualAccessPoint, VirtualProbe
from hil.virtual.bench_switches import VirtualBenchLamp, VirtualPower
from hil.virtual.world import ControlLine

VARIABLE = "HIL_TEST_FAULT"
BUILD = "HIL_TEST_BUILD"
TESTS = Path(__file__).parents[1]
STALLED_REAL_S = 1.7

_monitors: list[Monitor] = []


class _KnownMonitor(Monitor):
    """A monitor that the fault can find: the bench hands out what it tells, not the receiver itself."""

    async def open(self) -> None:
        _monitors.append(self)
        await super().open()


def fault_environment(fault: str, when: str, build: Path | None = None) -> dict[str, str]:
    """The environment in which `hil accept` gets a fault."""
    path = os.pathsep.join(filter(None, [str(TESTS), os.environ.get("PYTHONPATH")]))
    given = {BUILD: str(build)} if build else {}
    return {"PYTHONPATH": path, "PYTEST_PLUGINS": "support.faults", VARIABLE: f"{fault}@{when}", **given}


def pytest_hil_run_begins(driver: Driver) -> None:
    """Wait for the moment of the fault."""
    assert isinstance(driver, LiveDriver)
    bench = driver.bench
    fault, _, when = os.environ[VARIABLE].partition("@")
    done: list[Moment] = []

    def look(moment: Moment) -> None:
        told = f"{moment.source} {moment.kind} {' '.join(map(str, moment.data.values()))}"
        if not done and told.startswith(when):
            done.append(moment)
            if threading.current_thread().name == "air":  # whose loop the fault may have to wait for
                threading.Thread(target=FAULTS[fault], args=(bench,)).start()
            else:
                FAULTS[fault](bench)

    bench.timeline.listen(look)


def _scene(op: str, **more: object) -> Callable[[Bench], object]:
    def order(bench: Bench) -> object:
        assert isinstance(bench.bench_lamp, VirtualBenchLamp)
        return bench.bench_lamp._control.ask({"op": op, **more})

    return order


def _camera_stalls(bench: Bench) -> None:
    """For a moment: then its frames come again."""
    _scene("stall")(bench)
    threading.Timer(STALLED_REAL_S, _scene("thaw"), [bench]).start()


def _deaf_air_monitor(bench: Bench) -> None:
    assert isinstance(bench.access_point, VirtualAccessPoint)
    bench.access_point._air.run(_monitors[0].close())


def _dead_access_point(bench: Bench) -> None:
    assert isinstance(bench.access_point, VirtualAccessPoint)
    bench.access_point._air.run(bench.access_point._radios[0].close())


def _dead_probe(bench: Bench) -> None:
    """The radio is pulled out: gone from the air, and not to be opened again."""
    assert isinstance(bench.probe, VirtualProbe)
    with socket.create_server(("127.0.0.1", 0)) as nobody:
        bench.probe._radio._link._air_port = nobody.getsockname()[1]
    bench.probe._air.run(bench.probe._radio.close())


def _console_unplugged(bench: Bench) -> None:
    """For good: nobody plugs it in again."""
    bench.console.port = "usb:none"
    link: socket.socket = bench.console._serial._socket  # type: ignore[union-attr]
    link.shutdown(socket.SHUT_RDWR)


def _switch_gone(bench: Bench) -> None:
    assert isinstance(bench.power, VirtualPower)
    line: ControlLine = bench.power._control
    line._socket.shutdown(socket.SHUT_RDWR)


def _other_build(bench: Bench) -> None:
    """Somebody puts another build on the unit."""
    bench.power.on(asked_by="somebody")
    bench.console.close()
    bench.flasher.write(load_build(Path(os.environ[BUILD])))
    bench.power.off(asked_by="somebody")
    bench.console.open()


def _disk_full(bench: Bench) -> None:
    """No file of this process may grow any more: what a full disk does, for those who are not root."""
    del bench
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, resource.getrlimit(resource.RLIMIT_FSIZE)[1]))


FAULTS: Mapping[str, Callable[[Bench], object]] = {
    "camera unplugged": _scene("stop"),
    "camera stalls": _camera_stalls,
    "camera frozen": _scene("freeze"),
    "camera covered": _scene("black"),
    "camera bumped": _scene("shift", by=[5.0, -3.0]),
    "air monitor deaf": _deaf_air_monitor,
    "access point dead": _dead_access_point,
    "probe dead": _dead_probe,
    "console unplugged": _console_unplugged,
    "power switch gone": _switch_gone,
    "other build": _other_build,
    "disk full": _disk_full,
}

vars(hil.virtual.bench)["Monitor"] = _KnownMonitor
