"""The lab's desk: its bench file is read back as it was meant, as a person's would be; and what is no desk is told."""

import importlib.util
import subprocess
import sys
from pathlib import Path

import pytest

from hil.core.bench_file import BenchFile, BenchLampPlace, Label, PowerPlace, ScpiPlace, load_bench_file
from hil.virtual import bench_named

ROOT = Path(__file__).parents[2]
SCRIPT = ROOT / "ci" / "lab" / "contracts_of_a_desk.py"
LIMIT_S = 60.0


def test_a_bench_file_comes_back_as_it_was_written(tmp_path: Path) -> None:
    given = importlib.util.spec_from_file_location("contracts_of_a_desk", SCRIPT)
    assert given is not None
    assert given.loader is not None
    script = importlib.util.module_from_spec(given)
    given.loader.exec_module(script)
    file = load_bench_file(script.LAB_BENCH).model_copy(
        update={
            "kind": "desk",
            "unit": Label(serial_number='0001 "a"', address="02:00:00:00:00:b2", hotspot_key="blatt ☘ \\n"),
            "power": PowerPlace(scpi=ScpiPlace(port="socket://127.0.0.1:5025")),
            "bench_lamp": BenchLampPlace(port="/dev/ttyACM1", line="rts"),
        }
    )
    written = tmp_path / "bench.toml"
    written.write_text(script.as_toml(file), encoding="utf-8")
    assert load_bench_file(written) == BenchFile.model_validate(file.model_dump())


@pytest.mark.parametrize(
    ("bench", "told"), [(str(bench_named("virtual")), "kind = 'virtual': no desk."), ("nowhere.toml", "nowhere.toml")]
)
def test_contracts_are_held_on_no_other_bench_file(bench: str, told: str) -> None:
    words = [sys.executable, "-m", "pytest", "-q", "tests/contracts", "--hil-bench", bench, "--collect-only"]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, timeout=LIMIT_S, check=False)
    assert done.returncode == 2
    assert told in done.stdout + done.stderr
