"""What `run.json` states of a run in words, section by section; the sheet prints it."""

import hashlib
from datetime import datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from hil.core.bench_file import BenchFile
from hil.core.moments import Json
from hil.core.product import Product
from hil.core.trial import Trial
from hil.instruments.bench import Bench

Facts = dict[str, dict[str, Json]]
NO_PREVIOUS = "none was given: the unit is updated from the build to itself, so that nothing tells old from new"


def tool_version() -> str:
    """The version of this tool as installed."""
    try:
        return version("hil-acceptance")
    except PackageNotFoundError:
        return "not installed"


def now_text() -> str:
    """The wall clock with its zone, for labels only."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


def file_sum(path: Path) -> str:
    """SHA-256 of a file."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _previous(bench: Bench) -> dict[str, Json]:
    """The build that the update begins from, and where it comes from."""
    if bench.previous is None:
        return {"version": bench.build.version, "sha256": bench.build.sha256, "from": NO_PREVIOUS}
    build = bench.previous.build
    return {"version": build.version, "sha256": build.sha256, "from": bench.previous.origin}


def state_facts(
    product: Product, product_path: Path, bench_file: BenchFile, bench_path: Path, trial: Trial, bench: Bench
) -> Facts:
    """State everything known before the first leg."""
    return {
        "unit": {"serial number": bench.label.serial_number, "radio address": bench.label.address},
        "product": {
            "name": product.name,
            "model": product.model,
            "hardware revision": product.hardware_revision,
            "file": product_path.name,
            "sha256": file_sum(product_path),
        },
        **({"previous build": _previous(bench)} if product.update is not None else {}),
        "build": {
            "version": bench.build.version,
            "sha256": bench.build.sha256,
            "images": [f"{image.file.name} at {image.offset:#x}" for image in bench.build.images],
        },
        "bench": {
            "name": bench_file.name,
            "kind": bench_file.kind,
            "slot": bench_file.slot,
            "speed": bench_file.speed,
            "file": bench_path.name,
            "sha256": file_sum(bench_path),
        },
        "surroundings": dict(bench_file.surroundings.model_dump()),
        "trial": {
            "network": trial.network,
            "network_key": trial.network_key,
            "control_network": trial.control_network,
            "control_channels": list(bench_file.air_monitor.channels),
            "values": dict(trial.values),
            "secret_names": list(trial.secret_names),
        },
    }
