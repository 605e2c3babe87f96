"""The camera of the virtual bench, as a process: renders the scene and serves it as MJPEG over HTTP on loopback.

Run as `python -m hil.virtual.scene 'JSON'` (see `SceneConfig`). The ready line gives `http_port`, `control_port` and
`regions`, the boxes [x, y, width, height] around the lamps.

Frame k's shutter opens on a regular schedule; lamp colours are averaged over the exposure, so a change within it mixes.
A frame can be read `latency_s` (drawn by seed, told in the truth file only) after the middle of its exposure, give or
take a jitter. A camera lives in real seconds.

Control port, JSON lines: `{"lamp": "unit"|"bench", "rgb": [r, g, b]}` sets a lamp, without reply; `{"op": ...}` orders a
fault and is answered: `freeze` (the last picture again and again), `black` (lens covered), `stall` (connections stay,
frames cease), `thaw` (ends these three), `stop` (unplugged for good: clients dropped, none taken);
`{"op": "shift", "by": [x, y]}` bumps the camera: from then on its picture lies so many pixels to the right and down.
`{"op": "expose", "exposure_s": …}` sets the exposure, and is answered once it holds. A line that cannot be read or obeyed is
answered with `error`.

Truth lines: `camera`, `scene lamp` (a change, when received), `frame dropped`, `camera fault`.
"""

import asyncio
import contextlib
import json
import time
from pathlib import Path
from typing import Annotated, Literal

import cv2
import numpy as np
from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError, model_validator

from hil.virtual.scene.mjpeg import MjpegServer
from hil.virtual.scene.picture import DARK, Drive, Picture, as_jpeg, shifted
from hil.virtual.truth import TruthFile, TruthWriter
from hil.virtual.world_process import ask_for_priority, config_of, end_with_parent, say_ready, standard_input_ended

__all__ = ["Camera", "LampHistory", "SceneConfig"]

Octet = Annotated[int, Field(ge=0, le=255)]
_JITTER_LIMIT_SIGMAS = 3.0


class SceneConfig(BaseModel):
    """What the process is started with. `jitter_s` is a standard deviation, `drop` the share of frames lost.

    A camera with a `gamma` encodes by that power in place of the sRGB curve. So many units lie under it; that in `place`,
    from 1, is the one whose lamp takes orders.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    seed: int = Field(default=1, ge=0)
    truth_file: Path
    frame_rate: float = Field(default=30.0, gt=0)
    width: int = 640
    height: int = 480
    latency_s: tuple[float, float] = (0.03, 0.25)
    jitter_s: float = Field(default=0.004, ge=0)
    drop: float = Field(default=0.0, ge=0, le=1)
    exposure_s: float = Field(default=0.008, gt=0)
    gamma: float | None = Field(default=None, gt=0)
    places: int = Field(default=1, ge=1)
    place: int = Field(default=1, ge=1)

    @model_validator(mode="after")
    def _fits(self) -> "SceneConfig":
        if not 0 < self.latency_s[0] <= self.latency_s[1]:
            raise ValueError(f"latency_s = {self.latency_s}: it must be a range above 0")
        if self.exposure_s * self.frame_rate > 1:
            raise ValueError(f"exposure_s = {self.exposure_s}: longer than a frame at {self.frame_rate} frames/s")
        if self.place > self.places:
            raise ValueError(f"place = {self.place}: there are {self.places}")
        return self


class _LampOrder(BaseModel):
    model_config = ConfigDict(extra="forbid")
    lamp: Literal["unit", "bench"]
    rgb: tuple[Octet, Octet, Octet]


class _FaultOrder(BaseModel):
    model_config = ConfigDict(extra="forbid")
    op: Literal["freeze", "black", "stall", "thaw", "stop"]


class _ExposureOrder(BaseModel):
    model_config = ConfigDict(extra="forbid")
    op: Literal["expose"]
    exposure_s: float = Field(gt=0)


class _ShiftOrder(BaseModel):
    model_config = ConfigDict(extra="forbid")
    op: Literal["shift"]
    by: tuple[float, float]


_Order = _LampOrder | _FaultOrder | _ExposureOrder | _ShiftOrder
_ORDERS: TypeAdapter[_Order] = TypeAdapter(_Order)


class LampHistory:
    """What one lamp showed when, as far back as it is still wanted."""

    def __init__(self) -> None:
        """Begin dark."""
        self._changes: list[tuple[float, Drive]] = [(float("-inf"), DARK)]

    def change(self, at_s: float, drive: Drive) -> bool:
        """Book a colour from `at_s` on; times must not fall. Says whether it differs from the one before."""
        if drive == self._changes[-1][1]:
            return False
        self._changes.append((at_s, drive))
        return True

    def mean(self, opens_s: float, closes_s: float) -> Drive:
        """Average the drive over an exposure: pulse-width modulated light adds up in proportion to time."""
        ends = [at_s for at_s, _ in self._changes[1:]] + [float("inf")]
        total = np.zeros(3)
        for (begin_s, drive), end_s in zip(self._changes, ends, strict=True):
            total += np.array(drive) * max(0.0, min(end_s, closes_s) - max(begin_s, opens_s))
        red, green, blue = total / (closes_s - opens_s)
        return float(red), float(green), float(blue)

    def forget_before(self, at_s: float) -> None:
        """Drop what ended before `at_s`."""
        while len(self._changes) > 1 and self._changes[1][0] <= at_s:
            del self._changes[0]


class Camera:
    """Exposes frames on schedule and hands each to the stream after the hidden latency."""

    def __init__(self, config: SceneConfig, stream: MjpegServer, truth: TruthWriter) -> None:
        """Draw the latency and prepare the picture."""
        self._config = config
        self._stream = stream
        self._truth = truth
        self._rng = np.random.default_rng((config.seed, 10))
        self._latency_s = float(self._rng.uniform(*config.latency_s))
        self._lamps = {"unit": LampHistory(), "bench": LampHistory()}
        self._state = "thaw"
        self._shift_px = (0.0, 0.0)
        self._last_jpeg: bytes | None = None
        self._under_way: asyncio.Queue[tuple[float, bytes]] = asyncio.Queue()
        self._exposure_s = config.exposure_s
        self.picture = self._picture(config.exposure_s)
        truth(
            "camera",
            latency_s=self._latency_s,
            frame_rate=config.frame_rate,
            exposure_s=config.exposure_s,
            jitter_s=config.jitter_s,
        )

    async def run(self) -> None:
        """Work until cancelled."""
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(self._expose())
            tasks.create_task(self._release())

    def set_lamp(self, lamp: str, drive: Drive) -> None:
        """Change a lamp now."""
        if self._lamps[lamp].change(time.monotonic(), drive):
            self._truth("scene lamp", lamp=lamp, rgb=[round(255 * one) for one in drive])

    def _picture(self, exposure_s: float) -> Picture:
        config = self._config
        return Picture(
            config.seed,
            config.width,
            config.height,
            exposure_s,
            places=config.places,
            place=config.place,
            gamma=config.gamma,
        )

    async def expose(self, exposure_s: float) -> None:
        """Take frames with this exposure from now on.

        Raises:
            ValueError: it does not fit between two frames.
        """
        if exposure_s * self._config.frame_rate > 1:
            raise ValueError(f"exposure_s = {exposure_s}: longer than a frame at {self._config.frame_rate} frames/s")
        self.picture = await asyncio.to_thread(self._picture, exposure_s)
        self._exposure_s = exposure_s

    def order(self, fault: str) -> None:
        """Freeze, black, stall, thaw or stop."""
        if self._state == "stop":
            return
        self._state = fault
        self._truth("camera fault", op=fault)
        if fault == "stop":
            self._stream.close()

    def shift(self, by_px: tuple[float, float]) -> None:
        """Show the picture so many pixels to the right and down from now on."""
        self._shift_px = by_px
        self._truth("camera fault", op="shift", by=list(by_px))

    async def _expose(self) -> None:
        """Take frame after frame; one that comes too late to be taken is lost, as any other dropped one."""
        interval_s = 1.0 / self._config.frame_rate
        start_s = time.monotonic()
        frame = 0
        while True:
            opens_s = start_s + frame * interval_s
            closes_s = opens_s + self._exposure_s
            await _sleep_until(closes_s)
            late = time.monotonic() > closes_s + interval_s
            if late or self._rng.random() < self._config.drop:
                self._truth("frame dropped", frame=frame, late=late)
            elif self._state not in {"stall", "stop"}:
                jpeg = await self._take(frame, opens_s, closes_s)
                self._under_way.put_nowait(((opens_s + closes_s) / 2 + self._delay_s(), jpeg))
            frame += 1

    def _delay_s(self) -> float:
        jitter = float(np.clip(self._rng.normal(), -_JITTER_LIMIT_SIGMAS, _JITTER_LIMIT_SIGMAS))
        return self._latency_s + jitter * self._config.jitter_s

    async def _take(self, frame: int, opens_s: float, closes_s: float) -> bytes:
        """Make one frame's JPEG, apart from the loop, so that lamp changes are stamped when they come."""
        unit, bench = (lamp.mean(opens_s, closes_s) for lamp in self._lamps.values())
        for lamp in self._lamps.values():
            lamp.forget_before(opens_s)
        if self._state == "freeze" and self._last_jpeg is not None:
            return self._last_jpeg
        if self._state == "black":
            self._last_jpeg = await asyncio.to_thread(lambda: as_jpeg(self.picture.black(frame)))
        else:
            by_px = self._shift_px
            self._last_jpeg = await asyncio.to_thread(
                lambda: as_jpeg(shifted(self.picture.render(unit, bench, frame), by_px))
            )
        return self._last_jpeg

    async def _release(self) -> None:
        """Hand frames over when due, in their order."""
        while True:
            due_s, jpeg = await self._under_way.get()
            await _sleep_until(due_s)
            self._stream.offer(jpeg)


async def _sleep_until(at_s: float) -> None:
    await asyncio.sleep(max(0.0, at_s - time.monotonic()))


async def _control(camera: Camera, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Serve one control connection."""
    # cancelled when the process ends, which Python 3.11 would report as a fault
    with contextlib.suppress(ConnectionError, asyncio.CancelledError):
        while line := await reader.readline():
            try:
                order = _ORDERS.validate_json(line)
            except ValidationError as problem:
                writer.write(_reply({"error": f"control line {line!r}: {problem.errors()[0]['msg']}"}))
                continue
            if isinstance(order, _LampOrder):
                red, green, blue = order.rgb
                camera.set_lamp(order.lamp, (red / 255, green / 255, blue / 255))
            elif isinstance(order, _ExposureOrder):
                writer.write(await _exposed(camera, order.exposure_s))
            else:
                if isinstance(order, _ShiftOrder):
                    camera.shift(order.by)
                else:
                    camera.order(order.op)
                writer.write(_reply({"ok": True, "t": time.monotonic()}))
    writer.close()


async def _exposed(camera: Camera, exposure_s: float) -> bytes:
    try:
        await camera.expose(exposure_s)
    except ValueError as problem:
        return _reply({"error": str(problem)})
    return _reply({"ok": True, "exposure_s": exposure_s})


def _reply(content: dict[str, object]) -> bytes:
    return json.dumps(content).encode() + b"\n"


async def _serve(config: SceneConfig) -> None:
    stream = MjpegServer()
    truth = TruthFile(config.truth_file)
    camera = Camera(config, stream, truth)
    http_port = await stream.open()
    control = await asyncio.start_server(lambda reader, writer: _control(camera, reader, writer), "127.0.0.1", 0)
    running = asyncio.create_task(camera.run())
    ended = asyncio.create_task(standard_input_ended())
    control_port = control.sockets[0].getsockname()[1]
    say_ready({"http_port": http_port, "control_port": control_port, "regions": camera.picture.regions})
    await asyncio.wait({running, ended}, return_when=asyncio.FIRST_COMPLETED)
    if running.done():
        running.result()  # it ends only by an error
    running.cancel()
    control.close()
    stream.close()
    truth.close()


def main() -> None:
    """Run the scene until standard input ends."""
    end_with_parent()
    ask_for_priority()
    cv2.setNumThreads(1)  # a camera must not take the cores of the bench
    asyncio.run(_serve(config_of(SceneConfig, "scene")))
