"""The lamp camera: frames in through OpenCV, crops of two lamps out.

A reader thread keeps up with the camera (a slow reader would get every frame, late). What times its frames (`camera_stream`) is
booked. A camera that stalls or stops is opened again as soon as it can be, and both are booked, as is one that was moved
(`camera_place`); no colour or stage is derived here.
"""

import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path

import cv2
import numpy as np

from hil.core.aim_file import CameraSetting
from hil.core.errors import BenchError, InputError
from hil.core.frames import Crops, FrameWriter
from hil.core.moments import Json
from hil.core.timeline import Timeline
from hil.instruments.camera_place import CameraPlace, PlaceWatch
from hil.instruments.camera_settings import NotAsBefore
from hil.instruments.camera_stream import (
    OPEN_REAL_S,
    STALL_REAL_S,
    STALLED_REAL_S,
    CameraStream,
    Picture,
    is_there,
    without_password,
)

AGAIN_REAL_S = 0.5  # between two tries to open a camera that went
NO_SETTINGS: Mapping[CameraSetting, int] = {}
AIM_ANEW = "Aim anew: hil bench aim."
Region = tuple[int, int, int, int]
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
        dim_light: bool = False,
        settings: Mapping[CameraSetting, int] = NO_SETTINGS,
    ) -> None:
        """Name the camera and the regions (x, y, width, height in pixels); `start` opens it. Without both it records nothing.

        `pixel_format` is what a device is asked for, as four letters of V4L2 (`MJPG`, `YUYV`); empty: as it likes. Of the
        frames that come no more than `frame_rate` a second are looked at, where it is given.
        The `dark_picture` is the file with what it saw when it was aimed, all lamps dark; with `dim_light` its place is told by
        light as dim as that. The `settings` are those it had then.
        """
        self.source, self._address, self._pixel_format = without_password(source), source, pixel_format
        self._apart_s = 1.0 / frame_rate if frame_rate else 0.0
        self._regions = (unit_region, bench_region)
        self._dark_picture, self._dim_light = dark_picture, dim_light
        self.settings = settings
        self._watch: PlaceWatch | None = None
        self._shape: tuple[int, ...] = ()
        self._ends_plain = False
        self._timed_by = ""
        self._odd = set[str]()
        self._timeline = timeline
        self._folder = folder
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._arrived = threading.Condition()
        self._awaited_s, self._told_s = float("inf"), -float("inf")
        self._is_gone = False
        self.on_frame: OnFrame | None = None
        self.on_picture: OnPicture | None = None

    def start(self) -> None:
        """Open the camera and record from now on.

        Raises:
            InputError: a region lies outside the picture, or the picture that it was aimed by is none, or of another size.
            BenchError: the camera cannot be opened, shows nothing, or no colours of 8 bits.
        """
        stream = self._opened()
        self._shape, self._ends_plain = stream.first.shape, _ends_plain(stream.first)
        for name, region in zip(("unit_region", "bench_region"), self._regions, strict=True):
            if region is not None:
                _within(self._shape[1], self._shape[0], region, name)
        unit_region, bench_region = self._regions
        if unit_region is not None and bench_region is not None:
            aimed_by = _aimed_by(self._dark_picture, self._shape) if self._dark_picture is not None else None
            lamps = (unit_region, bench_region)
            place = CameraPlace(self._timeline, unit_region, lamps, aimed_by, dim_light=self._dim_light)
            self._watch = PlaceWatch(place, self._told)
        self._thread = threading.Thread(target=self._record, args=(stream,), name="camera", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop recording."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(timeout=OPEN_REAL_S + STALL_REAL_S)
        if self._watch is not None:
            self._watch.close()

    def wait_past(self, time_s: float, limit_s: float) -> bool:
        """Wait until a frame arrived after `time_s` that tells whether the camera was moved; False where none came in time."""
        deadline_s = self._timeline.clock.now_s() + limit_s
        with self._arrived:
            self._awaited_s = time_s
            while self._told_s <= time_s and not self._is_gone:
                left_s = deadline_s - self._timeline.clock.now_s()
                if left_s <= 0.0:
                    return False
                self._arrived.wait(self._timeline.clock.real_s(left_s))
        return self._told_s > time_s

    def _opened(self) -> CameraStream:
        stream = CameraStream(self._address, self._pixel_format, self.settings)
        if self._timed_by not in ("", stream.timed_by):  # then its frames' times are of another kind
            stream.close()
            raise NotAsBefore(
                f"camera {self.source}", f"its frames are timed by {stream.timed_by} now.", "Unplug it, and again."
            )
        self._timed_by = stream.timed_by
        if stream.settings is not None:
            self.settings = stream.settings.values
            locked: dict[str, Json] = dict(stream.settings.told.items())
            self._timeline.add("camera", "settings", details=locked)
        height, width = stream.first.shape[:2]
        told: dict[str, Json] = {"width": width, "height": height, "timed_by": stream.timed_by}
        self._timeline.add("camera", "started", details=told)
        return stream

    def _record(self, stream: CameraStream | None) -> None:
        writer = FrameWriter(self._folder)
        while stream is not None:
            self._read(stream, writer)
            stream.close()
            self._be_gone(True)
            stream = self._opened_again()
            self._be_gone(stream is None)
        writer.close()

    def _opened_again(self) -> CameraStream | None:
        """Open the camera that went, once it can be; None where recording was to stop before.

        Books why one that is there is not taken: it is not as before.
        """
        told = ""
        while not self._stop.wait(AGAIN_REAL_S):
            try:
                if is_there(self._address):
                    return self._opened()
            except NotAsBefore as error:
                if str(error) != told:
                    told = str(error)
                    self._timeline.add("camera", "not taken", why=told)
            except BenchError:  # not yet
                continue
        return None

    def _be_gone(self, is_gone: bool) -> None:
        with self._arrived:
            self._is_gone = is_gone
            self._arrived.notify_all()

    def _read(self, stream: CameraStream, writer: FrameWriter) -> None:
        """Keep the pictures until there are none any more, or recording is to stop."""
        while not self._stop.is_set():
            begun_real_s = time.monotonic()
            read = stream.read(self._apart_s)
            if read is None:
                stalled = time.monotonic() - begun_real_s > STALLED_REAL_S
                if not self._stop.is_set():
                    self._timeline.add("camera", "stalled" if stalled else "stopped")
                return
            picture, real_s = read
            if odd := self._oddness(picture):
                self._leave_out("odd picture", odd)
            elif real_s is None:
                self._leave_out("odd stamp", "its stamp cannot be true")
            else:
                self._keep(writer, self._timeline.clock.at(real_s), picture.astype(np.uint8, copy=False))

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
