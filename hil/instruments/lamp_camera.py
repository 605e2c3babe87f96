"""The lamp camera: frames in through OpenCV, crops of two lamps out.

A reader thread keeps up with the camera (a slow reader would get every frame, late). A frame's time is the kernel's stamp where
a device gives one that can be true, else its arrival; which, is booked. A stall or stop is noticed within two real seconds and
booked, and so is a camera that was moved (`camera_place`); no colour or stage is derived here.
"""

import os
import re
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from hil.core.errors import BenchError, InputError
from hil.core.frames import Crops, FrameWriter
from hil.core.moments import Json
from hil.core.timeline import Timeline
from hil.instruments.camera_place import CameraPlace, PlaceWatch

STALL_REAL_S = 1.5
OPEN_REAL_S = 5.0
# V4L2_EXPOSURE_MANUAL is 1 in the kernel's v4l2-controls.h; OpenCV hands it on as it is.
BY_HAND = {
    "exposure": (cv2.CAP_PROP_AUTO_EXPOSURE, 1.0),
    "white_balance": (cv2.CAP_PROP_AUTO_WB, 0.0),
    "focus": (cv2.CAP_PROP_AUTOFOCUS, 0.0),
}
STAMPS_TRIED = 5  # frames
LATEST_REAL_S = 1.0  # how long a frame may have waited to be read: some buffers' worth; common practice, no source
BY_STAMP, BY_ARRIVAL = "the kernel's stamps", "their arrival"
NOT_LOCKED = "cannot be locked"
AIM_ANEW = "Aim anew: hil bench aim."
Region = tuple[int, int, int, int]
Picture = NDArray[np.generic]  # as it comes
OnFrame = Callable[[float, Crops], None]
OnPicture = Callable[[Crops], None]


class LampCamera:
    """A camera by number, device path or URL, with the regions of the unit's lamp and of the bench's own."""

    def __init__(
        self,
        source: int | str,
        unit_region: Region | None,
        bench_region: Region | None,
        timeline: Timeline,
        folder: Path,
        *,
        pixel_format: str = "",
        frame_rate: float | None = None,
        dark_picture: Path | None = None,
    ) -> None:
        """Name the camera and the regions (x, y, width, height in pixels); `start` opens it. Without both it records nothing.

        `pixel_format` is what a device is asked for, as four letters of V4L2 (`MJPG`, `YUYV`); empty: as it likes. Of the
        frames that come no more than `frame_rate` a second are looked at, where it is given.
        The `dark_picture` is the file with what it saw when it was aimed, all lamps dark.
        """
        self.source, self._address, self._pixel_format = without_password(source), source, pixel_format
        self._apart_s = 1.0 / frame_rate if frame_rate else 0.0
        self._regions = (unit_region, bench_region)
        self._dark_picture = dark_picture
        self._watch: PlaceWatch | None = None
        self._shape: tuple[int, ...] = ()
        self._ends_plain = False
        self._odd = set[str]()
        self._timeline = timeline
        self._folder = folder
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._arrived = threading.Condition()
        self._awaited_s, self._told_s = float("inf"), -float("inf")
        self._ended = False
        self.on_frame: OnFrame | None = None
        self.on_picture: OnPicture | None = None

    def start(self) -> None:
        """Open the camera and record from now on.

        Raises:
            InputError: a region lies outside the picture, or the picture that it was aimed by is none, or of another size.
            BenchError: the camera cannot be opened, shows nothing, or no colours of 8 bits.
        """
        capture = self._open()
        if self._is_device:
            self._timeline.add("camera", "settings", details=_lock(capture))
        ok, picture = capture.read()
        if not ok:
            raise BenchError(f"camera {self.source}", "opened, but shows no picture.", "Is another program using it?")
        if picture.ndim != 3 or picture.shape[2] != 3 or picture.dtype != np.uint8:
            raise BenchError(
                f"camera {self.source}",
                f"gives pictures of shape {picture.shape} and type {picture.dtype}, not three colours of 8 bits.",
                "Give lamp_camera.pixel_format in the bench file one of its colour formats (`v4l2-ctl --list-formats`).",
            )
        self._shape, self._ends_plain = picture.shape, _ends_plain(picture)
        for name, region in zip(("unit_region", "bench_region"), self._regions, strict=True):
            if region is not None:
                _within(picture.shape[1], picture.shape[0], region, name)
        stamps = Stamps(capture) if self._is_device and sys.platform == "linux" else None
        if stamps is not None and not stamps.can_be_true():
            stamps = None
        told: dict[str, Json] = {"width": int(picture.shape[1]), "height": int(picture.shape[0])}
        told["timed_by"] = BY_ARRIVAL if stamps is None else BY_STAMP
        self._timeline.add("camera", "started", details=told)
        unit_region, bench_region = self._regions
        if unit_region is not None and bench_region is not None:
            aimed_by = _aimed_by(self._dark_picture, picture.shape) if self._dark_picture is not None else None
            place = CameraPlace(self._timeline, unit_region, (unit_region, bench_region), aimed_by)
            self._watch = PlaceWatch(place, self._told)
        self._thread = threading.Thread(target=self._read, args=(capture, stamps), name="camera", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop recording."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(timeout=2.0 * STALL_REAL_S)
        if self._watch is not None:
            self._watch.close()

    def wait_past(self, time_s: float, limit_s: float) -> bool:
        """Wait until a frame arrived after `time_s` that tells whether the camera was moved; False where none came in time."""
        deadline_s = self._timeline.clock.now_s() + limit_s
        with self._arrived:
            self._awaited_s = time_s
            while self._told_s <= time_s and not self._ended:
                left_s = deadline_s - self._timeline.clock.now_s()
                if left_s <= 0.0:
                    return False
                self._arrived.wait(self._timeline.clock.real_s(left_s))
        return self._told_s > time_s

    @property
    def _is_device(self) -> bool:
        """Whether it is a device of this machine: else nobody here can set it."""
        return isinstance(self._address, int) or self._address.startswith("/dev/")

    def _open(self) -> cv2.VideoCapture:
        if isinstance(self._address, str) and "://" in self._address:
            # Limits can only be given while opening; without them a stalled stream is 30 s of silence.
            # A proxy named in the environment is for the outside world, not for a camera on the bench.
            os.environ.setdefault("OPENCV_FFMPEG_CAPTURE_OPTIONS", "rtsp_transport;tcp|http_proxy;none")
            limits = [cv2.CAP_PROP_OPEN_TIMEOUT_MSEC, int(OPEN_REAL_S * 1000)]
            limits += [cv2.CAP_PROP_READ_TIMEOUT_MSEC, int(STALL_REAL_S * 1000)]
            capture = cv2.VideoCapture(self._address, cv2.CAP_FFMPEG, limits)
        else:
            wanted = [cv2.CAP_PROP_FOURCC, cv2.VideoWriter.fourcc(*self._pixel_format)] if self._pixel_format else []
            through = cv2.CAP_V4L2 if self._is_device and sys.platform == "linux" else cv2.CAP_ANY
            capture = cv2.VideoCapture(self._address, through, wanted)
        if not capture.isOpened():
            raise BenchError(
                f"camera {self.source}",
                "cannot be opened.",
                "Check lamp_camera.source in the bench file and the cable.",
            )
        return capture

    def _read(self, capture: cv2.VideoCapture, stamps: "Stamps | None") -> None:
        writer = FrameWriter(self._folder)
        clock = self._timeline.clock
        due_s = 0.0
        while not self._stop.is_set():
            begun_s = time.monotonic()
            ok = capture.grab()
            arrived_s = time.monotonic()
            if ok and arrived_s < due_s:
                continue
            due_s = max(due_s + self._apart_s, arrived_s)
            ok, picture = capture.retrieve() if ok else (False, None)
            if not ok or picture is None:
                kind = "stalled" if arrived_s - begun_s > 0.8 * STALL_REAL_S else "stopped"
                if not self._stop.is_set():
                    self._timeline.add("camera", kind)
                break
            odd, time_s = self._oddness(picture), stamps.time_of(arrived_s) if stamps is not None else arrived_s
            if odd:
                self._leave_out("odd picture", odd)
            elif time_s is None:
                self._leave_out("odd stamp", "its stamp cannot be true")
            else:
                self._keep(writer, clock.at(time_s), picture.astype(np.uint8, copy=False))
        writer.close()
        capture.release()
        with self._arrived:
            self._ended = True
            self._arrived.notify_all()

    def _leave_out(self, kind: str, what: str) -> None:
        """Book that a frame is left out, once for each kind."""
        if kind not in self._odd:
            self._odd.add(kind)
            self._timeline.add("camera", kind, what=what)

    def _oddness(self, picture: Picture) -> str:
        """What is wrong with a picture, of those that cannot be kept beside the first; empty where nothing is."""
        if picture.shape != self._shape or picture.dtype != np.uint8:
            return f"its shape is {picture.shape} and its type {picture.dtype}"
        return "its lower part is missing" if _ends_plain(picture) and not self._ends_plain else ""

    def _keep(self, writer: FrameWriter, time_s: float, picture: Crops) -> None:
        if self.on_picture is not None:
            self.on_picture(picture)
        unit_region, bench_region = self._regions
        if unit_region is None or bench_region is None:
            return
        unit, bench = _crop(picture, unit_region), _crop(picture, bench_region)
        if self._timeline.trouble is None:
            try:
                writer.add(time_s, unit, bench)
            except OSError as error:
                self._timeline.trouble = f"the run folder takes no more: {error}"
        if self._watch is not None:
            self._watch.offer(time_s, picture, asked=time_s > self._awaited_s)
        if self.on_frame is not None:
            self.on_frame(time_s, unit)

    def _told(self, time_s: float) -> None:
        """Nothing is left open by the picture of that time, which was asked for."""
        with self._arrived:
            self._told_s = max(self._told_s, time_s)
            if time_s > self._awaited_s:
                self._awaited_s = float("inf")
            self._arrived.notify_all()


def without_password(source: int | str) -> int | str:
    """A camera as it may be shown: a URL less the user and password in it (RFC 3986, 3.2.1)."""
    return re.sub(r"(?<=://)[^/@]*@", "", source) if isinstance(source, str) else source


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


def _lock(capture: cv2.VideoCapture) -> dict[str, Json]:
    """Take from the camera what it would set by itself, and say for each whether it reads back so."""
    return {
        name: "locked" if capture.set(setting, by_hand) and capture.get(setting) == by_hand else NOT_LOCKED
        for name, (setting, by_hand) in BY_HAND.items()
    }


def _ends_plain(picture: Picture) -> bool:
    """Whether the last row is of one colour: decoders fill up so what was cut off, and no sensor is without noise."""
    return bool((picture[-1] == picture[-1, 0]).all())


def _aimed_by(file: Path, shape: tuple[int, ...]) -> Crops:
    """Read the picture that a camera was aimed by, which must be as large as those it gives now."""
    picture = cv2.imread(str(file), cv2.IMREAD_COLOR)
    if picture is None:
        raise InputError(str(file), "this picture, by which the camera was aimed, cannot be read.", AIM_ANEW)
    if picture.shape != shape:
        (height, width), (tall, wide) = shape[:2], picture.shape[:2]
        problem = f"the camera was aimed by a picture of {wide} × {tall} pixels, and gives {width} × {height}."
        raise InputError(str(file), problem, AIM_ANEW)
    return picture.astype(np.uint8, copy=False)


def _crop(picture: Crops, region: Region) -> Crops:
    x, y, width, height = region
    return np.ascontiguousarray(picture[y : y + height, x : x + width])


def _within(width: int, height: int, region: Region, name: str) -> None:
    x, y, region_width, region_height = region
    if (
        x < 0
        or y < 0
        or region_width < 4
        or region_height < 4
        or x + region_width > width
        or y + region_height > height
    ):
        raise InputError(
            f"bench file: lamp_camera.{name} = {list(region)}",
            f"does not lie within the picture of {width} × {height} pixels.",
            "Give x, y, width and height inside it.",
        )
