"""Holds the camera process `hil.virtual.scene` against OpenCV's network reader and against its own truth file.

Outside sources: frames are read by FFmpeg through `cv2.VideoCapture`; colours are made linear by colour-science; part headers
follow RFC 2046 (boundary) and RFC 9110 (Content-Length).
"""

import contextlib
import json
import random
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import colour
import cv2
import numpy as np
import pytest
import requests
from numpy.typing import NDArray

from hil.virtual.scene.scene import LampHistory

Frame = NDArray[np.uint8]
LIMIT_S = 20.0  # patience for anything awaited here
WHITE, RED, GREEN, BLUE, DARK = [255, 255, 255], [255, 0, 0], [0, 255, 0], [0, 0, 255], [0, 0, 0]


class Scene:
    """The running process, its control port and its truth."""

    def __init__(self, truth_file: Path, **config: object) -> None:
        self.truth_file = truth_file
        command = [sys.executable, "-m", "hil.virtual.scene", json.dumps({"truth_file": str(truth_file), **config})]
        self.process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,  # in which it is served first, as on a bench
        )
        assert self.process.stdout is not None
        ready = json.loads(self.process.stdout.readline())
        self.regions = ready["regions"]
        self.http_port = ready["http_port"]
        self.url = f"http://127.0.0.1:{self.http_port}/camera.mjpeg"
        self._control = socket.create_connection(("127.0.0.1", ready["control_port"]), LIMIT_S)
        self._replies = self._control.makefile("rb")

    def lamp(self, name: str, rgb: list[int]) -> float:
        """Set a lamp; gives the time just before."""
        at_s = time.monotonic()
        self._control.sendall(json.dumps({"lamp": name, "rgb": rgb}).encode() + b"\n")
        return at_s

    def order(self, op: str) -> float:
        """Order a fault and give the time it was obeyed."""
        reply = self.send({"op": op})
        assert reply["ok"] is True
        return float(str(reply["t"]))

    def send(self, message: dict[str, object]) -> dict[str, object]:
        self._control.sendall(json.dumps(message).encode() + b"\n")
        reply: dict[str, object] = json.loads(self._replies.readline())
        return reply

    def truth(self, what: str) -> list[dict[str, object]]:
        lines = [json.loads(line) for line in self.truth_file.read_text().splitlines()]
        return [line for line in lines if line["what"] == what]

    @property
    def latency_s(self) -> float:
        return float(str(self.truth("camera")[0]["latency_s"]))

    def end(self) -> tuple[int, str, str]:
        """Close its standard input; gives exit code, rest of stdout but for when the machine held it up, stderr."""
        self._replies.close()
        self._control.close()
        output, complaints = self.process.communicate(timeout=LIMIT_S)
        said = "".join(line for line in output.splitlines(keepends=True) if not line.startswith('{"held_up"'))
        return self.process.returncode, said, complaints


class Reader:
    """Reads a stream in a thread of its own and keeps the newest frame with its time."""

    def __init__(self, url: str) -> None:
        self._capture = cv2.VideoCapture(url, cv2.CAP_FFMPEG)
        assert self._capture.isOpened()
        self._news = threading.Condition()
        self._frames: list[tuple[float, Frame]] = []
        self._over = self._enough = False
        self._thread = threading.Thread(target=self._read)
        self._thread.start()

    def _read(self) -> None:
        while not self._enough:
            good, frame = self._capture.read()
            with self._news:
                self._over = not good
                if good:
                    self._frames.append((time.monotonic(), np.asarray(frame, np.uint8)))
                self._news.notify_all()
            if not good:
                break
        self._capture.release()

    def after(self, at_s: float, number: int = 1) -> list[tuple[float, Frame]]:
        """Wait for the first frames read after a time."""
        with self._news:
            assert self._news.wait_for(lambda: len(self._since(at_s)) >= number or self._over, LIMIT_S)
            assert not self._over, "the stream ended"
            return self._since(at_s)[:number]

    def first(self, wanted: Callable[[Frame], bool], at_s: float) -> int:
        """Wait for the first frame after a time that is as wanted, and give its number."""
        begin = len(self._frames) - len(self._since(at_s))
        for number in range(begin, begin + 300):
            if wanted(self._frame(number)):
                return number
        raise AssertionError("300 frames, and none as wanted")

    def _frame(self, number: int) -> Frame:
        with self._news:
            assert self._news.wait_for(lambda: len(self._frames) > number or self._over, LIMIT_S)
            assert not self._over, "the stream ended"
            return self._frames[number][1]

    def read_at_s(self, number: int) -> float:
        return self._frames[number][0]

    def count_within(self, real_s: float) -> int:
        """Count the frames of the next seconds."""
        with self._news:
            had = len(self._frames)
            self._news.wait_for(lambda: False, real_s)
            return len(self._frames) - had

    def ended(self) -> bool:
        with self._news:
            return self._news.wait_for(lambda: self._over, LIMIT_S)

    def close(self) -> None:
        self._enough = True
        self._thread.join(LIMIT_S)
        assert not self._thread.is_alive()

    def _since(self, at_s: float) -> list[tuple[float, Frame]]:
        return [entry for entry in self._frames if entry[0] > at_s]


@contextlib.contextmanager
def running(truth_file: Path, **config: object) -> Iterator[tuple[Scene, Reader]]:
    scene = Scene(truth_file, **config)
    try:
        reader = Reader(scene.url)
        try:
            yield scene, reader
        finally:
            reader.close()
    finally:
        code, output, complaints = scene.end()
    assert (code, output, complaints) == (0, "", "")


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Scene, Reader]]:
    with running(tmp_path_factory.mktemp("scene") / "truth.jsonl", seed=3) as both:
        yield both


def light(frame: Frame, region: list[int]) -> NDArray[np.float64]:
    """Linear light of a region, red first, shape (h, w, 3)."""
    x, y, width, height = region
    return np.asarray(colour.models.eotf_sRGB(frame[y : y + height, x : x + width, ::-1] / 255.0))


def settled(scene: Scene, reader: Reader, rgb: list[int], lamp: str = "unit") -> NDArray[np.float64]:
    """Set a lamp and give its region once every frame under way before has come through; mean of three."""
    at_s = scene.lamp(lamp, rgb) + scene.latency_s + 0.2
    return np.asarray(np.mean([light(frame, scene.regions[lamp]) for _, frame in reader.after(at_s, 3)], axis=0))


def test_stage_colours_in_the_glow(live: tuple[Scene, Reader]) -> None:
    scene, reader = live
    dark = settled(scene, reader, DARK)
    seen = {}
    for name, rgb in {"red": RED, "green": GREEN, "blue": BLUE, "white": WHITE, "dark": DARK}.items():
        lit = settled(scene, reader, rgb)
        whole = lit.max(axis=2) < 0.95
        seen[name] = (lit - dark)[whole].mean(axis=0)
    for place, name in enumerate(("red", "green", "blue")):
        assert seen[name][place] > 2 * np.delete(seen[name], place).max()
    assert seen["white"].min() > 0.3 * seen["white"].max()
    assert min(one.max() for name, one in seen.items() if name != "dark") > 20 * np.abs(seen["dark"]).max()


def test_bench_lamp_shows_apart_from_the_units(live: tuple[Scene, Reader]) -> None:
    scene, reader = live
    settled(scene, reader, DARK)
    off = settled(scene, reader, DARK, "bench")
    on = settled(scene, reader, WHITE, "bench")
    assert on.mean() > off.mean() + 0.3
    at_s = time.monotonic()
    unit = np.mean([light(frame, scene.regions["unit"]) for _, frame in reader.after(at_s, 3)], axis=0)
    assert np.abs(unit.mean() - settled(scene, reader, DARK).mean()) < 0.002
    settled(scene, reader, DARK, "bench")


@pytest.mark.parametrize("seed", [3, 4])
def test_latency_is_the_hidden_one(tmp_path: Path, seed: int) -> None:
    """Each switch lies between two frames; the mean of their middles tells the lag better than to a frame's interval."""
    chance = random.Random(seed)
    with running(tmp_path / "truth.jsonl", seed=seed) as (scene, reader):
        interval_s = 1 / 30
        region = scene.regions["unit"]
        dark, lit = settled(scene, reader, DARK).mean(), settled(scene, reader, GREEN).mean()
        half = (dark + lit) / 2
        lags_s = []
        for k in range(12):
            time.sleep(chance.uniform(0, interval_s))  # so that switches do not keep step with frames
            if k % 2:
                at_s = scene.lamp("unit", GREEN)
                number = reader.first(lambda frame: light(frame, region).mean() > half, at_s)
            else:
                at_s = scene.lamp("unit", DARK)
                number = reader.first(lambda frame: light(frame, region).mean() < half, at_s)
            lags_s.append((reader.read_at_s(number) + reader.read_at_s(number - 1)) / 2 - at_s)
        assert 0.03 <= scene.latency_s <= 0.25
        assert np.mean(lags_s) == pytest.approx(scene.latency_s, abs=interval_s)


def test_frozen_repeats_one_picture_until_thawed(live: tuple[Scene, Reader]) -> None:
    scene, reader = live
    settled(scene, reader, BLUE)
    at_s = scene.order("freeze")
    scene.lamp("unit", RED)
    frames = [frame for _, frame in reader.after(at_s + scene.latency_s + 0.2, 5)]
    assert all(np.array_equal(frame, frames[0]) for frame in frames)
    held = light(frames[0], scene.regions["unit"])
    scene.order("thaw")
    red = settled(scene, reader, RED)
    assert held[..., 2].mean() > 1.5 * red[..., 2].mean()
    assert red[..., 0].mean() > 1.5 * held[..., 0].mean()
    moving = [frame for _, frame in reader.after(time.monotonic(), 2)]
    assert not np.array_equal(moving[0], moving[1]), "a live picture has noise"


def test_black_is_dark_all_over(live: tuple[Scene, Reader]) -> None:
    scene, reader = live
    settled(scene, reader, WHITE)
    at_s = scene.order("black")
    covered = reader.after(at_s + scene.latency_s + 0.2)[0][1]
    assert covered.mean() < 6
    assert covered.max() < 60
    scene.order("thaw")
    assert settled(scene, reader, WHITE).mean() > 0.3


def test_a_bumped_camera_s_picture_lies_elsewhere(live: tuple[Scene, Reader]) -> None:
    """By how far: OpenCV's phase correlation, which is none of ours."""
    scene, reader = live
    settled(scene, reader, DARK)
    pictures = []
    for by in ([0.0, 0.0], [9.0, -6.0]):
        at_s = float(str(scene.send({"op": "shift", "by": by})["t"]))
        frames = reader.after(at_s + scene.latency_s + 0.2, 3)
        pictures.append(np.mean([frame for _, frame in frames], axis=(0, 3)))
    window = cv2.createHanningWindow((640, 480), cv2.CV_64F)
    found, _ = cv2.phaseCorrelate(pictures[0], pictures[1], window)
    scene.send({"op": "shift", "by": [0.0, 0.0]})
    assert found == pytest.approx((9.0, -6.0), abs=0.3)


def test_stalled_stays_connected_and_silent(live: tuple[Scene, Reader]) -> None:
    scene, reader = live
    scene.order("stall")
    reader.count_within(scene.latency_s + 0.2)  # what was under way
    assert reader.count_within(0.5) == 0
    at_s = scene.order("thaw")
    assert len(reader.after(at_s, 3)) == 3, "the same connection goes on"


def test_stopped_drops_readers_and_takes_none(tmp_path: Path) -> None:
    with running(tmp_path / "truth.jsonl", seed=5) as (scene, reader):
        reader.after(0.0)
        scene.order("stop")
        assert reader.ended()
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.0.0.1", scene.http_port), LIMIT_S)
        scene.order("thaw")
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.0.0.1", scene.http_port), LIMIT_S)
        assert [line["op"] for line in scene.truth("camera fault")] == ["stop"]


def test_a_second_reader_gets_the_stream_too(live: tuple[Scene, Reader]) -> None:
    scene, reader = live
    second = Reader(scene.url)
    try:
        at_s = time.monotonic()
        assert len(second.after(at_s, 5)) == len(reader.after(at_s, 5)) == 5
    finally:
        second.close()


def test_parts_carry_their_length(live: tuple[Scene, Reader]) -> None:
    scene, _ = live
    with requests.get(scene.url, stream=True, timeout=LIMIT_S) as response:
        assert response.headers["Content-Type"] == "multipart/x-mixed-replace; boundary=frame"
        for _ in range(3):
            lines = [response.raw.readline().strip() for _ in range(4)]
            assert lines[:2] == [b"--frame", b"Content-Type: image/jpeg"]
            name, _, length = lines[2].partition(b": ")
            assert (name, lines[3]) == (b"Content-Length", b"")
            jpeg = response.raw.read(int(length))
            picture = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
            assert picture is not None
            assert picture.shape == (480, 640, 3)
            assert jpeg[-2:] == b"\xff\xd9", "the end mark of a JPEG stream (ITU-T T.81, table B.1)"
            assert response.raw.readline() == b"\r\n"
    assert requests.get(scene.url.replace("camera", "other"), timeout=LIMIT_S).status_code == 404


def test_dropped_frames_are_missing_and_booked(tmp_path: Path) -> None:
    with running(tmp_path / "truth.jsonl", seed=6, drop=0.5, latency_s=[0.05, 0.05], jitter_s=0.0) as (scene, reader):
        times_s = np.array([at_s for at_s, _ in reader.after(0.0, 40)])
        assert scene.latency_s == 0.05
        frames = int(str(scene.truth("frame dropped")[-1]["frame"])) + 1
        lost = len(scene.truth("frame dropped"))
    assert lost / frames == pytest.approx(0.5, abs=0.25)
    assert np.diff(times_s).mean() == pytest.approx(2 / 30, rel=0.5)


def test_truth_has_each_lamp_change_once(live: tuple[Scene, Reader]) -> None:
    scene, reader = live
    settled(scene, reader, DARK)
    before = len(scene.truth("scene lamp"))
    at_s = scene.lamp("unit", [1, 2, 3])
    scene.lamp("unit", [1, 2, 3])
    scene.lamp("bench", [9, 9, 9])
    scene.order("thaw")  # answered, so all before it is done
    new = scene.truth("scene lamp")[before:]
    assert [(line["lamp"], line["rgb"]) for line in new] == [("unit", [1, 2, 3]), ("bench", [9, 9, 9])]
    assert at_s <= float(str(new[0]["t"])) <= time.monotonic()
    scene.lamp("bench", DARK)


def test_light_follows_an_ordered_exposure(live: tuple[Scene, Reader]) -> None:
    scene, reader = live
    whole = [0, 0, 640, 480]

    def mean_light(exposure_s: float) -> float:
        assert scene.send({"op": "expose", "exposure_s": exposure_s}) == {"ok": True, "exposure_s": exposure_s}
        at_s = time.monotonic() + scene.latency_s + 0.2
        return float(np.mean([light(frame, whole).mean() for _, frame in reader.after(at_s, 3)]))

    scene.lamp("unit", DARK)
    short, usual = mean_light(0.004), mean_light(0.008)
    assert usual == pytest.approx(2 * short, rel=0.05)
    assert "longer than a frame" in str(scene.send({"op": "expose", "exposure_s": 0.05})["error"])


def test_bad_control_lines_are_answered(live: tuple[Scene, Reader]) -> None:
    scene, _ = live
    wrong: list[dict[str, object]] = [
        {"lamp": "unit", "rgb": [0, 0, 256]},
        {"lamp": "other", "rgb": DARK},
        {"op": "melt"},
        {},
    ]
    for message in wrong:
        assert "error" in scene.send(message)
    assert scene.send({"op": "thaw"})["ok"] is True


@pytest.mark.parametrize("wrong", [{"latency_s": [0.2, 0.1]}, {"exposure_s": 0.05}, {"drop": 2}, {"colour": 1}])
def test_bad_configuration_is_refused(tmp_path: Path, wrong: dict[str, object]) -> None:
    config = {"truth_file": str(tmp_path / "truth.jsonl"), **wrong}
    ended = subprocess.run(
        [sys.executable, "-m", "hil.virtual.scene", json.dumps(config)],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=LIMIT_S,
        check=False,
    )
    assert ended.returncode != 0
    assert next(iter(wrong)) in ended.stderr
    assert ended.stdout == ""


def test_history_mixes_within_an_exposure() -> None:
    lamp = LampHistory()
    assert lamp.change(10.0, (0.0, 0.0, 1.0))
    assert not lamp.change(10.5, (0.0, 0.0, 1.0))
    assert lamp.change(11.0, (1.0, 0.0, 0.0))
    assert lamp.mean(8.0, 9.0) == (0.0, 0.0, 0.0)
    assert lamp.mean(9.5, 10.5) == (0.0, 0.0, 0.5)
    assert lamp.mean(10.75, 11.75) == (0.75, 0.0, 0.25)
    lamp.forget_before(10.2)
    assert lamp.mean(10.75, 11.75) == (0.75, 0.0, 0.25)
    assert lamp.mean(20.0, 21.0) == (1.0, 0.0, 0.0)
