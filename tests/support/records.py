"""Runs made by hand: moments and frames that a test lists, under the shipped product file, as a record to be viewed.

`awake` gives the controls of every witness over a stretch; a test takes away what it wants asleep. Addresses and names
are of documentation ranges (RFC 5737, locally administered radio addresses).
"""

import random
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from hil.core.frames import LampFrames
from hil.core.moments import Json, Moment
from hil.core.product import Product, load_product
from hil.evidence.leg_evidence import LegEvidence
from hil.evidence.views import Gate
from hil.evidence.window import Record, Window
from hil.virtual import DEMO_PRODUCT

UNIT = "02:4d:56:00:a7:31"
HOTSPOT = "mossgate-a731"
NETWORK, CONTROL = "bench-q7", "control-q7"
CHANNELS = (1, 6)
BEACON_S = 0.1024  # IEEE 802.11-2020: 100 time units of 1024 microseconds, what most access points use
BUILD_SUM = "08af2413680bb1e46f921b604bbc4b45"
SECRETS = {"report_key": "rk-7d1q9z4m8p", "network_key": "nk-3x5v8b2c6n1m", "update_key": "uk-9s2d4f6g8h"}
TYPED = {
    "unit_name": "vent-4k2",
    "opens_at": "27.5",
    "closes_at": "21",
    "reports_to": "http://198.51.100.1:8080/vents",
    "report_every_s": "15",
    "network": NETWORK,
    **SECRETS,
}
FACTS: dict[str, dict[str, Json]] = {
    "unit": {"serial number": "MV2-0418-00731", "radio address": UNIT},
    "build": {"version": "1.4.0", "sha256": BUILD_SUM},
    "trial": {
        "network": NETWORK,
        "network_key": SECRETS["network_key"],
        "control_network": CONTROL,
        "control_channels": list(CHANNELS),
        "values": dict(TYPED),
        "secret_names": list(SECRETS),
    },
}
Plan = Sequence[tuple[float, str]]


def moment(time_s: float, source: str, kind: str, *, doubt_s: float = 0.0, **data: Json) -> Moment:
    """One moment."""
    return Moment(time_s, doubt_s, source, kind, data)


def power(kind: str, time_s: float, asked_by: str = "leg", doubt_s: float = 0.02) -> Moment:
    """An order to the supply."""
    return moment(time_s, "power", kind, doubt_s=doubt_s, asked_by=asked_by)


def beacon(time_s: float, name: str, *, channel: int = 6, security: str = "wpa2", tsf: int | None = None) -> Moment:
    """One beacon, its doubt 0.012 s; the time stamp follows the time unless given."""
    bssid = f"06:00:00:00:{channel:02x}:{sum(name.encode()) % 256:02x}"
    data: dict[str, Json] = {
        "from": bssid,
        "to": "ff:ff:ff:ff:ff:ff",
        "bssid": bssid,
        "name": name,
        "name_octets": name.encode().hex(),
        "security": security,
        "channel": channel,
        "tsf": round(time_s * 1e6) + 10_000_000 if tsf is None else tsf,
    }
    return Moment(time_s, 0.012, "air", "beacon", data)


def beacons(
    begin_s: float, end_s: float, name: str = HOTSPOT, *, channel: int = 6, security: str = "wpa2"
) -> list[Moment]:
    """Beacons of a network from a time up to another."""
    times = np.arange(begin_s, end_s, BEACON_S)
    return [beacon(float(t), name, channel=channel, security=security) for t in times]


def seeks(time_s: float, kind: str = "seeks", sender: str = UNIT, name: str = NETWORK) -> Moment:
    """A frame with which a station looks for a network or joins it."""
    data: dict[str, Json] = {"from": sender, "name": name, "name_octets": name.encode().hex()}
    return Moment(time_s, 0.012, "air", kind, data)


def line(time_s: float, text: str) -> Moment:
    """A line on the console."""
    return moment(time_s, "console", "line", doubt_s=0.04, text=text)


def start_line(time_s: float, code: str = "0x1 (POWERON_RESET)") -> Moment:
    """The chip's banner."""
    return line(time_s, f"rst:{code},boot:0x13 (SPI_FAST_FLASH_BOOT)")


def states(begin_s: float, end_s: float, *, on: bool = True, every_s: float = 0.5) -> list[Moment]:
    """The supply's state read back."""
    return [moment(float(t), "power", "state", on=on) for t in np.arange(begin_s, end_s, every_s)]


def awake(begin_s: float, end_s: float, *, but: Iterable[str] = (), supply_on: bool = True) -> list[Moment]:
    """Controls of air monitor, access point, power and console; but not of those named."""
    parts: dict[str, list[Moment]] = {
        "air monitor": [
            m for channel in CHANNELS for m in beacons(begin_s, end_s, CONTROL, channel=channel, security="open")
        ],
        "access point": [
            moment(float(t), "access point", "answering", members=0) for t in np.arange(begin_s, end_s, 0.5)
        ],
        "power": states(begin_s, end_s, on=supply_on),
        "console": [moment(begin_s, "console", "opened", port="loop://", baud=115200)],
    }
    assert set(but) <= set(parts)
    return [m for name, moments in parts.items() if name not in but for m in moments]


def without(moments: Iterable[Moment], name: str, begin_s: float, end_s: float) -> list[Moment]:
    """Leave out the beacons of a network in a stretch: the monitor did not hear them."""
    return [m for m in moments if not (m.data.get("name") == name and begin_s < m.time_s < end_s)]


def answered(
    time_s: float,
    purpose: str,
    file: str,
    *,
    status: int = 200,
    content_type: str = "text/html; charset=utf-8",
    first_octet_s: float | None = 0.1,
    total_s: float = 0.2,
    doubt_s: float = 0.05,
    kind: str = "answered",
    url: str = "http://203.0.113.1/",
) -> Moment:
    """A page asked for, and what came of it."""
    return moment(
        time_s, "pages", kind, doubt_s=doubt_s, purpose=purpose, method="GET", url=url, status=status,
        content_type=content_type, first_octet_s=first_octet_s, total_s=total_s, file=file,
    )  # fmt: skip


@dataclass(frozen=True)
class Made:
    """A record made by hand, and ways to view a part of it."""

    record: Record

    def window(self, begin_s: float, end_s: float) -> Window:
        """A leg's window."""
        return Window("a_leg", begin_s, end_s, self.record)

    def evidence(self, begin_s: float, end_s: float, *named: str) -> LegEvidence:
        """A leg's evidence; with names, only those views may be read."""
        return LegEvidence(self.window(begin_s, end_s), Gate(frozenset(named) if named else None))


def make(
    moments: Iterable[Moment],
    *,
    pages: Mapping[str, bytes] | None = None,
    frames: LampFrames | None = None,
    product: Product | None = None,
    facts: Mapping[str, Mapping[str, Json]] | None = None,
) -> Made:
    """Make a record."""
    bodies = dict(pages or {})
    seen = frames if frames is not None else no_frames()
    return Made(
        Record(
            product=product or load_product(DEMO_PRODUCT),
            facts=FACTS if facts is None else facts,
            moments=tuple(moments),
            frames=lambda: seen,
            page=lambda name: bodies.get(name, b""),
            console=lambda: b"",
        )
    )


def product_with(change: Mapping[str, object]) -> Product:
    """The shipped product with some tables replaced, checked anew."""
    raw = load_product(DEMO_PRODUCT).model_dump(mode="json")
    return Product.model_validate(_merged(raw, change))


def _merged(raw: dict[str, object], change: Mapping[str, object]) -> dict[str, object]:
    merged = dict(raw)
    for key, value in change.items():
        inner = merged.get(key)
        merged[key] = _merged(inner, value) if isinstance(inner, dict) and isinstance(value, Mapping) else value
    return merged


# Linear light in red, green, blue of a lamp of each word; invented, of the kind such lamps have.
LIGHTS = {
    "off": (0, 0, 0),
    "white": (1, 1, 1),
    "red": (1, 0, 0),
    "amber": (1, 0.38, 0),
    "green": (0, 1, 0),
    "blue": (0, 0, 1),
}
FRAME_RATE = 30.0
LAG_S = 0.12


def no_frames() -> LampFrames:
    """What a camera leaves that saw nothing."""
    empty = np.zeros((0, 8, 8, 3), np.uint8)
    return LampFrames(np.zeros(0), empty, empty)


def switchings(begin_s: float, end_s: float, seed: int = 7) -> list[Moment]:
    """The bench's own lamp, switched in an irregular rhythm, on first."""
    dice, at_s, found = random.Random(seed), begin_s, list[Moment]()
    while at_s < end_s:
        found.append(moment(at_s, "bench lamp", "switched", on=len(found) % 2 == 0))
        at_s += dice.uniform(0.35, 0.75)
    return found


def lamp_frames(
    plan: Plan, switched: Sequence[Moment], begin_s: float, end_s: float, lag_s: float = LAG_S
) -> LampFrames:
    """What a camera shows of both lamps, `lag_s` late; the plan says from when on the unit's lamp has which colour."""
    random_ = np.random.default_rng(3)
    times = np.arange(begin_s, end_s, 1.0 / FRAME_RATE) + 0.004 * random_.random(
        len(np.arange(begin_s, end_s, 1.0 / FRAME_RATE))
    )
    shown = times - lag_s
    unit = _crops([_colour_at(plan, float(t)) for t in shown], random_)
    on_times = np.array([m.time_s for m in switched] or [np.inf])
    lit = np.searchsorted(on_times, shown, side="right") % 2 == 1
    bench = np.where(lit, 200, 30).astype(np.uint8)[:, None, None, None] * np.ones((1, 6, 6, 3), np.uint8)
    return LampFrames(times, unit, bench)


def flashing(colour: str, hz: float, begin_s: float, end_s: float) -> list[tuple[float, str]]:
    """A flash that begins lit, half the time."""
    count = int((end_s - begin_s) * hz)
    return [(begin_s + (number + half / 2) / hz, (colour, "off")[half]) for number in range(count) for half in range(2)]


def _colour_at(plan: Plan, time_s: float) -> str:
    return next((colour for begin_s, colour in reversed(plan) if begin_s <= time_s), "off")


def _crops(words: Sequence[str], random_: np.random.Generator) -> npt.NDArray[np.uint8]:
    y, x = np.mgrid[0:20, 0:20] - 9.5
    glow = 3.0 * np.exp(-(x**2 + y**2) / 32.0)
    light = np.array([LIGHTS[word] for word in words], dtype=float)
    linear = np.clip(glow[None, :, :, None] * light[:, None, None, :] + 0.03, 0.0, 1.0)
    # IEC 61966-2-1: linear light to 8-bit codes.
    codes = 255.0 * np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    noisy = codes + 1.5 * random_.standard_normal(codes.shape)
    rgb: npt.NDArray[np.uint8] = np.clip(np.rint(noisy), 0, 255).astype(np.uint8)
    return rgb[..., ::-1]
