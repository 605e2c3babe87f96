"""Camera frames on disk: what a killed run leaves is read up to the last whole frame. Held against the arrays put in."""

from pathlib import Path

import numpy as np
import pytest

from hil.core.frames import Crops, FrameWriter, LampFrames, read_frames

FRAMES = 7


def crop(seed: int, height: int, width: int) -> Crops:
    return np.random.default_rng(seed).integers(0, 256, (height, width, 3), dtype=np.uint8)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    writer = FrameWriter(tmp_path)
    for number in range(FRAMES):
        writer.add(number / 30.0, crop(number, 6, 5), crop(100 + number, 4, 3))
    writer.close()
    return tmp_path


def assert_first(frames: LampFrames, count: int) -> None:
    assert len(frames) == count
    assert frames.times_s == pytest.approx([number / 30.0 for number in range(count)], abs=1e-6)
    for number in range(count):
        assert np.array_equal(frames.unit[number], crop(number, 6, 5))
        assert np.array_equal(frames.bench[number], crop(100 + number, 4, 3))


def test_frames_come_back_without_loss(folder: Path) -> None:
    assert_first(read_frames(folder), FRAMES)


@pytest.mark.parametrize("name", ["unit.raw", "bench.raw"])
@pytest.mark.parametrize("lost_octets", [1, 30])
def test_a_torn_last_crop_leaves_the_frames_before_it(folder: Path, name: str, lost_octets: int) -> None:
    file = folder / name
    file.write_bytes(file.read_bytes()[:-lost_octets])
    assert_first(read_frames(folder), FRAMES - 1)


def test_a_torn_last_row_leaves_the_frames_before_it(folder: Path) -> None:
    file = folder / "frames.csv"
    whole = file.read_bytes()
    last_row = len(whole.splitlines()[-1]) + 1
    for kept in range(last_row):
        file.write_bytes(whole[: len(whole) - last_row + kept])
        frames = read_frames(folder)
        assert len(frames) in (FRAMES - 1, FRAMES)  # the time stands first: a row torn behind it still tells it
        assert_first(frames, len(frames))


def test_a_frame_of_which_only_the_crops_were_written_does_not_count(folder: Path) -> None:
    with (folder / "unit.raw").open("ab") as unit:
        unit.write(crop(FRAMES, 6, 5).tobytes())
    assert_first(read_frames(folder), FRAMES)


def test_the_shape_is_written_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def killed(self: Path, target: Path) -> Path:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", killed)
    writer = FrameWriter(tmp_path)
    with pytest.raises(OSError, match="No space"):
        writer.add(0.0, crop(0, 6, 5), crop(1, 4, 3))
    writer.close()
    assert len(read_frames(tmp_path)) == 0


def test_nothing_recorded_reads_as_no_frames(tmp_path: Path) -> None:
    assert len(read_frames(tmp_path)) == 0
    FrameWriter(tmp_path).close()
    assert len(read_frames(tmp_path)) == 0


def test_a_part_is_from_begin_up_to_end(folder: Path) -> None:
    part = read_frames(folder).within(0.5 / 30.0, 3.5 / 30.0)
    assert part.times_s == pytest.approx([1 / 30.0, 2 / 30.0, 3 / 30.0], abs=1e-6)
    assert np.array_equal(part.unit[0], crop(1, 6, 5))
    assert len(read_frames(folder).within(5.0, 9.0)) == 0


def test_each_row_tells_the_mean_of_its_crops(folder: Path) -> None:
    rows = (folder / "frames.csv").read_text(encoding="utf-8").splitlines()
    numbers = [float(cell) for cell in rows[3].split(",")]
    means = [*crop(2, 6, 5).reshape(-1, 3).mean(axis=0), *crop(102, 4, 3).reshape(-1, 3).mean(axis=0)]
    assert numbers[1:] == pytest.approx(means, abs=0.005)
