"""A camera's exposure time, set step by step. V4L2 counts it in units of 100 us, and so do an aim file's settings."""

from abc import ABC, abstractmethod
from contextlib import suppress
from pathlib import Path

from hil.core.errors import BenchError, InputError
from hil.core.moments import Json
from hil.core.timeline import Timeline
from hil.instruments.camera_settings import EXPOSURE_ABSOLUTE, NUMBERS
from hil.instruments.camera_stream import device_path, is_device
from hil.instruments.device_controls import DeviceControls

UNIT_S = 1e-4
STEP = 2.0**0.5
LONGEST_S = 0.03  # a longer one does not fit between two frames at thirty a second
FEWEST_STEPS = 6
LEAVE_IT_OUT = "Leave it out: the curve of sRGB is taken then."


class Exposure(ABC):
    """What can set a camera's exposure time."""

    @abstractmethod
    def range_s(self) -> tuple[float, float]:
        """The shortest and the longest.

        Raises:
            InputError: this camera takes none.
        """

    @abstractmethod
    def set(self, exposure_s: float) -> float:
        """Set one, and give what the camera took.

        Raises:
            BenchError: it does not take it.
        """

    @abstractmethod
    def now_s(self) -> float:
        """The one that it has.

        Raises:
            InputError: this camera takes none.
        """

    def steps_s(self) -> list[float]:
        """Exposures from short to long, each about 1.4 times the one before.

        Raises:
            InputError: this camera takes none, or too few.
        """
        shortest_s, longest_s = self.range_s()
        steps = [min(longest_s, LONGEST_S)]
        while steps[-1] / STEP >= shortest_s and len(steps) < 2 * FEWEST_STEPS + 1:
            steps.append(steps[-1] / STEP)
        if len(steps) < FEWEST_STEPS:
            problem = (
                f"takes exposures from {1e3 * shortest_s:g} to {1e3 * longest_s:g} ms: too few to tell a curve by."
            )
            raise InputError("--linearity: the camera", problem, LEAVE_IT_OUT)
        return steps[::-1]


def in_units(exposure_s: float) -> int:
    """An exposure in the units of the driver and the aim file."""
    return round(exposure_s / UNIT_S)


def exposure_of(source: int | str) -> Exposure | None:
    """The exposure of a camera, where it is a device of this machine."""
    return DeviceExposure(device_path(source)) if is_device(source) else None


class DeviceExposure(Exposure):
    """That of a V4L2 device."""

    def __init__(self, path: Path) -> None:
        """Name the device; nothing is opened yet."""
        self._path, self._controls = path, DeviceControls(path)

    def range_s(self) -> tuple[float, float]:
        """As the driver says."""
        by_itself, by_hand, _ = NUMBERS["exposure"]
        with suppress(OSError):  # one that has no such switch has no such automatic
            if self._controls.read(by_itself) != by_hand:
                problem = "sets its exposure by itself, and cannot be kept from it."
                raise InputError(f"--linearity: camera {self._path}", problem, LEAVE_IT_OUT)
        try:
            least, most = self._controls.range_of(EXPOSURE_ABSOLUTE)
        except OSError as error:
            raise self._takes_none(error) from error
        return max(1, least) * UNIT_S, most * UNIT_S

    def now_s(self) -> float:
        """As the driver says."""
        try:
            return self._controls.read(EXPOSURE_ABSOLUTE) * UNIT_S
        except OSError as error:
            raise self._takes_none(error) from error

    def _takes_none(self, error: OSError) -> InputError:
        problem = f"takes no exposure times: {error.strerror}."
        return InputError(f"--linearity: camera {self._path}", problem, LEAVE_IT_OUT)

    def set(self, exposure_s: float) -> float:
        """Set it in the driver's units, and read it back."""
        try:
            return self._controls.set(EXPOSURE_ABSOLUTE, in_units(exposure_s)) * UNIT_S
        except OSError as error:
            problem = f"takes no exposure of {1e3 * exposure_s:.1f} ms: {error.strerror}."
            raise BenchError(f"camera {self._path}", problem, "Is its exposure set by hand?") from error


def book_curve(timeline: Timeline, curve: tuple[float, ...] | None) -> None:
    """Keep in the record how the camera's codes follow the light, where that was measured."""
    if curve is not None:
        linear: list[Json] = list(curve)
        timeline.add("camera", "curve", details={"linear": linear})
