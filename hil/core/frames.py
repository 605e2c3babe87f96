"""What the lamp camera leaves: for each frame its time, and the lossless crops of two lamps' regions.

Held on disk as plain arrays that grow at their end, so that a killed run keeps all whole frames: `lamp/unit.raw` and
`lamp/bench.raw` (uint8, blue-green-red, frame after frame), `lamp/frames.csv` (time and each crop's mean), and
`lamp/shape.json`. No colour or stage is stored: those are derived when judging.
"""

import json
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Crops = NDArray[np.uint8]
Times = NDArray[np.float64]
HEADER = "time_s,unit_blue,unit_green,unit_red,bench_blue,bench_green,bench_red\n"


@dataclass(frozen=True)
class LampFrames:
    """Frames of a run or a part of it: times (n,) of arrival in unit seconds; crops (n, height, width, 3), blue first."""

    times_s: Times
    unit: Crops
    bench: Crops

    def within(self, begin_s: float, end_s: float) -> "LampFrames":
        """The frames that arrived from `begin_s` to `end_s`."""
        first, last = np.searchsorted(self.times_s, [begin_s, end_s])
        return LampFrames(self.times_s[first:last], self.unit[first:last], self.bench[first:last])

    def __len__(self) -> int:
        """How many frames."""
        return len(self.times_s)


class FrameWriter:
    """Appends frames to a run folder. Not safe for several threads."""

    def __init__(self, folder: Path) -> None:
        """Write into `folder`, which must exist."""
        self._folder = folder
        self._table = (folder / "frames.csv").open("a", encoding="utf-8")
        self._unit = (folder / "unit.raw").open("ab")
        self._bench = (folder / "bench.raw").open("ab")
        self._shape_known = False

    def add(self, time_s: float, unit: Crops, bench: Crops) -> None:
        """Append one frame.

        Raises:
            OSError: the disk takes no more.
        """
        if not self._shape_known:
            shape = json.dumps({"unit": unit.shape, "bench": bench.shape})
            new = self._folder / "shape.json.new"
            new.write_text(shape, encoding="utf-8")
            new.replace(self._folder / "shape.json")
            self._table.write(HEADER)
            self._shape_known = True
        means = [f"{value:.2f}" for crop in (unit, bench) for value in crop.mean(axis=(0, 1))]
        self._unit.write(unit.tobytes())
        self._bench.write(bench.tobytes())
        self._table.write(",".join([f"{time_s:.6f}", *means]) + "\n")
        for file in (self._unit, self._bench, self._table):
            file.flush()

    def close(self) -> None:
        """Close the files."""
        for file in (self._unit, self._bench, self._table):
            with suppress(OSError):  # what a full disk did not take was said by `add`
                file.close()


def read_frames(folder: Path) -> LampFrames:
    """Read what a `FrameWriter` left, up to the last whole frame; nothing at all reads as no frames."""
    shape_file = folder / "shape.json"
    if not shape_file.exists():
        empty = np.zeros((0, 1, 1, 3), np.uint8)
        return LampFrames(np.zeros(0), empty, empty)
    shapes = json.loads(shape_file.read_text(encoding="utf-8"))
    times = _read_times(folder / "frames.csv")
    unit = _read_crops(folder / "unit.raw", tuple(shapes["unit"]))
    bench = _read_crops(folder / "bench.raw", tuple(shapes["bench"]))
    whole = min(len(times), len(unit), len(bench))
    return LampFrames(times[:whole], unit[:whole], bench[:whole])


def _read_times(file: Path) -> Times:
    rows = file.read_text(encoding="utf-8").splitlines()[1:]
    whole = [row.split(",") for row in rows if row.count(",") == HEADER.count(",")]
    return np.array([float(row[0]) for row in whole], dtype=np.float64)


def _read_crops(file: Path, shape: tuple[int, ...]) -> Crops:
    raw = np.fromfile(file, dtype=np.uint8)
    size = int(np.prod(shape))
    whole = len(raw) // size
    return raw[: whole * size].reshape((whole, *shape))
