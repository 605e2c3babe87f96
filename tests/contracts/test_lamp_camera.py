"""What every camera must give: the pictures as they come, in order, with their times, and its end within two seconds.

Held alike against the virtual bench's picture over HTTP and, in the lab, against a V4L2 device of the kernel (`vivid`, whose
output is looped to its input) through OpenCV: what that hands out is the outside check. On a desk it looks at the bench's own
lamp, switched by its adapter.
"""

import contextlib
import subprocess
import tempfile
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from support.desk import Desk

from hil.core.clock import Clock
from hil.core.errors import BenchError
from hil.core.frames import LampFrames, read_frames
from hil.core.timeline import Expired, Timeline
from hil.instruments.camera_stream import BY_ARRIVAL, BY_STAMP
from hil.instruments.desk import open_lamp
from hil.instruments.lamp_camera import LampCamera, Region
from hil.lamp import NotTold, bench_lamp_watched, stamp_scatter
from hil.virtual.lab.film import INPUT, prepare_devices, video
from hil.virtual.world import ControlLine, WorldProcess

LIMIT_S = 30.0
NOTICED_S = 2.0
WIDTH, HEIGHT = 800, 600
UNIT, BENCH = (100, 100, 64, 64), (400, 200, 64, 64)
EACH_S = 0.6  # how long the bench's lamp is on, and off
DARK, BRIGHT = 16, 235  # ITU-R BT.601, limited range
FRAME_RATE = 30
FRAMES = 90
SETTLE_S = 0.8
LEAST_OF_A_DESK = 5.0  # a small lamp in a larger region; common practice, no source
IRREGULAR_S = (0.3, 0.6, 0.4, 0.7, 0.5, 0.35, 0.65, 0.45)


@dataclass(frozen=True)
class Scene:
    """A picture in which the bench's lamp goes on and off, and the camera's name for it.

    `go` takes the camera away; `freeze` has it go on with a picture that stands still, or is none; `stall` has it stay, and give
    none any more.
    """

    source: int | str
    unit_region: Region
    bench_region: Region
    go: Callable[[], object]
    freeze: Callable[[], object]
    stall: Callable[[], object]
    pixel_format: str = ""
    frame_rate: float | None = None
    least_change: float = 20.0  # of 255, over the whole region


def have_blink(stack: contextlib.ExitStack, switch: Callable[[bool], object]) -> Callable[[], object]:
    """Have a lamp go on and off from now on; returns what ends it, with the lamp dark."""
    over = threading.Event()

    def blink() -> None:
        on = False
        while not over.wait(EACH_S):
            on = not on
            switch(on)
        switch(False)

    thread = threading.Thread(target=blink, daemon=True)
    thread.start()
    stack.callback(thread.join, LIMIT_S)
    stack.callback(over.set)
    return over.set


def virtual_scene(stack: contextlib.ExitStack, folder: Path) -> Scene:
    process = WorldProcess("scene", {"seed": 1, "frame_rate": FRAME_RATE, "truth_file": str(folder / "truth.jsonl")})
    stack.callback(process.stop)
    line = ControlLine("bench lamp", process.port("control_port"))
    stack.callback(line.close)
    have_blink(stack, lambda on: line.tell({"lamp": "bench", "rgb": [255 * on] * 3}))
    regions = process.ready["regions"]
    assert isinstance(regions, dict)
    source = f"http://127.0.0.1:{process.port('http_port')}/camera.mjpeg"
    unit, bench = tuple(regions["unit"]), tuple(regions["bench"])
    go, freeze, stall = (partial(line.ask, {"op": op}) for op in ("stop", "freeze", "stall"))
    return Scene(source, unit, bench, go, freeze, stall)


def pictures() -> bytes:
    """A second of YUYV pictures: the bench's lamp dark, then bright."""

    def picture(level: int) -> bytes:
        luma = np.full((HEIGHT, WIDTH), 100, np.uint8)
        x, y, width, height = BENCH
        luma[y : y + height, x : x + width] = level
        packed = np.full((HEIGHT, WIDTH, 2), 128, np.uint8)  # no colour
        packed[:, :, 0] = luma
        return packed.tobytes()

    each = round(EACH_S * FRAME_RATE)
    return picture(DARK) * each + picture(BRIGHT) * each


def lab_scene(stack: contextlib.ExitStack) -> Scene:
    film = (
        Path(stack.enter_context(tempfile.TemporaryDirectory())) / "film.yuyv"
    )  # in memory: the folder of tests is slow there
    film.write_bytes(pictures())
    prepare_devices(WIDTH, HEIGHT, FRAME_RATE)
    words = ["v4l2-ctl", "-d", "/dev/video1", "--stream-out-mmap", f"--stream-from={film}", "--stream-loop"]
    player = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    stack.callback(player.wait, LIMIT_S)
    stack.callback(player.terminate)
    assert player.stderr is not None
    stack.callback(player.stderr.close)
    assert player.stderr.read(1) == b">"  # a picture went out
    stack.callback(video, INPUT, "-c", "disconnect=0")
    stack.callback(video, INPUT, "-c", "percentage_of_dropped_buffers=0")
    go, stall = (partial(video, INPUT, "-c", how) for how in ("disconnect=1", "percentage_of_dropped_buffers=100"))
    return Scene("/dev/video0", UNIT, BENCH, go, lambda: ended(player), stall, "YUYV")


def desk_scene(stack: contextlib.ExitStack, desk: Desk) -> Scene:
    """A picture that stands still is here one of a lamp that is not switched."""
    place, told = desk.named(desk.file.bench_lamp, "bench_lamp"), desk.file.lamp_camera
    lamp = stack.enter_context(contextlib.closing(open_lamp(Timeline(Clock()), place)))
    stop = have_blink(stack, lamp.switch)
    source, unit, bench = desk.camera
    return Scene(
        source, unit, bench, lambda: None, stop, lambda: None, told.pixel_format, told.frame_rate, LEAST_OF_A_DESK
    )


def ended(player: "subprocess.Popen[bytes]") -> None:
    player.terminate()
    player.wait(LIMIT_S)


@pytest.fixture
def timeline() -> Timeline:
    return Timeline(Clock())


@pytest.fixture
def scene(place: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Scene]:
    with contextlib.ExitStack() as stack:
        if place == "desk":
            yield desk_scene(stack, request.getfixturevalue("desk"))
            return
        yield virtual_scene(stack, tmp_path) if place == "virtual" else lab_scene(stack)


@pytest.fixture
def camera(scene: Scene, timeline: Timeline, tmp_path: Path) -> Iterator[LampCamera]:
    folder = tmp_path / "lamp"
    folder.mkdir()
    made = LampCamera(
        scene.source,
        scene.unit_region,
        scene.bench_region,
        timeline,
        folder,
        pixel_format=scene.pixel_format,
        frame_rate=scene.frame_rate,
    )
    made.start()
    yield made
    made.stop()


@pytest.mark.daily
def test_changes_arrive_in_order_with_their_times(
    camera: LampCamera, scene: Scene, timeline: Timeline, tmp_path: Path
) -> None:
    begun_s = timeline.clock.now_s()
    assert camera.wait_past(begun_s + 6.0 * EACH_S, limit_s=LIMIT_S)
    camera.stop()
    frames: LampFrames = read_frames(tmp_path / "lamp")
    times_s = np.array(frames.times_s)
    assert np.all(np.diff(times_s) > 0.0)
    level = np.array([float(crop.mean()) for crop in frames.bench])
    bright = level > (level.min() + level.max()) / 2.0
    changes_s = times_s[1:][bright[1:] != bright[:-1]]
    assert level.max() - level.min() > scene.least_change
    assert len(changes_s) >= 4
    assert np.median(np.diff(changes_s)) == pytest.approx(EACH_S, abs=0.25)  # the lab's own pace is uneven
    assert len(times_s) / (times_s[-1] - times_s[0]) > 8.0


@pytest.mark.beyond_desk("nobody unplugs the camera")
@pytest.mark.parametrize(
    ("how", "kinds"), [("goes", ("stopped", "stalled")), ("stalls", ("stalled",))], ids=["goes", "stalls"]
)
def test_a_camera_that_goes_or_stalls_is_noticed(
    camera: LampCamera, scene: Scene, timeline: Timeline, how: str, kinds: tuple[str, ...]
) -> None:
    assert camera.wait_past(timeline.clock.now_s() + EACH_S, limit_s=LIMIT_S)
    mark = timeline.mark()
    (scene.go if how == "goes" else scene.stall)()
    gone_s = timeline.clock.now_s()
    seen = timeline.wait(
        lambda m: any(m.is_("camera", kind) for kind in kinds), limit_s=LIMIT_S, awaited="its end", since=mark
    )
    assert not isinstance(seen, Expired), seen
    assert seen.time_s - gone_s < NOTICED_S


def test_a_picture_that_stands_still_or_is_noise_shows_no_switch(
    camera: LampCamera, scene: Scene, timeline: Timeline, tmp_path: Path
) -> None:
    """Pictures go on coming: that nothing changes in them any more is for their reader to see."""
    assert camera.wait_past(timeline.clock.now_s() + EACH_S, limit_s=LIMIT_S)
    scene.freeze()
    begin_s = timeline.clock.now_s() + SETTLE_S
    orders_s = begin_s + np.cumsum(IRREGULAR_S)
    assert camera.wait_past(float(orders_s[-1]) + SETTLE_S, limit_s=LIMIT_S)
    camera.stop()
    frames = read_frames(tmp_path / "lamp").within(begin_s, timeline.clock.now_s())
    assert len(frames) > 10
    light = frames.bench.mean(axis=(1, 2, 3), dtype=np.float64)
    watched = bench_lamp_watched(orders_s, frames.times_s, light)
    assert isinstance(watched, NotTold) or {switch.seen_s for switch in watched[1]} == {None}


@pytest.mark.beyond_desk("what can be set differs from camera to camera: `hil bench check` tells what cannot be locked")
def test_what_it_sets_by_itself_is_locked_or_said_to_be_not(camera: LampCamera, timeline: Timeline, place: str) -> None:
    """The kernel's test device has only one of these settings; a stream from elsewhere cannot be set from here at all."""
    told = [m for m in timeline.since() if m.is_("camera", "settings")]
    if place == "virtual":
        assert told == []
        return
    (settings,) = told
    assert {settings.text(name) for name in ("exposure", "white_balance", "focus")} == {"cannot be locked"}
    assert settings.text("gain").startswith("locked at ")


@pytest.mark.beyond_desk("another gain would be none that the bench was aimed with")
def test_a_device_is_set_as_it_was_aimed_and_v4l2_ctl_reads_the_same(
    scene: Scene, timeline: Timeline, place: str, tmp_path: Path
) -> None:
    if place == "virtual":
        pytest.skip("a stream from elsewhere cannot be set from here at all")
    video(INPUT, "-c", "gain_automatic=1")
    regions = scene.unit_region, scene.bench_region
    folder = tmp_path / "lamp"
    folder.mkdir()
    camera = LampCamera(
        scene.source, *regions, timeline, folder, pixel_format=scene.pixel_format, settings={"gain": 77}
    )
    camera.start()
    camera.stop()
    (told,) = [m for m in timeline.since() if m.is_("camera", "settings")]
    assert told.text("gain") == "locked at 77"
    assert camera.settings == {"gain": 77}
    asked = ["v4l2-ctl", "-d", str(scene.source), "-C", "gain_automatic,gain"]
    read = subprocess.run(asked, capture_output=True, text=True, timeout=LIMIT_S, check=True).stdout
    assert read.split() == ["gain_automatic:", "0", "gain:", "77"]
    other = LampCamera(
        scene.source, *regions, timeline, folder, pixel_format=scene.pixel_format, settings={"focus": 10}
    )
    with pytest.raises(BenchError, match="its focus is to be 10, and takes none"):
        other.start()


@pytest.mark.parametrize("stamped", ["end of the frame", "begin of exposure"])
def test_frames_of_a_device_are_timed_by_the_kernel(
    scene: Scene, timeline: Timeline, place: str, tmp_path: Path, stamped: str
) -> None:
    """Each stamp lies after that of the frame before and no later than the frame came; a stream has none, but arrives.

    The kernel's test device stamps the end of a frame that it hands out at its begin: such a stamp cannot be true. That of the
    begin of exposure can.
    """
    by_stamp = place == "lab" and stamped == "begin of exposure"
    if place == "lab":
        video(INPUT, "-c", f"timestamp_source={int(by_stamp)}")
    folder = tmp_path / "lamp"
    folder.mkdir()
    regions = scene.unit_region, scene.bench_region
    camera = LampCamera(scene.source, *regions, timeline, folder, pixel_format=scene.pixel_format)
    seen = list[tuple[float, float]]()
    enough = threading.Event()

    def on_frame(time_s: float, _crop: object) -> None:
        seen.append((time_s, timeline.clock.now_s()))
        if len(seen) == FRAMES:
            enough.set()

    camera.on_frame = on_frame
    camera.start()
    assert enough.wait(LIMIT_S)
    camera.stop()
    times_s, came_s = np.array(seen).T
    assert np.all(times_s < came_s)
    assert np.all(np.diff(times_s) > 0.0)
    (started,) = (m for m in timeline.since() if m.is_("camera", "started"))
    assert started.text("timed_by") == (BY_STAMP if by_stamp else BY_ARRIVAL)
    if by_stamp:  # the kernel's frames come at a steadier pace than this process is told of them
        print(f"scatter: stamps {stamp_scatter(times_s):.4f} s, arrivals {stamp_scatter(came_s):.4f} s")
        assert stamp_scatter(times_s) < stamp_scatter(came_s)
