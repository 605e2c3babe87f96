"""What this host has that a bench can be made of: serial ports, radios, cameras."""

import re
import subprocess
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from serial.tools import list_ports

from hil.core.errors import BenchError
from hil.instruments.camera_stream import open_device
from hil.instruments.host.kernel import INTERFACES

Picture = NDArray[np.uint8]

ORDER_S = 10.0
CAMERAS = Path("/sys/class/video4linux")
STILL_TRIES = 5  # a camera's first pictures may be dark, or none


@dataclass(frozen=True, slots=True)
class FoundPort:
    """A serial port that an adapter on USB offers; texts, empty where the adapter does not say."""

    path: str
    vendor: str
    product: str
    serial_number: str
    location: str
    description: str


@dataclass(frozen=True, slots=True)
class FoundRadio:
    """A radio, by its interface; what it can be, as the kernel says it: `AP`, `managed`, `monitor`..."""

    interface: str
    address: str
    driver: str
    modes: tuple[str, ...]
    is_used: bool


@dataclass(frozen=True, slots=True)
class FoundCamera:
    """A camera device with a still, where it shows one."""

    path: str
    name: str
    still: Picture | None


def find_ports() -> list[FoundPort]:
    """Ports of adapters on USB, by path: others are no boards'."""
    return [
        FoundPort(
            port.device,
            f"{port.vid:04x}",
            f"{port.pid:04x}",
            port.serial_number or "",
            port.location or "",
            port.description or "",
        )
        for port in sorted(list_ports.comports(), key=lambda port: str(port.device))
        if port.vid is not None and port.pid is not None
    ]


def find_radios() -> list[FoundRadio]:
    """Radios that are the host's now; those that a run holds are in its namespaces."""
    return [_radio(path) for path in sorted(INTERFACES.glob("*")) if (path / "phy80211").exists()]


def _radio(path: Path) -> FoundRadio:
    phy = (path / "phy80211" / "name").read_text(encoding="ascii").strip()
    driver = path / "device" / "driver"
    return FoundRadio(
        interface=path.name,
        address=(path / "address").read_text(encoding="ascii").strip(),
        driver=driver.resolve().name if driver.exists() else "",
        modes=_modes(_said("iw", "phy", phy, "info")),
        is_used=(path / "operstate").read_text(encoding="ascii").strip() == "up",
    )


def _modes(told: str) -> tuple[str, ...]:
    """The lines below "Supported interface modes:", as iw tells them."""
    found = re.search(r"Supported interface modes:\n((?:\t\t \* .+\n)+)", told)
    return tuple(line.strip("\t *") for line in found[1].splitlines()) if found else ()


def find_cameras() -> list[FoundCamera]:
    """Devices that a picture can be had from, each with one."""
    found = []
    for place in sorted(CAMERAS.glob("video*"), key=lambda path: int(path.name.removeprefix("video"))):
        capture = open_device(f"/dev/{place.name}")
        if capture.isOpened():
            name = (place / "name").read_text(encoding="utf-8", errors="replace").strip()
            found.append(FoundCamera(f"/dev/{place.name}", name, _still(capture)))
        capture.release()
    return found


def _still(capture: cv2.VideoCapture) -> Picture | None:
    still: Picture | None = None
    for _ in range(STILL_TRIES):
        ok, picture = capture.read()
        still = np.asarray(picture, np.uint8) if ok else still
    return still


def _said(*words: str) -> str:
    try:
        done = subprocess.run(words, capture_output=True, text=True, timeout=ORDER_S, check=False)
    except (OSError, subprocess.TimeoutExpired) as error:
        raise BenchError(words[0], f"{' '.join(words)}: {error}.", "Is the program installed?") from error
    if done.returncode:
        raise BenchError(words[0], f"{' '.join(words)}: {done.stderr.strip() or done.returncode}.")
    return done.stdout
