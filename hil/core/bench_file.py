"""The bench file, `bench.toml`: which instruments stand around a unit, and where."""

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, model_validator

from hil.core.aim_file import CameraSetting, Curve, aim_file_of, read_aim
from hil.core.toml_file import Strict, load_toml

FASTEST = 20.0  # unit seconds a real second; the camera allows less for most lamps
Name = Annotated[str, Field(min_length=1)]
Address = Annotated[str, Field(pattern=r"^[0-9a-fA-F]{2}(:[0-9a-fA-F]{2}){5}$")]


class VirtualSettings(Strict):
    """How the virtual bench behaves. Speed is unit seconds a real second.

    A chip whose `rom_speaks` is false starts from flash without a word, as many can be told to for good. `worn_flash_at`
    is the address of an octet of the flash that reads as zero. A camera with a gamma encodes by that power, else as sRGB.
    Before it lie so many units in `places`; the bench file's `slot` says which of them, from 1, this bench drives.
    """

    speed: Annotated[float, Field(gt=0.0, le=FASTEST)] = 4.0
    seed: Annotated[int, Field(ge=0)] | None = None
    interpreter: Literal["auto", "micropython", "cpython"] = "auto"
    chip_clock_ppm: Annotated[float, Field(ge=-2000.0, le=2000.0)] = 200.0
    rom_speaks: bool = True
    worn_flash_at: Annotated[int, Field(ge=0)] | None = None
    camera_latency_s: tuple[float, float] = (0.03, 0.25)
    camera_drop: Annotated[float, Field(ge=0.0, lt=1.0)] = 0.0
    camera_frame_rate: Annotated[float, Field(gt=0.0, le=120.0)] = 30.0
    camera_gamma: Annotated[float, Field(ge=1.0, le=3.0)] | None = None
    places: Annotated[int, Field(ge=1, le=9)] = 1

    @model_validator(mode="after")
    def _latency_in_order(self) -> "VirtualSettings":
        low, high = self.camera_latency_s
        if not 0.0 <= low <= high <= 1.0:
            raise ValueError("camera_latency_s is two numbers from 0 to 1, the lower first")
        return self


class ConsolePort(Strict):
    """The console: a device path or any pyserial URL; left out, the virtual board's own."""

    port: Name | None = None


class OperatorPlace(Strict):
    """A person in an instrument's place, and how long they have for each answer."""

    limit_s: Annotated[float, Field(gt=0.0, le=3600.0)] = 120.0


class LampCamera(Strict):
    """The camera: a number, a device path or a URL; regions are x, y, width, height in pixels.

    A device is asked for the `pixel_format`, as four letters of V4L2: `MJPG` is the quicker one of most. At most
    `frame_rate` frames a second are looked at: a slow host wants fewer than come. The `curve` is how its codes follow the light,
    as `hil bench aim --linearity` measures it; left out, that of sRGB. The `dark_picture` is what it saw when it was aimed, with
    the lamps dark: a run in which it sees them elsewhere is told nothing by it; with `dim_light` that holds however dark it is
    around the unit's lamp, as `hil bench aim` tries it. A device is set as `settings` say, in its own driver's units
    (`v4l2-ctl --list-ctrls`); what they leave out, as it was when it was aimed. Where there is no camera, the `operator` looks at
    the lamp: a person at the terminal.
    """

    source: int | str | None = None
    pixel_format: Annotated[str, Field(pattern=r"^([A-Z0-9]{4})?$")] = ""
    frame_rate: Annotated[float, Field(gt=0.0, le=240.0)] | None = None
    unit_region: tuple[int, int, int, int] | None = None
    bench_region: tuple[int, int, int, int] | None = None
    curve: Curve | None = None
    dark_picture: Path | None = None
    dim_light: bool = False
    settings: dict[CameraSetting, int] = Field(default_factory=dict)
    operator: OperatorPlace | None = None

    @model_validator(mode="after")
    def _camera_or_person(self) -> "LampCamera":
        if self.operator is not None and self.model_fields_set > {"operator"}:
            raise ValueError("a person looks at the lamp where there is no camera: leave out operator, or all else")
        return self

    @model_validator(mode="after")
    def _settings_are_a_device_s(self) -> "LampCamera":
        is_device = isinstance(self.source, int) or (self.source or "").startswith("/dev/")
        if self.settings and not is_device:
            raise ValueError("settings: only a device of this machine can be set from here")
        return self


class AirMonitorPlace(Strict):
    """What the air monitor listens to, and on a desk by which radio: one hears one channel."""

    radio: Name | None = None
    channels: tuple[Annotated[int, Field(ge=1, le=14)], ...] = (1, 6, 11)


class ScpiPlace(Strict):
    """A supply that speaks SCPI: at a device path or any pyserial URL, such as `socket://192.0.2.7:5025`."""

    port: Name
    baud: Annotated[int, Field(gt=0)] = 9600


class RelayPlace(Strict):
    """A relay in the unit's supply, on a control line of a serial adapter.

    The supply is on while the line is asserted; while it is not, where it is `inverted`. A second contact of the relay may
    lead to an input of the adapter, which is asserted while the supply is on: it is `read_back`.
    """

    port: Name
    line: Literal["rts", "dtr"] = "rts"
    inverted: bool = False
    read_back: Literal["cts", "dsr", "cd", "ri"] | None = None


class GpioPlace(Strict):
    """A GPIO line of the host: its chip by path (`/dev/gpiochip0`) or label, its line by number or name.

    What hangs on it is on while the line is high; low, where it is `inverted`.
    """

    chip: Name
    line: Annotated[int, Field(ge=0)] | Name
    inverted: bool = False


class GpioRelayPlace(GpioPlace):
    """A relay in the unit's supply on such a line.

    A second contact of the relay may lead to another line of the chip, which is high while the supply is on: it is `read_back`;
    low, where it is `read_back_inverted`.
    """

    read_back: Annotated[int, Field(ge=0)] | Name | None = None
    read_back_inverted: bool = False


class HubPortPlace(Strict):
    """A port of a USB hub that switches its supply: the hub as the kernel calls it (`1-1.4`; `usb1` is one in the host)."""

    hub: Annotated[str, Field(pattern=r"^(usb\d+|\d+-\d+(\.\d+)*)$")]
    port: Annotated[int, Field(ge=1, le=255)]


class ResetLinePlace(Strict):
    """A supply that nothing switches: the unit is held in reset instead, and what wants a cut supply is not judged.

    That is by RTS of the console's port, or by the line of another adapter's `port`, which holds the unit while it is asserted;
    while it is not, where it is `inverted`.
    """

    port: Name | None = None
    line: Literal["rts", "dtr"] = "rts"
    inverted: bool = False

    @model_validator(mode="after")
    def _line_has_port(self) -> "ResetLinePlace":
        if self.port is None and (self.line != "rts" or self.inverted):
            raise ValueError("line and inverted are of another adapter: name its port; of the console's it is RTS")
        return self


class PowerPlace(Strict):
    """How the unit's supply is switched: in one of these ways."""

    scpi: ScpiPlace | None = None
    relay: RelayPlace | None = None
    gpio: GpioRelayPlace | None = None
    hub_port: HubPortPlace | None = None
    reset_line: ResetLinePlace | None = None
    operator: OperatorPlace | None = None

    @model_validator(mode="after")
    def _one_way(self) -> "PowerPlace":
        ways = {name: getattr(self, name) for name in PowerPlace.model_fields}
        if sum(way is not None for way in ways.values()) != 1:
            raise ValueError(f"name one way to switch the supply, of {', '.join(f'power.{name}' for name in ways)}")
        return self


class AccessPointPlace(Strict):
    """The radios of the networks that the unit is to join, and of the control network; and whose radio law holds."""

    radios: Annotated[tuple[Name, ...], Field(min_length=1, max_length=2)]
    control_radio: Name
    country: Annotated[str, Field(pattern=r"^[A-Z]{2}$")]


class ProbePlace(Strict):
    """The radio that joins the unit's hotspot."""

    radio: Name


class BenchLampPlace(Strict):
    """The bench's own lamp: on a control line of a serial adapter, or on a GPIO line of the host."""

    port: Name | None = None
    line: Literal["rts", "dtr"] = "rts"
    gpio: GpioPlace | None = None

    @model_validator(mode="after")
    def _one_line(self) -> "BenchLampPlace":
        if (self.port is None) == (self.gpio is None):
            raise ValueError("name one line of the lamp: port, or bench_lamp.gpio")
        return self


class FlashCommands(Strict):
    """Programs that put a build on the unit: words as in a shell, which none goes through.

    `{port}` stands for the console's port; of an image `{file}`, `{offset}` and `{size}`; of a region `{offset}` and `{size}`.
    Numbers are written as `0x1000`. `write` and `verify` are run for each image. An exit code that is not 0 is a failure; of
    `verify` it says that the image is not as built.
    """

    erase: Name
    write: Name
    verify: Name
    erase_region: Name | None = None
    limit_s: Annotated[float, Field(gt=0.0, le=600.0)] = 120.0


class FlasherPlace(Strict):
    """What the flasher works on: a chip family as esptool calls it; or the commands of another program."""

    chip: Name = "auto"
    command: FlashCommands | None = None


class Label(Strict):
    """What the label of the unit in the slot says."""

    serial_number: str
    address: Address
    hotspot_key: str = ""


class Surroundings(Strict):
    """What the sheet states of the place; left out where not known."""

    operator: str = ""
    supply: str = ""
    ambient: str = ""
    order: str = ""
    lot: str = ""


class BenchFile(Strict):
    """A bench file: of the virtual bench, of the lab, or of a desk, which says where each instrument is."""

    name: str
    kind: Literal["virtual", "lab", "desk"]
    slot: str = "1"
    virtual: VirtualSettings = VirtualSettings()
    console: ConsolePort = ConsolePort()
    power: PowerPlace | None = None
    flasher: FlasherPlace = FlasherPlace()
    access_point: AccessPointPlace | None = None
    probe: ProbePlace | None = None
    air_monitor: AirMonitorPlace = AirMonitorPlace()
    lamp_camera: LampCamera = LampCamera()
    bench_lamp: BenchLampPlace | None = None
    unit: Label | None = None
    surroundings: Surroundings = Surroundings()

    @property
    def speed(self) -> float:
        """Unit seconds in a real second."""
        return self.virtual.speed if self.kind == "virtual" else 1.0

    @property
    def stays(self) -> bool:
        """Whether its lamps lie in the camera's picture where they lay the last time it was opened."""
        return self.kind == "desk" or (self.kind == "virtual" and self.virtual.seed is not None)

    @model_validator(mode="after")
    def _nobody_sees_a_drawn_lamp(self) -> "BenchFile":
        if self.kind == "virtual" and self.lamp_camera.operator is not None:
            raise ValueError("lamp_camera.operator: nobody but its camera sees the virtual bench's lamp")
        return self

    @model_validator(mode="after")
    def _slot_is_a_place(self) -> "BenchFile":
        slots = [str(place) for place in range(1, self.virtual.places + 1)]
        if len(slots) > 1 and self.slot not in slots:
            raise ValueError(f"slot = {self.slot!r}: of virtual.places = {len(slots)} it is one of {', '.join(slots)}")
        return self


def load_bench_file(path: Path) -> BenchFile:
    """Read a bench file; where it leaves out the lamps' places or the camera's curve or settings, with those of its aim file.

    Raises:
        InputError: one of them is missing or wrong; the message names file, key and remedy.
    """
    file = load_toml(path, BenchFile, "bench file")
    aim = read_aim(aim_file_of(path)) if file.stays and file.lamp_camera.operator is None else None
    if aim is None:
        return file
    given = file.lamp_camera
    changes: dict[str, object] = {"curve": given.curve or aim.curve, "settings": aim.settings | given.settings}
    if not given.unit_region and not given.bench_region:
        changes |= {"unit_region": aim.unit_region, "bench_region": aim.bench_region}
        if aim.dark_picture:
            changes |= {"dark_picture": path.parent / aim.dark_picture, "dim_light": aim.dim_light}
    return file.model_copy(update={"lamp_camera": given.model_copy(update=changes)})
