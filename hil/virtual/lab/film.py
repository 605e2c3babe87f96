"""What the lab's camera sees: the scene of the virtual bench, played into the output of a kernel's V4L2 device whose input it is.

Run as `python -m hil.virtual.lab.film 'JSON'` (see `FilmConfig`). Lamp orders come to its control port as to the scene's; the
bench's own lamp is on the RTS line of a USB serial port that this process is the far end of. The ready line gives
`control_port`, `bench_lamp_port`, `regions` and `source`. It ends when its standard input ends.

A picture goes out when a lamp changes, and now and then in between. Pictures of the same lamps are the same to the last bit:
the lab's processor is too slow to draw noise anew.
"""

import asyncio
import contextlib
import fcntl
import json
import subprocess
import threading
from pathlib import Path
from typing import Literal

import cv2
import numpy as np
from pydantic import BaseModel, ConfigDict, ValidationError

from hil.virtual.lab.usb_serial import UsbSerialPort
from hil.virtual.scene.picture import DARK, Drive, Picture
from hil.virtual.truth import TruthFile, TruthWriter
from hil.virtual.world_process import ask_for_priority, config_of, end_with_parent, say_ready, standard_input_ended

WIDTH, HEIGHT, FRAME_RATE = 800, 600, 30
OUTPUT, INPUT = 1, 0
PIXEL_FORMAT = "YUYV"
LIMIT_S = 30.0
AGAIN_S = 0.2  # between two pictures of the same
FULL = 255.0
PIPE_OCTETS = 1 << 20  # a whole picture at once


class FilmConfig(BaseModel):
    """What the process is started with."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    seed: int
    truth_file: Path
    bench_lamp_serial: str = "bench-lamp"


class LampOrder(BaseModel):
    """An order to a lamp."""

    model_config = ConfigDict(extra="forbid")
    lamp: Literal["unit"]
    rgb: tuple[int, int, int]


def prepare_devices(width: int, height: int, frame_rate: int) -> None:
    """Set both ends of the loop to a size and a rate.

    Raises:
        RuntimeError: a device does not take it.
    """
    size = f"width={width},height={height},pixelformat={PIXEL_FORMAT}"
    timings = f"cvt,width={width},height={height},fps={frame_rate}"
    # It stamps the begin of exposure, as USB cameras do; its usual stamps lie ahead of the frames that bear them.
    video(INPUT, "-c", "loop_video=1,osd_text_mode=2,timestamp_source=1")
    for device in (OUTPUT, INPUT):
        video(device, "--set-dv-bt-timings", timings)
    video(OUTPUT, f"--set-fmt-video-out={size}")
    video(INPUT, f"--set-fmt-video={size}")


def video(device: int, *words: str) -> None:
    """An order to a V4L2 device.

    Raises:
        RuntimeError: it does not take it.
    """
    order = ["v4l2-ctl", "-d", f"/dev/video{device}", *words]
    done = subprocess.run(order, capture_output=True, text=True, timeout=LIMIT_S, check=False)
    if done.returncode:
        raise RuntimeError(f"{' '.join(order)}: {done.stderr.strip() or done.stdout.strip()}")


class Player:
    """Plays pictures into the output."""

    def __init__(self, picture: Picture, truth: TruthWriter) -> None:
        """Begin with both lamps dark."""
        self._picture, self._truth = picture, truth
        self._lamps: dict[str, Drive] = {"unit": DARK, "bench": DARK}
        self._made: dict[tuple[Drive, Drive], bytes] = {}
        self._changed, self._over = threading.Event(), False
        words = ["v4l2-ctl", "-d", f"/dev/video{OUTPUT}", "--stream-out-mmap", "--stream-from=-"]
        self._output = subprocess.Popen(
            words, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, bufsize=0
        )
        assert self._output.stdin is not None
        fcntl.fcntl(self._output.stdin, fcntl.F_SETPIPE_SZ, PIPE_OCTETS)
        self._thread = threading.Thread(target=self._play, name="film", daemon=True)
        self._thread.start()

    def show(self, lamp: str, rgb: tuple[int, int, int]) -> None:
        """Have a lamp lit so from now on."""
        self._lamps[lamp] = (rgb[0] / FULL, rgb[1] / FULL, rgb[2] / FULL)
        self._truth("scene lamp", lamp=lamp, rgb=list(rgb))
        self._changed.set()

    def close(self) -> None:
        """End the film."""
        self._over = True
        self._changed.set()
        self._thread.join(LIMIT_S)
        if self._output.stdin is not None:
            self._output.stdin.close()
        self._output.terminate()
        self._output.wait(LIMIT_S)

    def _play(self) -> None:
        assert self._output.stdin is not None
        with contextlib.suppress(BrokenPipeError):
            while not self._over:
                self._changed.clear()
                rest = memoryview(self._drawn())
                while rest:
                    rest = rest[self._output.stdin.write(rest) :]
                self._changed.wait(AGAIN_S)

    def _drawn(self) -> bytes:
        lamps = self._lamps["unit"], self._lamps["bench"]
        if lamps not in self._made:
            drawn = self._picture.render(*lamps, frame=0)
            packed = cv2.cvtColor(drawn, cv2.COLOR_BGR2YUV_YUY2)
            self._made[lamps] = np.ascontiguousarray(packed).tobytes()
        return self._made[lamps]


async def _control(player: Player, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    with contextlib.suppress(ConnectionError, asyncio.CancelledError):
        while line := await reader.readline():
            try:
                order = LampOrder.model_validate_json(line)
            except ValidationError as problem:
                writer.write(json.dumps({"error": str(problem)}).encode() + b"\n")
                continue
            player.show(order.lamp, order.rgb)
    writer.close()


async def _serve(config: FilmConfig) -> None:
    truth = TruthFile(config.truth_file)
    prepare_devices(WIDTH, HEIGHT, FRAME_RATE)
    picture = Picture(config.seed, WIDTH, HEIGHT)
    player = Player(picture, truth)
    lamp = UsbSerialPort(
        config.bench_lamp_serial, bus=1, on_lines=lambda _dtr, rts: player.show("bench", (255 * rts,) * 3)
    )
    control = await asyncio.start_server(lambda reader, writer: _control(player, reader, writer), "127.0.0.1", 0)
    say_ready(
        {
            "control_port": control.sockets[0].getsockname()[1],
            "bench_lamp_port": lamp.port,
            "regions": picture.regions,
            "source": f"/dev/video{INPUT}",
        }
    )
    await standard_input_ended()
    control.close()
    await asyncio.to_thread(player.close)
    await asyncio.to_thread(lamp.close)
    truth.close()


def main() -> None:
    """Play until standard input ends."""
    end_with_parent()
    ask_for_priority()
    cv2.setNumThreads(1)
    asyncio.run(_serve(config_of(FilmConfig, "film")))


if __name__ == "__main__":
    main()
