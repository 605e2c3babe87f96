"""A camera opened through OpenCV: its pictures, and when each came.

A picture's time is the kernel's stamp where a device gives one that can be true, else its arrival. A device's settings are held
(`camera_settings`). That a camera stalls is told within two real seconds.
"""

import os
import re
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from hil.core.aim_file import CameraSetting
from hil.core.errors import BenchError
from hil.instruments.camera_settings import HeldSettings, hold_settings

STALL_REAL_S, DEVICE_STALL_REAL_S = 1.5, 1  # OpenCV takes whole seconds for a device
STALLED_REAL_S = 0.8  # who waited for so long for a picture, and got none, waited for one that stalled
OPEN_REAL_S = 5.0
START_UP_REAL_S = 3.0  # until a device that was just opened gives a picture; common practice, no source
STAMPS_TRIED = 5  # frames
LATEST_REAL_S = 1.0  # how long a frame may have waited to be read: some buffers' worth; common practice, no source
BY_STAMP, BY_ARRIVAL = "the kernel's stamps", "their arrival"
FFMPEG_QUIET = "-8"  # AV_LOG_QUIET of libavutil/log.h
Picture = NDArray[np.generic]  # as it comes


class CameraStream:
    """A camera from its opening until it is closed, stalls or stops. Its first picture is `first`."""

    settings: HeldSettings | None = None

    def __init__(self, address: int | str, pixel_format: str, kept: Mapping[CameraSetting, int]) -> None:
        """Open a camera by number, device path or URL; `pixel_format` as four letters of V4L2, empty: as it likes.

        A device is given the settings that are kept.

        Raises:
            BenchError: the camera cannot be opened, does not take a setting, shows nothing, or no colours of 8 bits.
        """
        self._capture = _open(address, pixel_format)
        try:
            if is_device(address) and sys.platform == "linux":
                self.settings = hold_settings(device_path(address), kept)
            self.first = _first_picture(self._capture, address)
            stamps = Stamps(self._capture) if is_device(address) and sys.platform == "linux" else None
            self._stamps = stamps if stamps is not None and stamps.can_be_true() else None
        except BenchError:
            self._capture.release()
            raise
        self._due_real_s = 0.0

    @property
    def timed_by(self) -> str:
        """What the times of its pictures are."""
        return BY_ARRIVAL if self._stamps is None else BY_STAMP

    def read(self, apart_s: float) -> tuple[Picture, float | None] | None:
        """The next picture, `apart_s` after the one before, with its time on the monotonic clock, or none that can be true.

        None where the camera gives none any more.
        """
        while self._capture.grab():
            arrived_real_s = time.monotonic()
            if arrived_real_s < self._due_real_s:
                continue
            self._due_real_s = max(self._due_real_s + apart_s, arrived_real_s)
            ok, picture = self._capture.retrieve()
            if not ok or picture is None:
                return None
            return picture, self._stamps.time_of(arrived_real_s) if self._stamps is not None else arrived_real_s
        return None

    def close(self) -> None:
        """Let go of the camera."""
        self._capture.release()


class Stamps:
    """The kernel's stamps of a device's frames: when their data began to come, by V4L2 on the monotonic clock.

    Source: V4L2, "Buffers", on `timestamp`; a driver may use another clock, and then none of its stamps can be true.
    """

    def __init__(self, capture: cv2.VideoCapture) -> None:
        """Read them from a camera that is open."""
        self._capture, self._last_s = capture, -float("inf")

    def can_be_true(self) -> bool:
        """Take some frames, and say whether their stamps can be true, all of them."""
        return all(self._capture.grab() and self.time_of(time.monotonic()) is not None for _ in range(STAMPS_TRIED))

    def time_of(self, arrived_s: float) -> float | None:
        """The stamp of the frame taken last; none where it does not lie between that of the frame before and its arrival."""
        stamp_s = self._capture.get(cv2.CAP_PROP_POS_MSEC) / 1000.0
        if not max(self._last_s, arrived_s - LATEST_REAL_S) < stamp_s <= arrived_s:
            return None
        self._last_s = stamp_s
        return stamp_s


def without_password(source: int | str) -> int | str:
    """A camera as it may be shown: a URL less the user and password in it (RFC 3986, 3.2.1)."""
    return re.sub(r"(?<=://)[^/@]*@", "", source) if isinstance(source, str) else source


def is_device(address: int | str) -> bool:
    """Whether a camera is a device of this machine: else nobody here can set it."""
    return isinstance(address, int) or address.startswith("/dev/")


def is_there(address: int | str) -> bool:
    """Whether it is worth the try to open a camera: OpenCV complains in the terminal of a device that is not there."""
    if not is_device(address) or sys.platform != "linux":
        return True
    return device_path(address).exists()


def device_path(address: int | str) -> Path:
    """Where a device is."""
    return Path(f"/dev/video{address}" if isinstance(address, int) else address)


def open_device(address: int | str, wanted: Sequence[int] = ()) -> cv2.VideoCapture:
    """Open a device; `wanted`: properties of OpenCV, each with its value.

    How long to wait for a picture OpenCV learns only once in a process, at its first device: so this is where all are opened.
    """
    os.environ.setdefault("OPENCV_VIDEOIO_V4L_SELECT_TIMEOUT", str(DEVICE_STALL_REAL_S))  # else ten
    return cv2.VideoCapture(address, cv2.CAP_V4L2 if sys.platform == "linux" else cv2.CAP_ANY, wanted)


def _open(address: int | str, pixel_format: str) -> cv2.VideoCapture:
    # What cannot be opened is said once, in our words: theirs would come at every try, into the run's terminal.
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_ERROR)
    os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", FFMPEG_QUIET)
    if isinstance(address, str) and "://" in address:
        # Limits can only be given while opening; without them a stalled stream is 30 s of silence.
        # A proxy named in the environment is for the outside world, not for a camera on the bench.
        os.environ.setdefault("OPENCV_FFMPEG_CAPTURE_OPTIONS", "rtsp_transport;tcp|http_proxy;none")
        limits = [cv2.CAP_PROP_OPEN_TIMEOUT_MSEC, int(OPEN_REAL_S * 1000)]
        limits += [cv2.CAP_PROP_READ_TIMEOUT_MSEC, int(STALL_REAL_S * 1000)]
        capture = cv2.VideoCapture(address, cv2.CAP_FFMPEG, limits)
    else:
        wanted = [cv2.CAP_PROP_FOURCC, cv2.VideoWriter.fourcc(*pixel_format)] if pixel_format else []
        capture = open_device(address, wanted) if is_device(address) else cv2.VideoCapture(address, cv2.CAP_ANY, wanted)
    if not capture.isOpened():
        raise BenchError(
            f"camera {without_password(address)}",
            "cannot be opened.",
            "Check lamp_camera.source in the bench file and the cable.",
        )
    return capture


def _first_picture(capture: cv2.VideoCapture, address: int | str) -> Picture:
    shown = without_password(address)
    ok, picture = capture.read()
    patience_until_s = time.monotonic() + (START_UP_REAL_S if is_device(address) else 0.0)
    while not ok and time.monotonic() < patience_until_s:
        begun_real_s = time.monotonic()
        ok, picture = capture.read()
        if time.monotonic() - begun_real_s < STALLED_REAL_S:  # it does not keep us waiting: there is none
            break
    if not ok:
        raise BenchError(f"camera {shown}", "opened, but shows no picture.", "Is another program using it?")
    if picture.ndim != 3 or picture.shape[2] != 3 or picture.dtype != np.uint8:
        raise BenchError(
            f"camera {shown}",
            f"gives pictures of shape {picture.shape} and type {picture.dtype}, not three colours of 8 bits.",
            "Give lamp_camera.pixel_format in the bench file one of its colour formats (`v4l2-ctl --list-formats`).",
        )
    return picture
