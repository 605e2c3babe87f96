"""The virtual bench: a board, an air and a scene in processes of their own, and the demo product they stand for; the lab."""

from pathlib import Path

DEMO_PRODUCT = Path(__file__).with_name("mossgate.toml")
DEMO_BENCH = Path(__file__).with_name("virtual_bench.toml")
LAB_BENCH = Path(__file__).with_name("lab") / "lab_bench.toml"

BENCHES = {"virtual": DEMO_BENCH, "lab": LAB_BENCH}
"""Bench files that are there by name."""


def bench_named(text: str) -> Path:
    """The bench file of that name, or else at that path."""
    return BENCHES.get(text, Path(text))
