"""Routes over a virtual bench that makes timing hard: a hidden camera delay, dropped frames, a unit whose clock is off."""

from pathlib import Path

from support.recorder import INTO
from support.runs import suite
from support.truth import Compared, compare

TIMING_CHECKS = "in_time"  # what the names of all checks that judge a reading in seconds have in common
BENCH = """
name = "hard bench"
kind = "virtual"

[virtual]
speed = 4.0
seed = {seed}
chip_clock_ppm = 500
camera_latency_s = [0.03, 0.25]
camera_drop = 0.05

[air_monitor]
channels = [1, 6]
"""


def timed_route(folder: Path, seed: int) -> list[Compared]:
    """Drive a good unit over the legs of all timing checks, and hold each reading they judged against the truth."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "bench.toml").write_text(BENCH.format(seed=seed), encoding="utf-8")
    readings = folder / "readings.jsonl"
    ended = suite(
        "-p",
        "support.recorder",
        "--hil-bench",
        "bench.toml",
        "--hil-profile",
        "quick",
        "-k",
        TIMING_CHECKS,
        cwd=folder,
        environment={INTO: str(readings), "PYTHONPATH": str(Path(__file__).parents[1])},
    )
    assert readings.exists(), f"the route of seed {seed} left no readings:\n{ended.out}{ended.err}"
    return list(compare(ended.folder, readings))
