"""What one draw settles: where the camera stands, how it is set, how the room is lit, which lamps are there.

Exposure is that of a user with a locked, sensibly set camera: the room as bright as usual in the picture, down to four stops
darker, as one does who sees a glaring lamp. From the room's light follow exposure time and gain: at 500 lux, a lens of f/2
and a sensor as fast as ISO 100 want 1/50 s (ISO 2720, incident light: t = C N^2 / (E S) with C = 250 lx s).
"""

import math
from dataclasses import dataclass

import numpy as np

from hil.virtual.desk.camera import FILTERS, Camera, balance_light, make_camera
from hil.virtual.desk.emitters import Lamp, draw_lamp
from hil.virtual.desk.ranges import WORDS, DeskRange, by_ratio, evenly, one_of
from hil.virtual.desk.spectra import Floats, black_body, daylight, fluorescent, per_candela, white_led

_BASE_SECONDS_LUX = 250.0 * 2.0**2 / 100.0  # of exposure at gain 1
_WHITE_SHEET = 0.9  # how full a white sheet at 0 stops makes the strongest channel
LONGEST_S, _SHORTEST_S, _MOST_GAIN = 1 / 30, 1 / 8000, 16.0
ASPECT = 0.75  # height by width of the whole picture


@dataclass(frozen=True, slots=True)
class View:
    """Where the camera stands. `stretch_deg` is the direction in the picture along which the slant shortens the board."""

    distance_mm: float
    angle_deg: float
    stretch_deg: float
    turn_deg: float
    picture_width_px: int
    pixels_per_mm: float
    defocus_px: float
    glare: float
    glare_radius_px: float


@dataclass(frozen=True, slots=True)
class Settings:
    """How the camera is set. `exposure` is the sensor's filling by 1 cd/m2 in the light it is balanced on."""

    camera: Camera
    exposure: float
    exposure_s: float
    gain: float
    full_well_electrons: float
    read_noise_electrons: float
    row_time_s: float
    frame_time_s: float
    contrast: float
    saturation: float
    sharpening: float
    jpeg_quality: int


@dataclass(frozen=True, slots=True)
class Room:
    """The light in the room: per candela spectrum, brightness, ripple, and what it changes by while the lamp is lit."""

    kind: str
    spectrum: Floats
    kelvin: float
    lux: float
    ripple: float
    ripple_hz: float
    ripple_phase: float
    change: float


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Another lamp, `at_mm` from the lamp in direction `towards_deg`; blinks with a period in frames, 0 for steady."""

    lamp: Lamp
    at_mm: float
    towards_deg: float
    blink_frames: float
    blink_phase: float


@dataclass(frozen=True, slots=True)
class Conditions:
    """Everything drawn; `said` names it for reports, with units in the names."""

    lamp: Lamp
    view: View
    settings: Settings
    room: Room
    neighbours: tuple[Neighbour, ...]
    board: str
    switching_hz: float
    said: dict[str, float | str]


def draw_conditions(seed: int, attempt: int, word: str | None, over: DeskRange, unit: int = 0) -> Conditions:
    """Draw all conditions. Each part has a stream of its own: view, room and board are the same for every word and unit."""
    streams = [np.random.default_rng((seed, attempt, part)) for part in range(6)]
    view = _view(streams[0], over)
    room = _room(streams[1], over)
    said: dict[str, float | str] = {}
    settings = _settings(streams[2], view, room, over, said)
    another = np.random.default_rng((seed, attempt, 3, unit)) if unit else None
    lamp = draw_lamp(streams[3], word, over, another)
    neighbours = _neighbours(streams[4], word, over)
    board = one_of(streams[5], over.boards)
    switching_hz = _seen_switching_hz(streams[5], settings.exposure_s, over)
    said |= {
        "lamp": lamp.kind, "brightness": lamp.brightness, "luminous_intensity_cd": float(lamp.drive @ lamp.intensity_cd),
        "board": board, "distance_mm": view.distance_mm, "angle_deg": view.angle_deg,
        "picture_width_px": float(view.picture_width_px), "lamp_px": lamp.window_mm * view.pixels_per_mm,
        "defocus_px": view.defocus_px, "glare": view.glare,
        "room": room.kind, "room_kelvin": room.kelvin, "ambient_lux": room.lux, "ripple": room.ripple,
        "ambient_change": room.change, "neighbours": float(len(neighbours)),
        "nearest_neighbour_mm": min((one.at_mm for one in neighbours), default=math.inf),
        "blinking_neighbours": float(sum(one.blink_frames > 0 for one in neighbours)),
        "banding_hz": switching_hz,
    }  # fmt: skip
    return Conditions(lamp, view, settings, room, neighbours, board, switching_hz, said)


def _view(rng: np.random.Generator, over: DeskRange) -> View:
    distance_mm, field_deg = by_ratio(rng, over.distance_mm), evenly(rng, over.field_deg)
    width = over.picture_width_px[int(rng.integers(len(over.picture_width_px)))]
    return View(
        distance_mm=distance_mm,
        angle_deg=evenly(rng, over.angle_deg),
        stretch_deg=evenly(rng, (0.0, 180.0)),
        turn_deg=evenly(rng, (0.0, 360.0)),
        picture_width_px=width,
        pixels_per_mm=width / (2 * distance_mm * math.tan(math.radians(field_deg / 2))),
        defocus_px=evenly(rng, over.defocus_px) * width / 640,
        glare=by_ratio(rng, over.glare),
        glare_radius_px=evenly(rng, (0.003, 0.010)) * width,  # our own figure: a quarter to over half a degree
    )


def _room(rng: np.random.Generator, over: DeskRange) -> Room:
    kind = one_of(rng, over.rooms)
    low, high = over.ambient_lux
    # Rooms are spread by ratio, since eyes and cameras see them so; darker than 5 lux is as good as dark.
    lux = low if low >= high else max(low, by_ratio(rng, (max(low, 5.0), max(high, 5.0))))
    if low == 0.0 and rng.random() < 0.08:
        lux = 0.0
    kelvin = evenly(rng, {"daylight": (5000.0, 7500.0), "filament": (2700.0, 3000.0)}.get(kind, (2700.0, 4000.0)))
    light = {"daylight": daylight, "filament": black_body, "white LED": white_led, "fluorescent": fluorescent}[kind]
    ripple = evenly(rng, over.ripple)
    cloudy = rng.random() < over.cloudy
    return Room(
        kind,
        per_candela(light(kelvin)),
        kelvin,
        lux,
        ripple=0.0 if kind == "daylight" else ripple,
        ripple_hz=100.0 if rng.random() < 0.5 else 120.0,
        ripple_phase=evenly(rng, (0.0, 2 * math.pi)),
        change=evenly(rng, over.cloud_change if cloudy else over.ambient_change),
    )


def _settings(
    rng: np.random.Generator, view: View, room: Room, over: DeskRange, said: dict[str, float | str]
) -> Settings:
    kelvin = 1e6 / (1e6 / room.kelvin + evenly(rng, over.balance_error_mired))
    if rng.random() < over.balance_elsewhere:
        kelvin = evenly(rng, over.balance_kelvin)
    kelvin = min(max(kelvin, over.balance_kelvin[0]), over.balance_kelvin[1])
    filters, shift_nm, cross_talk = (
        one_of(rng, FILTERS),
        evenly(rng, over.filter_shift_nm),
        evenly(rng, over.cross_talk),
    )
    camera = make_camera(filters, shift_nm, cross_talk, balance_light(kelvin, evenly(rng, over.balance_tint)))

    stops, exposed_lux = evenly(rng, over.exposure_stops), max(room.lux, over.darkest_exposed_lux)
    amplified_s = _BASE_SECONDS_LUX / exposed_lux * 2**stops
    gain = by_ratio(rng, over.gain)
    exposure_s = min(max(amplified_s / gain, _SHORTEST_S), LONGEST_S)
    gain = min(max(amplified_s / exposure_s, 1.0), _MOST_GAIN)
    contrast = evenly(rng, over.contrast) if rng.random() < 0.5 else 0.0
    settings = Settings(
        camera,
        exposure=_WHITE_SHEET * math.pi / exposed_lux * 2**stops,
        exposure_s=exposure_s,
        gain=gain,
        full_well_electrons=evenly(rng, over.full_well_electrons),
        read_noise_electrons=evenly(rng, over.read_noise_electrons),
        row_time_s=evenly(rng, over.row_time_us) * 1e-6 * 480 / (ASPECT * view.picture_width_px),
        frame_time_s=(1 + evenly(rng, (-0.002, 0.002))) / 30,  # a camera's clock is not the mains'
        contrast=contrast,
        saturation=evenly(rng, over.saturation),
        sharpening=evenly(rng, over.sharpening),
        jpeg_quality=round(evenly(rng, over.jpeg_quality)),
    )
    said |= {
        "filters": filters, "filter_shift_nm": shift_nm, "cross_talk": cross_talk, "balance_kelvin": kelvin,
        "exposure_stops": stops, "exposure_s": exposure_s, "row_time_s": settings.row_time_s, "gain": gain, "contrast": contrast,
        "saturation": settings.saturation, "sharpening": settings.sharpening, "jpeg_quality": float(settings.jpeg_quality),
    }  # fmt: skip
    return settings


def _seen_switching_hz(rng: np.random.Generator, exposure_s: float, over: DeskRange) -> float:
    """Draw the switching that is seen as bands, 0 for none: not one so slow that the lamp would be missing in whole rows."""
    hz = by_ratio(rng, over.switching_hz)
    banded = rng.random() < over.banded
    return hz if banded and hz * exposure_s >= 1.0 else 0.0


def _neighbours(rng: np.random.Generator, word: str | None, over: DeskRange) -> tuple[Neighbour, ...]:
    others = tuple(one for one in WORDS if one not in (word, "off"))
    found = []
    for _ in range(round(evenly(rng, over.neighbours))):
        lamp = draw_lamp(rng, one_of(rng, others), over)
        blinks = rng.random() < 0.5
        period = by_ratio(rng, (8.0, 60.0))  # frames: about 0.5 to 4 Hz
        found.append(
            Neighbour(
                lamp,
                at_mm=by_ratio(rng, over.neighbour_mm),
                towards_deg=evenly(rng, (0.0, 360.0)),
                blink_frames=period if blinks else 0.0,
                blink_phase=rng.random(),
            )
        )
    return tuple(found)
