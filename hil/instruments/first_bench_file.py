"""A first bench file of a desk, from what its host has: it explains itself, and marks what a person must say."""

from collections.abc import Sequence
from dataclasses import dataclass

from hil.instruments.host.found import FoundCamera, FoundPort, FoundRadio

QUESTION = "QUESTION"
WANTED_RADIOS = 4


@dataclass(frozen=True, slots=True)
class Found:
    """What a host has."""

    ports: Sequence[FoundPort]
    radios: Sequence[FoundRadio]
    cameras: Sequence[FoundCamera]


def first_bench_file(found: Found) -> str:
    """The text of a bench file.

    Radios are given to the jobs in the order in which these are hard to fill: monitor, access point, control network, probe.
    A radio that the host uses itself is given to none.
    """
    return "\n".join([HEAD, *_console(found.ports), *_radios(found.radios), *_camera(found.cameras), TAIL])


HEAD = f"""# A desk: what stands around one unit, and where. Lines with {QUESTION} want an answer.
name = "desk"
kind = "desk"

[unit]  # {QUESTION}: the label of the unit in the slot
serial_number = "0001"
address = "02:00:00:00:00:00"  # of its radio, as the chip says it
hotspot_key = ""

[power.scpi]  # {QUESTION}: a supply that speaks SCPI, current limit set
port = "socket://192.0.2.7:5025"  # a device, or any pyserial URL
# Or [power.relay] with its port, line ("rts", "dtr") and, where a contact is read back, read_back ("cts" ...);
# or [power.gpio] with chip (path or label), line (number or name), inverted and read_back, a relay on a GPIO line of this host;
# or [power.hub_port] with hub ("1-1", as the kernel calls it) and port, of one that switches its ports' supplies;
# or [power.reset_line] alone: the unit is held in reset by its console, and what wants a cut supply stays undecided.

[flasher]
chip = "auto"  # the family as esptool calls it; for others [flasher.command] with erase, write and verify
"""

TAIL = """[surroundings]
operator = ""
supply = ""
ambient = ""
"""


def _console(ports: Sequence[FoundPort]) -> list[str]:
    known = [f"# {port.path}: {port.description} ({port.vendor}:{port.product}) at {port.location}" for port in ports]
    first, second = ([port.path for port in ports] + ["/dev/ttyUSB0", "/dev/ttyUSB1"])[:2]
    return [
        *(known or ["# No serial adapter on USB was found."]),
        f"[console]  # {QUESTION}: the unit's own port",
        f'port = "{first}"',
        "",
        f"[bench_lamp]  # {QUESTION}: an LED from the supply pin of an adapter to its RTS line",
        f'port = "{second}"',
        'line = "rts"',
        "# Or, on a GPIO line of this host, [bench_lamp.gpio] with chip, line and inverted, and no port.",
        "",
    ]


def _radios(radios: Sequence[FoundRadio]) -> list[str]:
    known = [
        f"# {radio.interface}: {radio.driver or 'unknown driver'}, {', '.join(radio.modes) or 'modes unknown'}"
        + ("; the host uses it" if radio.is_used else "")
        for radio in radios
    ]
    free = [radio for radio in radios if not radio.is_used]
    monitor = _take(free, "monitor")
    access_point, control = _take(free, "AP"), _take(free, "AP")
    probe = _take(free, "managed")
    lacking = sum(name == LACKING for name in (monitor, access_point, control, probe))
    if lacking:
        known.append(f"# {lacking} of the {WANTED_RADIOS} radios that a bench needs were not found.")
    return [
        *(known or ["# No radio was found."]),
        "[access_point]",
        f'radios = ["{access_point}"]                # a second one is for networks of one name only',
        f"control_radio = \"{control}\"               # a network of the bench's own: the air monitor's control",
        f'country = ""  # {QUESTION}: two letters; its radio law holds',
        "",
        "[probe]",
        f'radio = "{probe}"',
        "",
        "[air_monitor]",
        f'radio = "{monitor}"',
        "channels = [6]  # one radio hears one channel: that of the unit's hotspot",
        "",
    ]


LACKING = "none"


def _take(free: list[FoundRadio], mode: str) -> str:
    """The interface of a radio that can be that, and can be the least else; it is free no more."""
    able = sorted((radio for radio in free if mode in radio.modes), key=lambda radio: len(radio.modes))
    if not able:
        return LACKING
    free.remove(able[0])
    return able[0].interface


def _camera(cameras: Sequence[FoundCamera]) -> list[str]:
    known = [
        f"# {camera.path}: {camera.name}" + ("" if camera.still is not None else ", shows nothing")
        for camera in cameras
    ]
    source = next((camera.path for camera in cameras if camera.still is not None), "/dev/video0")
    return [
        *(known or ["# No camera was found."]),
        f"[lamp_camera]  # {QUESTION}: aim it: hil bench aim --bench THIS_FILE",
        f'source = "{source}"  # or the URL of a network camera, http:// with a stream of JPEG pictures',
        'pixel_format = ""  # MJPG is the quicker one of most',
        "# Where there is none: [lamp_camera.operator] in place of all this and of [bench_lamp]; a person looks at the lamp.",
        "# unit_region and bench_region (x, y, width, height of both lamps) are found by that, where they are left out.",
        "",
    ]
