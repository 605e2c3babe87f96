"""Holds the contracts on a desk, in the lab: `ci/lab/run PYTHON ci/lab/contracts_of_a_desk.py [OPTIONS]`; options go to pytest.

The desk is a bench file like anybody's, of the lab's radios, camera and adapters, with the lab's unit in its slot. The unit has
its firmware on it, as one on a desk does.
"""

import json
import subprocess
import sys
import tempfile
from contextlib import ExitStack
from pathlib import Path

from hil.core.bench_file import BenchFile, load_bench_file
from hil.core.build import load_build
from hil.virtual.build import make_build
from hil.virtual.lab import bench as lab

ROOT = Path(__file__).parents[2]
LAB_BENCH = Path(lab.__file__).with_name("lab_bench.toml")


def as_toml(file: BenchFile) -> str:
    """What was set, as the text of a bench file."""
    lines = [f"{key} = {json.dumps(value)}" for key, value in _set(file) if not isinstance(value, dict)]
    tables = [(key, value) for key, value in _set(file) if isinstance(value, dict)]
    return "\n".join([*lines, *(line for key, value in tables for line in _table(key, value))]) + "\n"


def _set(file: BenchFile) -> list[tuple[str, object]]:
    told = json.loads(file.model_dump_json(exclude_none=True, exclude={"virtual"}))
    return list(told.items())


def _table(name: str, values: dict[str, object]) -> list[str]:
    inner = [
        line for key, value in values.items() if isinstance(value, dict) for line in _table(f"{name}.{key}", value)
    ]
    plain = [f"{key} = {json.dumps(value)}" for key, value in values.items() if not isinstance(value, dict)]
    return [f"[{name}]", *plain, *inner]


def main(options: list[str]) -> int:
    """Start the parts, write the bench file, and run the tests."""
    with tempfile.TemporaryDirectory(prefix="hil-desk-") as made, ExitStack() as stack:
        folder = Path(made)
        build = make_build(folder / "build")
        placed = lab.start_parts(load_bench_file(LAB_BENCH), folder / "parts", stack)
        with (folder / "parts" / "flash.bin").open("r+b") as flash:
            for image in load_build(build).images:
                flash.seek(image.offset)
                flash.write(image.content())
        bench = folder / "bench.toml"
        bench.write_text(as_toml(placed), encoding="utf-8")
        print(bench.read_text(encoding="utf-8"), flush=True)
        given = ["--hil-bench", str(bench), "--hil-build", str(build)]
        words = [sys.executable, "-m", "pytest", "-v", "--color=no", "-rs", "tests/contracts", *given, *options]
        return subprocess.run(words, cwd=ROOT, check=False).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
