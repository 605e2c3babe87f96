"""The lamp camera, fed by a small camera server of the test: a stream of JPEG pictures over HTTP on loopback."""

import base64
import io
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import cv2
import numpy as np
import pytest
from PIL import Image, ImageFile

import hil.instruments.camera_stream
import hil.instruments.lamp_camera
from hil.core.clock import Clock
from hil.core.errors import BenchError, InputError
from hil.core.frames import Crops, read_frames
from hil.core.moments import Moment
from hil.core.timeline import Expired, Timeline
from hil.instruments.camera_settings import NotAsBefore
from hil.instruments.camera_stream import CameraStream
from hil.instruments.lamp_camera import LampCamera

LIMIT_S = 20.0
WIDTH, HEIGHT = 160, 120
UNIT, BENCH = (16, 32, 32, 24), (96, 32, 24, 24)
NOTICED_S = 2.0  # what the lamp camera promises: a stall or a stop is noticed within two seconds
JPEG_ERROR = 8.0  # grey levels by which two decoders of one flat JPEG may differ: common practice, no source

Serve = Callable[["Stream"], None]


@dataclass(frozen=True)
class Dialect:
    """How a network camera says its pictures: RFC 2046, 5.1.1, and what many do instead (common practice, no source)."""

    boundary: bytes = b"picture"
    told: bytes = b"picture"
    says_length: bool = True
    minor: int = 1
    authorization: bytes = b""


PLAIN = Dialect()


class Stream:
    """One client's stream: pictures go out when the script says so."""

    def __init__(self, connection: socket.socket, stop: threading.Event, dialect: "Dialect") -> None:
        self._connection = connection
        self.stop = stop
        self._dialect = dialect
        head = b"Content-Type: multipart/x-mixed-replace; boundary=" + dialect.told + b"\r\n\r\n"
        connection.sendall(b"HTTP/1.%d 200 OK\r\n" % dialect.minor + head)

    def show(self, unit: int, bench: int = 0) -> None:
        """Send a picture whose two regions have these grey levels; the rest is mid grey."""
        picture = np.full((HEIGHT, WIDTH, 3), 128, np.uint8)
        for (x, y, width, height), level in ((UNIT, unit), (BENCH, bench)):
            picture[y : y + height, x : x + width] = level
        jpeg = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 95])[1].tobytes()
        length = b"Content-Length: %d\r\n" % len(jpeg) if self._dialect.says_length else b""
        head = b"--%s\r\nContent-Type: image/jpeg\r\n%s\r\n" % (self._dialect.boundary, length)
        self._connection.sendall(head + jpeg + b"\r\n")

    def keep_showing(self, unit: int, every_s: float = 0.02) -> None:
        """Send the same picture until the test is over."""
        while not self.stop.wait(every_s):
            self.show(unit)

    def wait(self) -> None:
        """Stay connected and send nothing more."""
        self.stop.wait(LIMIT_S)


class CameraServer:
    """Runs a script for each client, one after the other; when there is none left, nobody is let in."""

    def __init__(self, *scripts: Serve, dialect: Dialect = PLAIN) -> None:
        self._scripts, self._dialect = scripts, dialect
        self.stop = threading.Event()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self._listener.getsockname()[1]}/camera.mjpeg"
        self._threads = [threading.Thread(target=self._accept)]
        self._threads[0].start()

    def _accept(self) -> None:
        for script in self._scripts:
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return
            self._threads.append(threading.Thread(target=self._serve, args=(connection, script)))
            self._threads[-1].start()
        self._listener.close()

    def _serve(self, connection: socket.socket, script: Serve) -> None:
        with connection, suppress(OSError):
            connection.settimeout(LIMIT_S)
            request, wanted = connection.recv(65536), self._dialect.authorization
            if wanted and b"\r\nAuthorization: " + wanted + b"\r\n" not in request:
                connection.sendall(b'HTTP/1.1 401 Unauthorized\r\nWWW-Authenticate: Basic realm="bench"\r\n\r\n')
                return
            script(Stream(connection, self.stop, self._dialect))

    def close(self) -> None:
        self.stop.set()
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        for thread in self._threads:
            thread.join(LIMIT_S)
            assert not thread.is_alive()


@pytest.fixture
def timeline() -> Timeline:
    return Timeline(Clock())


@pytest.fixture
def camera_of(timeline: Timeline, tmp_path: Path) -> Iterator[Callable[..., LampCamera]]:
    """Make cameras that look at a server with a script; all is closed after the test."""
    with ExitStack() as stack:

        def make(*scripts: Serve, unit: tuple[int, int, int, int] = UNIT) -> LampCamera:
            server = CameraServer(*scripts)
            stack.callback(server.close)
            camera = LampCamera(server.url, unit, BENCH, timeline, tmp_path)
            stack.callback(camera.stop)
            return camera

        yield make


def booked(timeline: Timeline, kind: str, limit_s: float = LIMIT_S) -> Moment:
    seen = timeline.wait(lambda m: m.is_("camera", kind), limit_s=limit_s, awaited=f"camera {kind}", since=0)
    assert not isinstance(seen, Expired), f"{seen}: {timeline.since()}"
    return seen


def test_every_picture_is_kept_in_order_however_fast_they_come(
    timeline: Timeline, camera_of: Callable[..., LampCamera], tmp_path: Path
) -> None:
    levels = [10 * step for step in range(25)]

    def quick(stream: Stream) -> None:
        for level in levels:
            stream.show(level, 255 - level)

    camera_of(quick).start()
    booked(timeline, "stopped")
    frames = read_frames(tmp_path)
    unit = frames.unit.reshape(len(frames), -1).mean(axis=1)
    bench = frames.bench.reshape(len(frames), -1).mean(axis=1)
    expected = np.array(levels[-len(frames) :], float)
    assert len(frames) >= len(levels) - 2  # opening takes a picture or two to learn what the stream is
    assert np.abs(unit - expected).max() < JPEG_ERROR
    assert np.abs(bench - (255 - expected)).max() < JPEG_ERROR
    assert np.all(np.diff(frames.times_s) > 0)


def test_crops_have_the_size_and_place_of_their_regions(
    timeline: Timeline, camera_of: Callable[..., LampCamera], tmp_path: Path
) -> None:
    camera = camera_of(lambda stream: stream.keep_showing(200))
    camera.start()
    assert camera.wait_past(timeline.clock.now_s(), LIMIT_S)
    camera.stop()
    frames = read_frames(tmp_path)
    assert frames.unit.shape[1:] == (UNIT[3], UNIT[2], 3)
    assert frames.bench.shape[1:] == (BENCH[3], BENCH[2], 3)
    inner = frames.unit[:, 4:-4, 4:-4]  # JPEG's blocks of 8 blur the edges
    assert np.abs(inner.astype(float) - 200.0).max() < JPEG_ERROR
    started = booked(timeline, "started")
    assert (started.number("width"), started.number("height")) == (WIDTH, HEIGHT)


@pytest.mark.parametrize(
    "dialect",
    [
        pytest.param(Dialect(told=b"--picture"), id="the boundary is told with its dashes"),
        pytest.param(Dialect(says_length=False), id="no length is told"),
        pytest.param(Dialect(told=b"--picture", says_length=False, minor=0), id="both, and HTTP/1.0"),
        pytest.param(Dialect(authorization=b"Basic " + base64.b64encode(b"bench:leaf")), id="a password is wanted"),
    ],
)
def test_network_cameras_that_speak_otherwise_are_understood(
    timeline: Timeline, tmp_path: Path, dialect: Dialect
) -> None:
    """By its URL, with user and password in it (RFC 3986, 3.2.1), which one that wants them gets as RFC 7617 says."""
    show: Serve = lambda stream: stream.keep_showing(200)  # noqa: E731
    server = CameraServer(show, show, dialect=dialect)  # who has been asked for a password comes a second time
    camera = LampCamera(server.url.replace("//", "//bench:leaf@"), UNIT, BENCH, timeline, tmp_path)
    assert camera.source == server.url, "what is shown has no password in it"
    with closing(server):
        camera.start()
        assert camera.wait_past(timeline.clock.now_s(), LIMIT_S)
        camera.stop()
    inner = read_frames(tmp_path).unit[:, 4:-4, 4:-4]  # JPEG's blocks of 8 blur the edges
    assert np.abs(inner.astype(float) - 200.0).max() < JPEG_ERROR


def test_each_frame_is_told_to_who_watches(timeline: Timeline, camera_of: Callable[..., LampCamera]) -> None:
    camera = camera_of(lambda stream: stream.keep_showing(90))
    told = threading.Event()
    shapes: list[tuple[int, ...]] = []

    def on_frame(_time_s: float, crop: object) -> None:
        assert isinstance(crop, np.ndarray)
        shapes.append(crop.shape)
        told.set()

    camera.on_frame = on_frame
    camera.start()
    assert told.wait(LIMIT_S)
    assert shapes[0] == (UNIT[3], UNIT[2], 3)


def shows_and_goes(how: str) -> Serve:
    """Twenty pictures, and then silence, or the end."""

    def ends(stream: Stream) -> None:
        for _ in range(20):
            stream.show(50)
            stream.stop.wait(0.02)
        if how == "stays silent":
            stream.wait()

    return ends


@pytest.mark.parametrize(("script_end", "kind"), [("stays silent", "stalled"), ("hangs up", "stopped")])
def test_a_stall_and_a_stop_are_noticed_in_time_and_told_apart(
    timeline: Timeline, camera_of: Callable[..., LampCamera], tmp_path: Path, script_end: str, kind: str
) -> None:
    camera = camera_of(shows_and_goes(script_end))
    camera.start()
    noticed = booked(timeline, kind)
    assert noticed.time_s - read_frames(tmp_path).times_s[-1] <= NOTICED_S
    assert camera.wait_past(timeline.clock.now_s(), LIMIT_S) is False  # at once: there will be no frame any more


@pytest.mark.parametrize(("script_end", "kind"), [("stays silent", "stalled"), ("hangs up", "stopped")])
def test_a_camera_that_went_is_opened_again(
    timeline: Timeline, camera_of: Callable[..., LampCamera], tmp_path: Path, script_end: str, kind: str
) -> None:
    camera = camera_of(shows_and_goes(script_end), lambda stream: stream.keep_showing(200))
    camera.start()
    mark = timeline.mark()
    gone = booked(timeline, kind)
    again = timeline.wait(lambda m: m.is_("camera", "started"), limit_s=LIMIT_S, awaited="it again", since=mark)
    assert not isinstance(again, Expired), again
    assert camera.wait_past(again.time_s + 0.1, LIMIT_S)
    camera.stop()
    frames = read_frames(tmp_path)
    before, after = frames.within(0.0, gone.time_s), frames.within(gone.time_s, timeline.clock.now_s())
    assert (before.unit[:, 4:-4, 4:-4].mean(), after.unit[:, 4:-4, 4:-4].mean()) == pytest.approx(
        (50, 200), abs=JPEG_ERROR
    )
    assert len(before) + len(after) == len(frames)


def test_a_camera_that_comes_back_with_other_settings_is_not_taken_and_why_is_booked_once(
    timeline: Timeline, camera_of: Callable[..., LampCamera], monkeypatch: pytest.MonkeyPatch
) -> None:
    camera = camera_of(shows_and_goes("hangs up"), lambda stream: stream.keep_showing(200))
    camera.start()
    tried = threading.Semaphore(0)

    def another(*_given: object) -> CameraStream:
        tried.release()
        raise NotAsBefore("camera /dev/video0", "its gain is to be 31, and stays at 30.", "Aim anew: hil bench aim.")

    monkeypatch.setattr(hil.instruments.lamp_camera, "CameraStream", another)
    assert "stays at 30" in booked(timeline, "not taken").text("why")
    assert all(tried.acquire(timeout=LIMIT_S) for _ in range(3))
    assert len([moment for moment in timeline.since() if moment.kind == "not taken"]) == 1
    assert not camera.wait_past(timeline.clock.now_s(), LIMIT_S)


def test_waiting_for_a_frame_has_a_limit(timeline: Timeline, camera_of: Callable[..., LampCamera]) -> None:
    def one(stream: Stream) -> None:
        for _ in range(5):
            stream.show(50)
        stream.wait()

    camera = camera_of(one)
    camera.start()
    assert camera.wait_past(timeline.clock.now_s() + LIMIT_S, limit_s=0.1) is False


@pytest.mark.parametrize(
    "region", [(150, 10, 20, 20), (10, 110, 20, 20), (-1, 10, 20, 20), (10, 10, 3, 20), (0, 0, WIDTH + 1, 10)]
)
def test_a_region_outside_the_picture_is_wrong_input(
    camera_of: Callable[..., LampCamera], region: tuple[int, int, int, int]
) -> None:
    camera = camera_of(lambda stream: stream.keep_showing(50), unit=region)
    with pytest.raises(InputError, match=r"lamp_camera\.unit_region") as told:
        camera.start()
    assert str(list(region)) in str(told.value)
    assert f"{WIDTH} × {HEIGHT}" in str(told.value)


def test_no_camera_at_all(timeline: Timeline, tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as nobody:
        port = nobody.getsockname()[1]
    camera = LampCamera(f"http://127.0.0.1:{port}/camera.mjpeg", UNIT, BENCH, timeline, tmp_path)
    with pytest.raises(BenchError, match=r"cannot be opened\. Check lamp_camera\.source"):
        camera.start()


def test_a_camera_that_shows_nothing(camera_of: Callable[..., LampCamera], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hil.instruments.camera_stream, "OPEN_REAL_S", 0.5)
    with pytest.raises(BenchError, match=r"cannot be opened|shows no picture"):
        camera_of(Stream.wait).start()


def test_a_full_disk_is_the_bench_s_trouble_and_the_camera_goes_on(
    timeline: Timeline, camera_of: Callable[..., LampCamera], tmp_path: Path
) -> None:
    """/dev/full gives what a full disk gives (Linux, full(4))."""
    for name in ("unit.raw", "bench.raw", "frames.csv"):
        (tmp_path / name).symlink_to("/dev/full")
    camera = camera_of(lambda stream: stream.keep_showing(50))
    camera.start()
    assert camera.wait_past(timeline.clock.now_s(), LIMIT_S)
    assert camera.wait_past(timeline.clock.now_s(), LIMIT_S)
    assert "No space left" in str(timeline.trouble)
    assert not [m for m in timeline.since() if m.kind in ("stalled", "stopped")]


class Given:
    """In place of a camera: hands out pictures of the test, as `cv2.VideoCapture` does; then it cannot be opened any more."""

    def __init__(self, pictures: list[np.ndarray]) -> None:
        self._pictures = pictures

    def isOpened(self) -> bool:  # noqa: N802  (OpenCV's name)
        return bool(self._pictures)

    def read(self) -> tuple[bool, np.ndarray | None]:
        return (True, self._pictures.pop(0)) if self._pictures else (False, None)

    def grab(self) -> bool:
        time.sleep(0.002)  # else two stamps may be alike
        return bool(self._pictures)

    def retrieve(self) -> tuple[bool, np.ndarray | None]:
        return self.read()

    def release(self) -> None:
        pass


@pytest.fixture
def given(timeline: Timeline, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., LampCamera]]:
    """Make cameras that show the test's pictures; each is stopped after the test, or it would open the next test's."""
    with ExitStack() as stack:

        def make(pictures: list[np.ndarray], dark_picture: Path | None = None) -> LampCamera:
            monkeypatch.setattr(cv2, "VideoCapture", lambda *_: Given(pictures))
            camera = LampCamera("http://127.0.0.1/none", UNIT, BENCH, timeline, tmp_path, dark_picture=dark_picture)
            stack.callback(camera.stop)
            return camera

        yield make


def test_a_picture_of_aim_that_is_none_or_of_another_size_is_told_at_once(
    given: Callable[..., LampCamera], tmp_path: Path
) -> None:
    for made, said in (
        (None, "cannot be read"),
        (noisy(50, (HEIGHT // 2, WIDTH // 2, 3)), f"gives {WIDTH} × {HEIGHT}"),
    ):
        if made is not None:
            cv2.imwrite(str(tmp_path / "aim.dark.png"), made)
        with pytest.raises(InputError, match=said) as told:
            given([noisy(50)] * 3, tmp_path / "aim.dark.png").start()
        assert "hil bench aim" in told.value.remedy


def noisy(level: int, shape: tuple[int, ...] = (HEIGHT, WIDTH, 3)) -> np.ndarray:
    return np.random.default_rng(level).integers(level - 5, level + 5, shape).astype(np.uint8)


@pytest.mark.parametrize(
    "picture", [noisy(50, (HEIGHT, WIDTH)), noisy(50, (HEIGHT, WIDTH, 1)), noisy(50).astype(np.uint16) * 256]
)
def test_a_camera_without_colours_of_8_bits_is_the_bench_s_trouble(
    given: Callable[..., LampCamera], picture: np.ndarray
) -> None:
    with pytest.raises(BenchError, match=r"not three colours of 8 bits.*pixel_format"):
        given([picture]).start()


@pytest.mark.parametrize(
    "odd",
    [
        noisy(50, (HEIGHT // 2, WIDTH // 2, 3)),
        noisy(50, (HEIGHT * 2, WIDTH * 2, 3)),
        noisy(50, (HEIGHT, WIDTH)),
        noisy(50).astype(np.uint16) * 256,
    ],
    ids=["smaller", "larger", "one channel", "16 bits"],
)
def test_pictures_of_another_kind_in_mid_run_are_left_out_and_said_once(
    given: Callable[..., LampCamera], timeline: Timeline, tmp_path: Path, odd: np.ndarray
) -> None:
    """Kept, they would shift all that comes after them in the file of crops."""
    given([noisy(50), noisy(50), noisy(60), odd, odd, noisy(70), odd, noisy(80)]).start()
    booked(timeline, "stopped")
    unit = read_frames(tmp_path).unit
    assert unit.reshape(len(unit), -1).mean(axis=1) == pytest.approx([50, 60, 70, 80], abs=2)
    assert [m.kind for m in timeline.since()].count("odd picture") == 1


@pytest.mark.parametrize("fill", [128, 0])
def test_half_written_pictures_are_left_out(
    given: Callable[..., LampCamera], timeline: Timeline, tmp_path: Path, fill: int
) -> None:
    """What a decoder makes of a JPEG that is cut off: grey, or nothing, from some row on."""
    half = noisy(60)
    half[HEIGHT // 3 :] = fill
    given([noisy(50), noisy(50), half, noisy(70)]).start()
    booked(timeline, "stopped")
    unit = read_frames(tmp_path).unit
    assert unit.reshape(len(unit), -1).mean(axis=1) == pytest.approx([50, 70], abs=2)
    assert booked(timeline, "odd picture").text("what") == "its lower part is missing"


def test_a_decoder_fills_what_is_cut_off_with_one_colour(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of Pillow's decoder (libjpeg), asked to take a JPEG that is cut off: what the test above takes for granted."""
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)
    coded = cv2.imencode(".jpg", noisy(60))[1].tobytes()
    cut = np.asarray(Image.open(io.BytesIO(coded[: len(coded) // 2])))
    assert np.all(cut[-1] == cut[-1, 0])
    assert not np.all(cut[0] == cut[0, 0])


def test_drawn_pictures_whose_lower_part_is_always_one_colour_are_whole(
    given: Callable[..., LampCamera], timeline: Timeline, tmp_path: Path
) -> None:
    drawn = noisy(50)
    drawn[HEIGHT // 2 :] = 128
    given([drawn] * 4).start()
    booked(timeline, "stopped")
    assert len(read_frames(tmp_path)) == 3


class Device:
    """A V4L2 device as OpenCV shows it: a picture every 20 ms, and the stamp that `stamp` says, of its number and arrival."""

    def __init__(self, stamp: Callable[[int, float], float]) -> None:
        self._stamp, self._number, self._told_s = stamp, 0, 0.0
        self._pace = threading.Event()  # never set: a clock of 20 ms

    def isOpened(self) -> bool:  # noqa: N802  (OpenCV's name)
        return True

    def set(self, _setting: int, _value: float) -> bool:
        return False

    def get(self, setting: int) -> float:
        return self._told_s * 1000.0 if setting == cv2.CAP_PROP_POS_MSEC else 0.0

    def grab(self) -> bool:
        self._pace.wait(0.02)
        self._number += 1
        self._told_s = self._stamp(self._number, time.monotonic())
        return True

    def retrieve(self) -> tuple[bool, object]:
        return True, np.full((HEIGHT, WIDTH, 3), min(self._number, 255), np.uint8)

    def read(self) -> tuple[bool, object]:
        return self.grab() and self.retrieve()[0], self.retrieve()[1]

    def release(self) -> None:
        """Let go."""


class Seen(NamedTuple):
    """A frame's times on the run's clock: the one it was given, when it was fetched from the device, when it was handed on."""

    time_s: float
    fetched_s: float
    handed_on_s: float


@pytest.fixture
def watched(
    monkeypatch: pytest.MonkeyPatch, timeline: Timeline, tmp_path: Path
) -> Callable[[Callable[[int, float], float]], list[Seen]]:
    """Twenty frames of a device whose stamps are what `stamp` says of a frame's number and the host's clock."""

    def watch(stamp: Callable[[int, float], float]) -> list[Seen]:
        fetched_s: dict[int, float] = {}

        def fetch(number: int, now_s: float) -> float:
            fetched_s[number] = timeline.clock.now_s()
            return stamp(number, now_s)

        monkeypatch.setattr(cv2, "VideoCapture", lambda *_: Device(fetch))
        camera, seen, enough = LampCamera("/dev/video9", UNIT, BENCH, timeline, tmp_path), [], threading.Event()

        def on_frame(time_s: float, crop: Crops) -> None:
            seen.append(Seen(time_s, fetched_s[int(crop[0, 0, 0])], timeline.clock.now_s()))
            if len(seen) == 20:
                enough.set()

        camera.on_frame = on_frame
        camera.start()
        assert enough.wait(LIMIT_S)
        camera.stop()
        return seen

    return watch


WAITED_S = 0.3  # of a frame, in the device's buffers
ROUNDED_S = 1e-6


def test_a_device_s_stamps_are_its_frames_times(watched: Callable[..., list[Seen]], timeline: Timeline) -> None:
    seen = watched(lambda _number, now_s: now_s - WAITED_S)
    assert booked(timeline, "started").text("timed_by") == "the kernel's stamps"
    assert all(frame.time_s <= frame.fetched_s - WAITED_S + ROUNDED_S for frame in seen)
    assert np.all(np.diff([frame.time_s for frame in seen]) > 0.0)


@pytest.mark.parametrize(
    "stamp",
    [
        pytest.param(lambda _number, _now_s: 0.0, id="none"),
        pytest.param(lambda _number, now_s: now_s + 1.7e9, id="of the calendar's clock"),
        pytest.param(lambda _number, now_s: now_s + 0.5, id="of what is yet to come"),
        pytest.param(lambda _number, now_s: now_s - 5.0, id="too old"),
        pytest.param(lambda number, now_s: now_s - 0.2 * (number % 2), id="not rising"),
    ],
)
def test_stamps_that_cannot_be_true_are_not_used(
    watched: Callable[..., list[Seen]], timeline: Timeline, stamp: Callable[[int, float], float]
) -> None:
    seen = watched(stamp)
    assert booked(timeline, "started").text("timed_by") == "their arrival"
    assert all(frame.fetched_s - ROUNDED_S <= frame.time_s <= frame.handed_on_s + ROUNDED_S for frame in seen)


def test_a_frame_with_an_odd_stamp_is_left_out_and_that_is_booked_once(
    watched: Callable[..., list[Seen]], timeline: Timeline, tmp_path: Path
) -> None:
    """Its arrival would be of another kind than all other frames' times."""
    seen = watched(lambda number, now_s: now_s + 9.0 if number in (12, 14) else now_s - 0.001)
    assert [m.kind for m in timeline.since() if m.source == "camera"].count("odd stamp") == 1
    assert np.all(np.diff([frame.time_s for frame in seen]) > 0.0)
    shown = read_frames(tmp_path).unit[:, 0, 0, 0].tolist()
    assert shown[:8] == [7, 8, 9, 10, 11, 13, 15, 16]
