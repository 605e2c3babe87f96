"""Opens the virtual bench: starts the world, and puts the shipped instruments on it.

Console, flasher, camera, pages, probe endpoint and frame reading are the shipped classes; only what a desk has as
hardware is virtual.
"""

import random
import secrets
from contextlib import ExitStack
from pathlib import Path

from hil.core.bench_file import BenchFile, VirtualSettings
from hil.core.build import Build, load_build
from hil.core.clock import Clock
from hil.core.errors import BenchError, InputError
from hil.core.lateness import OnLate
from hil.core.product import Product
from hil.core.run_folder import RunFolder
from hil.core.timeline import Timeline
from hil.core.trial import Trial
from hil.instruments.air_monitor import AirMonitor
from hil.instruments.bench import Bench, OpenBench, Previous, Purpose
from hil.instruments.console import Console
from hil.instruments.controls import Controls
from hil.instruments.exposure import UNIT_S, Exposure, book_curve, exposure_of
from hil.instruments.flasher.loader import LoaderFlasher
from hil.instruments.lamp_camera import LampCamera, Region
from hil.instruments.network_plan import NetworkPlan
from hil.instruments.stations import RADIOS
from hil.instruments.visits import Visits
from hil.virtual.air.monitor import Monitor
from hil.virtual.bench_air import AirThread
from hil.virtual.bench_stations import VirtualAccessPoint, VirtualProbe
from hil.virtual.bench_switches import VirtualBenchLamp, VirtualExposure, VirtualPower
from hil.virtual.build import make_build
from hil.virtual.label import draw_label
from hil.virtual.truth import TruthFile
from hil.virtual.world import ControlLine, WorldProcess

FOLLOWED = 0.4  # share of the camera's frame rate up to which a flash can be told from its frames
CHIP = "esp32"
EXPOSURE_S = 0.008
PREVIOUS_VERSIONS = ("1.3.9", "1.3.8")
MADE_HERE = "none was given: this one is made from the sources of the virtual unit, with another version text alone"


def open_virtual_bench(bench_file: BenchFile, purpose: Purpose) -> OpenBench:
    """Start the world and open every instrument.

    Raises:
        InputError: a speed at which the camera cannot follow the product's fastest flash.
        BenchError: something did not start.
    """
    settings = bench_file.virtual
    _refuse_too_fast(settings, purpose.product)
    seed = settings.seed if settings.seed is not None else secrets.randbelow(1 << 30)
    with ExitStack() as stack:
        opened = _Opening(bench_file, seed, purpose.folder, stack).open(purpose)
        close = stack.pop_all().close
    return OpenBench(opened.bench, opened.facts, close)


def _refuse_too_fast(settings: VirtualSettings, product: Product) -> None:
    fastest_hz = product.fastest_flash_hz * settings.speed
    most_hz = FOLLOWED * settings.camera_frame_rate
    if fastest_hz > most_hz:
        highest = most_hz / product.fastest_flash_hz
        raise InputError(
            f"bench file: virtual.speed = {settings.speed:g}",
            f"the lamp would flash {fastest_hz:g} times a second; a camera of {settings.camera_frame_rate:g} frames/s "
            f"tells flashes up to {most_hz:g} Hz.",
            f"Use a speed of {highest:.1f} or less.",
        )


class _Opening:
    """Opens one thing after another; the stack closes them in the opposite order."""

    def __init__(self, bench_file: BenchFile, seed: int, folder: RunFolder, stack: ExitStack) -> None:
        self._file, self._seed, self._folder, self._stack = bench_file, seed, folder, stack
        self._settings = bench_file.virtual
        self._random = random.Random(seed)
        self._exposure_s = EXPOSURE_S
        self._label = bench_file.unit or draw_label(self._random)

    def open(self, purpose: Purpose) -> OpenBench:
        product, trial = purpose.product, purpose.trial
        if not purpose.aims:
            self._exposure_s = self._aimed_exposure_s()
        clock = Clock(self._settings.speed)
        timeline = Timeline(clock, self._folder.timeline)
        self._stack.callback(timeline.close)
        self._tell_clock(clock)
        air_process = self._process("air", self._air_config(), timeline.held_up)
        scene = self._process("scene", self._scene_config(), timeline.held_up)
        board_config = self._board_config(air_process.port("port"), scene.port("control_port"))
        board = self._process("board", board_config, timeline.held_up)
        power = VirtualPower(timeline, self._line("power", board.port("control_port")))
        scene_line = self._line("bench lamp and exposure", scene.port("control_port"))
        lamp = VirtualBenchLamp(timeline, scene_line)
        air_monitor, access_point, probe = self._stations(timeline, air_process.port("port"), trial)
        port = self._file.console.port or f"rfc2217://127.0.0.1:{board.port('serial_port')}"
        voice = product.console
        console = Console(
            port,
            timeline,
            self._folder.console,
            baud=voice.baud,
            rom_baud=voice.rom_baud,
            rom_speaks_s=voice.rom_speaks_s,
        )
        self._stack.callback(console.close)
        camera = self._camera(scene, timeline, aims=purpose.aims)
        self._stack.callback(camera.stop)
        controls = Controls(timeline, power, (access_point, probe), lamp, self._seed)
        build = purpose.build or load_build(make_build(self._folder.path / "build"))
        bench = Bench(
            timeline=timeline,
            label=self._label,
            build=build,
            trial=trial,
            network=NetworkPlan(trial.network, trial.network_key, self._file.air_monitor.channels[0]),
            power=power,
            console=console,
            flasher=LoaderFlasher(port, chip=CHIP),
            access_point=access_point,
            probe=probe,
            visits=Visits(timeline, self._folder.pages),
            air=air_monitor,
            camera=camera,
            bench_lamp=lamp,
            exposure=self._exposure(scene_line),
            channels=self._file.air_monitor.channels,
            previous=self._previous(product, build, purpose.previous),
        )
        console.open()
        camera.start()
        if not purpose.aims:
            controls.start()
            self._stack.callback(controls.stop)
        return OpenBench(bench, self._facts(board, camera, port), self._stack.close)

    def _previous(self, product: Product, build: Build, given: Build | None) -> Previous | None:
        """The previous build: the one given, else one made here, where the product has an update."""
        if given is not None:
            return Previous(given, f"given as {given.path}")
        if product.update is None:
            return None
        version = next(text for text in PREVIOUS_VERSIONS if text != build.version)
        made = load_build(make_build(self._folder.path / "previous", version=version))
        return Previous(made, MADE_HERE)

    def _process(self, name: str, config: dict[str, object], on_late: OnLate) -> WorldProcess:
        process = WorldProcess(name, config, on_late=on_late)
        self._stack.callback(process.stop)
        return process

    def _line(self, name: str, port: int) -> ControlLine:
        line = ControlLine(name, port)
        self._stack.callback(line.close)
        return line

    def _stations(
        self, timeline: Timeline, air_port: int, trial: Trial
    ) -> tuple[AirMonitor, VirtualAccessPoint, VirtualProbe]:
        thread = AirThread()
        self._stack.callback(thread.close)
        monitor = AirMonitor(timeline, self._folder.air, trial.control_network)
        self._stack.callback(monitor.close)
        channels = self._file.air_monitor.channels
        receiver = Monitor(air_port, channels, on_frame=monitor.hear, on_dhcp=monitor.hear_dhcp)
        try:
            thread.run(receiver.open())
        except OSError as error:
            raise BenchError("air monitor", f"hears no air: {error}.") from error
        self._stack.callback(lambda: thread.run(receiver.close()))
        addresses = [self._draw_address() for _ in range(RADIOS + len(channels))]
        access_point = VirtualAccessPoint(timeline, thread, air_port, addresses, self._seed)
        self._stack.callback(access_point.close)
        access_point.start(trial.control_network, channels)
        probe = VirtualProbe(timeline, thread, air_port, self._draw_address(), self._seed)
        self._stack.callback(probe.close)
        probe.start()
        return monitor, access_point, probe

    def _camera(self, scene: WorldProcess, timeline: Timeline, *, aims: bool) -> LampCamera:
        given = self._file.lamp_camera
        regions = scene.ready["regions"]
        assert isinstance(regions, dict)
        source = (
            given.source if given.source is not None else f"http://127.0.0.1:{scene.port('http_port')}/camera.mjpeg"
        )
        unit: Region = given.unit_region or tuple(regions["unit"])
        bench: Region = given.bench_region or tuple(regions["bench"])
        book_curve(timeline, given.curve)
        return LampCamera(
            source,
            unit,
            bench,
            timeline,
            self._folder.lamp,
            pixel_format=given.pixel_format,
            frame_rate=given.frame_rate,
            dark_picture=None if aims else given.dark_picture,
            dim_light=given.dim_light,
            settings={} if aims or given.source is None else given.settings,
        )

    def _exposure(self, scene: ControlLine) -> Exposure | None:
        source = self._file.lamp_camera.source
        if source is not None:
            return exposure_of(source)
        return VirtualExposure(scene, self._settings.camera_frame_rate, self._exposure_s)

    def _aimed_exposure_s(self) -> float:
        """That by which the scene's camera was aimed, else its usual one."""
        given = self._file.lamp_camera
        exposure = given.settings.get("exposure") if given.source is None else None
        return EXPOSURE_S if exposure is None else exposure * UNIT_S

    def _tell_clock(self, clock: Clock) -> None:
        """Put the zero of the run's clock beside the truth, so that tests can hold moments against it."""
        truth = TruthFile(self._truth)
        truth("run clock", zero_s=-clock.real_s(clock.at(0.0)), speed=clock.speed)
        truth.close()

    def _air_config(self) -> dict[str, object]:
        return {"speed": self._settings.speed, "seed": self._seed, "truth_file": str(self._truth)}

    def _scene_config(self) -> dict[str, object]:
        return {
            "seed": self._seed,
            "truth_file": str(self._truth),
            "latency_s": list(self._settings.camera_latency_s),
            "drop": self._settings.camera_drop,
            "frame_rate": self._settings.camera_frame_rate,
            "exposure_s": self._exposure_s,
            "gamma": self._settings.camera_gamma,
            **(self._many() if self._settings.places > 1 else {}),
        }

    def _many(self) -> dict[str, object]:
        """Several units before one camera want a larger picture."""
        return {"places": self._settings.places, "place": int(self._file.slot), "width": 960, "height": 720}

    def _board_config(self, air_port: int, scene_port: int) -> dict[str, object]:
        config: dict[str, object] = {
            "air_port": air_port,
            "scene_port": scene_port,
            "flash_file": str(self._world_folder / "flash.bin"),
            "truth_file": str(self._truth),
            "speed": self._settings.speed,
            "clock_ppm": self._settings.chip_clock_ppm,
            "address": self._label.address,
            "serial": self._label.serial_number,
            "label_key": self._label.hotspot_key,
            "seed": self._seed,
            "rom_speaks": self._settings.rom_speaks,
            "worn_flash_at": self._settings.worn_flash_at,
        }
        if self._settings.interpreter != "auto":
            config["interpreter"] = self._settings.interpreter
        return config

    @property
    def _world_folder(self) -> Path:
        folder = self._folder.path.resolve() / "virtual"
        folder.mkdir(exist_ok=True)
        return folder

    @property
    def _truth(self) -> Path:
        return self._world_folder / "truth.jsonl"

    def _draw_address(self) -> bytes:
        return bytes([0x02, *(self._random.randrange(256) for _ in range(5))])

    def _facts(self, board: WorldProcess, camera: LampCamera, port: str) -> dict[str, str]:
        return {
            "board": f"virtual, firmware under {board.ready.get('interpreter', 'an interpreter')}, 1 s of the unit in "
            f"{1 / self._settings.speed:.2f} s",
            "console": port,
            "camera": f"{camera.source}, nominal {self._settings.camera_frame_rate:g} frames/s, "
            f"each exposed for {1e3 * self._exposure_s:g} ms",
            "air monitor": f"channels {', '.join(map(str, self._file.air_monitor.channels))}",
            "flasher": f"serial loader, {CHIP}",
        }
