"""Opens a desk: every instrument that the bench file names, on the host's own ports, radios and cameras."""

import secrets
from contextlib import ExitStack
from pathlib import Path
from typing import TypeVar

from hil.core.bench_file import BenchFile, BenchLampPlace, FlasherPlace
from hil.core.bench_file import LampCamera as LampCameraPlace
from hil.core.build import UNKNOWN_BUILD
from hil.core.clock import Clock
from hil.core.errors import InputError
from hil.core.timeline import Timeline
from hil.instruments.air_monitor import AirMonitor
from hil.instruments.bench import Bench, OpenBench, Previous, Purpose
from hil.instruments.camera_stream import without_password
from hil.instruments.console import Console
from hil.instruments.controls import Controls
from hil.instruments.exposure import book_curve, exposure_of
from hil.instruments.flasher import Flasher
from hil.instruments.flasher.command import CommandFlasher
from hil.instruments.flasher.loader import LoaderFlasher
from hil.instruments.host.access_point import HostAccessPoint
from hil.instruments.host.air_capture import AirCapture, akin
from hil.instruments.host.probe import HostProbe
from hil.instruments.keyboard import Keyboard
from hil.instruments.lamp_by_eye import BY_EYE, LampByEye
from hil.instruments.lamp_camera import LampCamera
from hil.instruments.line_lamp import GpioLamp, LineLamp
from hil.instruments.network_plan import NetworkPlan
from hil.instruments.power.ways import open_power, told_of
from hil.instruments.visits import Visits

REAL_SPEED = 1.0
UNSAID = "Add it: on a desk the file says where each instrument is."
UNAIMED = "Aim the camera: hil bench aim --bench FILE; or add it."
Said = TypeVar("Said")


def open_desk(bench_file: BenchFile, purpose: Purpose) -> OpenBench:
    """Open every instrument.

    Raises:
        InputError: the bench file names something that is not there, or does not say where an instrument is.
        BenchError: an instrument is busy or broken.
    """
    with ExitStack() as stack:
        opening = _Opening(_Places(bench_file, aims=purpose.aims), purpose, stack)
        bench = opening.open()
        return OpenBench(bench, opening.facts(), stack.pop_all().close)


class _Places:
    """Where each instrument is.

    Raises:
        InputError: the bench file does not say it.
    """

    def __init__(self, file: BenchFile, *, aims: bool) -> None:
        self.slot, self.flasher, self.channels = file.slot, file.flasher, file.air_monitor.channels
        self.label = _said(file.unit, "unit")
        self.supply = _said(file.power, "power")
        self.console = _said(file.console.port, "console.port")
        self.access_point = _said(file.access_point, "access_point")
        self.probe = _said(file.probe, "probe").radio
        self.air_monitor = _said(file.air_monitor.radio, "air_monitor.radio")
        self.eye = file.lamp_camera.operator
        if self.eye is not None and aims:
            raise InputError("bench file: lamp_camera.operator", "a person is not aimed.", "Name a camera, to aim it.")
        self.bench_lamp = None if self.eye else _said(file.bench_lamp, "bench_lamp")
        self.camera = None if self.eye else _source(file.lamp_camera)
        self.pixel_format, self.frame_rate = file.lamp_camera.pixel_format, file.lamp_camera.frame_rate
        self.curve, self.dark_picture = file.lamp_camera.curve, None if aims else file.lamp_camera.dark_picture
        self.dim_light = file.lamp_camera.dim_light
        self.camera_settings = {} if aims else file.lamp_camera.settings
        regions = file.lamp_camera.unit_region, file.lamp_camera.bench_region
        self.unit_region, self.bench_region = (
            regions
            if aims or self.eye
            else (
                _said(regions[0], "lamp_camera.unit_region", UNAIMED),
                _said(regions[1], "lamp_camera.bench_region", UNAIMED),
            )
        )
        if len(self.channels) != 1:
            key, heard = "bench file: air_monitor.channels", ", ".join(map(str, self.channels))
            raise InputError(key, f"{heard}: one radio hears one channel.", "Name that of the unit's hotspot.")

    @property
    def channel(self) -> int:
        """That of the bench's networks, and of the air monitor."""
        return self.channels[0]


def _source(camera: LampCameraPlace) -> int | str:
    return camera.source if isinstance(camera.source, int) else _said(camera.source, "lamp_camera.source")


def _said(value: Said | None, key: str, remedy: str = UNSAID) -> Said:
    if value is None:
        raise InputError(f"bench file: {key}", "missing.", remedy)
    return value


def open_lamp(timeline: Timeline, place: BenchLampPlace) -> LineLamp | GpioLamp:
    """Open the bench's own lamp, which is dark then.

    Raises:
        InputError: it is not where the bench file says.
        BenchError: it is busy or broken.
    """
    if (gpio := place.gpio) is not None:
        return GpioLamp(timeline, gpio.chip, gpio.line, inverted=gpio.inverted)
    assert place.port is not None  # the bench file has one of them
    return LineLamp(timeline, place.port, place.line)


def flasher_of(port: str, place: FlasherPlace) -> Flasher:
    """The flasher over the console's port.

    Raises:
        InputError: the chip family or a command is not one.
    """
    return CommandFlasher(port, place.command) if place.command else LoaderFlasher(port, chip=place.chip)


class _Opening:
    """Opens one thing after another; the stack closes them in the opposite order."""

    def __init__(self, at: _Places, purpose: Purpose, stack: ExitStack) -> None:
        self._at, self._purpose, self._stack = at, purpose, stack
        self._trial, self._folder = purpose.trial, purpose.folder
        self._timeline = Timeline(Clock(REAL_SPEED), self._folder.timeline)
        stack.callback(self._timeline.close)

    def open(self) -> Bench:
        at, timeline, previous = self._at, self._timeline, self._purpose.previous
        console = self._console()
        eye, keyboard = self._eye()
        power = open_power(timeline, at.supply, at.slot, console, keyboard)
        self._stack.callback(power.close)
        lamp = self._lamp()
        monitor, access_point, probe = self._stations()
        camera = self._camera()
        controls = Controls(timeline, power, (access_point, probe), lamp, secrets.randbelow(1 << 30))
        bench = Bench(
            timeline=timeline,
            label=at.label,
            build=self._purpose.build or UNKNOWN_BUILD,
            trial=self._trial,
            network=NetworkPlan(self._trial.network, self._trial.network_key, at.channel),
            power=power,
            console=console,
            flasher=flasher_of(console.port, at.flasher),
            access_point=access_point,
            probe=probe,
            visits=Visits(timeline, self._folder.pages),
            air=monitor,
            camera=camera,
            bench_lamp=lamp,
            eye=eye,
            exposure=exposure_of(at.camera) if at.camera is not None else None,
            channels=at.channels,
            previous=Previous(previous, f"given as {previous.path}") if previous else None,
        )
        console.open()
        if camera is not None:
            camera.start()
        if not self._purpose.aims:
            controls.start()
            self._stack.callback(controls.stop)
        return bench

    def _stations(self) -> tuple[AirMonitor, HostAccessPoint, HostProbe]:
        monitor = AirMonitor(self._timeline, self._folder.air, self._trial.control_network)
        self._stack.callback(monitor.close)
        access_point = self._access_point(monitor)
        probe = HostProbe(
            self._timeline,
            self._at.probe,
            self._logs("probe"),
            on_dhcp=monitor.hear_dhcp,
        )
        self._stack.callback(probe.close)
        about = {*access_point.addresses, probe.address, *akin(self._at.label.address)}
        capture = AirCapture(self._at.air_monitor, self._at.channel, monitor.hear, about)
        self._stack.callback(capture.close)
        access_point.start_control(self._trial.control_network, self._at.channel)
        return monitor, access_point, probe

    def _access_point(self, monitor: AirMonitor) -> HostAccessPoint:
        place = self._at.access_point
        access_point = HostAccessPoint(
            self._timeline,
            place.radios,
            place.country,
            self._logs("access point"),
            control=place.control_radio,
            on_dhcp=monitor.hear_dhcp,
        )
        self._stack.callback(access_point.close)
        return access_point

    def _console(self) -> Console:
        voice = self._purpose.product.console
        console = Console(
            self._at.console,
            self._timeline,
            self._folder.console,
            baud=voice.baud,
            rom_baud=voice.rom_baud,
            rom_speaks_s=voice.rom_speaks_s,
        )
        self._stack.callback(console.close)
        return console

    def _eye(self) -> tuple[LampByEye | None, Keyboard | None]:
        at = self._at
        if at.eye is None:
            return None, None
        keyboard = Keyboard()
        self._stack.callback(keyboard.close)
        looks: dict[str, str] = {name: str(stage.lamp) for name, stage in self._purpose.product.stages.items()}
        return LampByEye(self._timeline, keyboard, at.eye.limit_s, at.slot, looks), keyboard

    def _lamp(self) -> LineLamp | GpioLamp | None:
        if self._at.bench_lamp is None:
            return None
        lamp = open_lamp(self._timeline, self._at.bench_lamp)
        self._stack.callback(lamp.close)
        return lamp

    def _camera(self) -> LampCamera | None:
        at = self._at
        if at.camera is None:
            return None
        book_curve(self._timeline, at.curve)
        camera = LampCamera(
            at.camera,
            at.unit_region,
            at.bench_region,
            self._timeline,
            self._folder.lamp,
            pixel_format=at.pixel_format,
            frame_rate=at.frame_rate,
            dark_picture=at.dark_picture,
            dim_light=at.dim_light,
            settings=at.camera_settings,
        )
        self._stack.callback(camera.stop)
        return camera

    def _logs(self, whose: str) -> Path:
        return self._folder.path / "daemons" / whose

    def facts(self) -> dict[str, str]:
        """What the bench says of itself."""
        at = self._at
        point = at.access_point
        return {
            "board": "on a desk, in its own time",
            "supply": told_of(at.supply),
            "console": at.console,
            "camera": str(without_password(at.camera)) if at.camera is not None else BY_EYE,
            "access point": f"{', '.join(point.radios)}; control network on {point.control_radio}; rules of {point.country}",
            "probe": at.probe,
            "air monitor": f"{at.air_monitor}, channel {at.channel}",
            "flasher": "commands of the bench file" if at.flasher.command else f"serial loader, {at.flasher.chip}",
        }
